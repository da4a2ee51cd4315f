"""Every question of the JSON door asked with what its own description allows and with what it does not."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable

from driveout.app import web_app
from driveout.demo.actions import fill
from driveout.store import Store, write_archive

AT_HOME = {"host": "localhost"}


def test_no_question_to_the_json_door_is_a_fault(store: Store, counted: Callable[..., None]) -> None:
    fill(store)
    before = write_archive(store, store.home / "before.zip")["tables"]
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", web_app(store), headers=AT_HOME)
    tries: dict[str, int] = {}
    faults: list[str] = []

    def trial(operation: Any, mode: schemathesis.GenerationMode) -> None:
        label = operation.label

        @settings(
            max_examples=12,
            deadline=None,
            database=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
            phases=[Phase.explicit, Phase.generate],
        )
        @given(operation.as_strategy(generation_mode=mode))
        def ask(case: Any) -> None:
            answer = case.call(headers=AT_HOME)
            tries[label] = tries.get(label, 0) + 1
            if answer.status_code >= 500:
                faults.append(f"{label}: {answer.status_code} {answer.text[:300]} {case.body!r:.300}")
            elif answer.status_code >= 400 and "message" not in answer.json().get("error", {}):
                faults.append(f"{label}: {answer.status_code} without the one error shape")

        ask()

    for result in schema.get_all_operations():
        operation = result.ok()
        trial(operation, schemathesis.GenerationMode.POSITIVE)
        # A question without any entry cannot be asked wrongly.
        with contextlib.suppress(Unsatisfiable):
            trial(operation, schemathesis.GenerationMode.NEGATIVE)
    assert not faults, "\n".join(faults[:10])
    assert len(tries) >= 15
    assert write_archive(store, store.home / "after.zip")["tables"] == before
    counted("questions to the JSON door", questions=len(tries), tries=sum(tries.values()), faults=0)
