"""A writer that is killed at any moment loses at most what it had not confirmed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tests.conftest import ON_POSTGRES
from tests.trials.programs import answer_of


def test_killed_writers_lose_nothing_that_was_confirmed(
    tmp_path: Path, record_url: str | None, counted: Callable[..., None]
) -> None:
    kills = 40 if ON_POSTGRES else 200

    found = answer_of("killing", tmp_path, kills, 1, record_url or "-")
    counted(
        "kill -9 of a writer", **{key: found[key] for key in ("kills", "in_the_middle", "confirmed", "lost")}
    )
    assert found["kills"] == kills
    assert found["in_the_middle"] > kills / 2
    assert found["confirmed"] > kills / 4
    assert found["lost"] == 0


def test_the_trial_notices_a_writer_that_confirms_before_it_has_written(tmp_path: Path) -> None:
    assert answer_of("killing", tmp_path, 10, 2, "-", "careless")["lost"] > 0


def test_a_killed_server_has_everything_it_answered_for(
    tmp_path: Path, record_url: str | None, counted: Callable[..., None]
) -> None:
    found = answer_of("serving", tmp_path, 20, 3, record_url or "-")

    counted("kill -9 of the server while forms arrive", **found)
    assert found["kills"] == 20
    assert found["answered"] >= 40
    assert found["lost"] == 0
