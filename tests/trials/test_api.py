"""Every question of the JSON door asked with what its own description allows and with what it does not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, settings

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

    for result in schema.get_all_operations():
        operation = result.ok()

        def ask(case: Any, label: str = operation.label) -> None:
            answer = case.call(headers=AT_HOME)
            tries[label] = tries.get(label, 0) + 1
            if answer.status_code >= 500:
                faults.append(f"{label}: {answer.status_code} {answer.text[:300]} {case.body!r:.300}")
            elif answer.status_code >= 400:
                shape = answer.json()
                if "message" not in shape.get("error", {}):
                    faults.append(f"{label}: {answer.status_code} without the one error shape")

        calm = settings(
            max_examples=12,
            deadline=None,
            database=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
            phases=[Phase.explicit, Phase.generate],
        )
        for mode in (schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE):
            try:
                strategy = operation.as_strategy(generation_mode=mode)
            except Exception as error:  # a question that cannot be asked wrongly
                if mode is schemathesis.GenerationMode.POSITIVE:
                    raise
                assert "negative" in str(error).lower() or "never" in str(error).lower(), error
                continue
            from hypothesis import given
            from hypothesis.errors import Unsatisfiable

            try:
                calm(given(strategy)(ask))()
            except Unsatisfiable:
                continue
    assert not faults, "\n".join(faults[:10])
    assert len(tries) >= 15
    assert write_archive(store, store.home / "after.zip")["tables"] == before
    counted("questions to the JSON door", questions=len(tries), tries=sum(tries.values()), faults=0)
