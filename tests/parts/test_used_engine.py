"""The check list for a used engine: compression, proof of distance, warranty."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.errors import BadEntry
from driveout.parts.used_engine import engine_verdict, first_start_by, used_engine_list


def test_the_list_asks_for_compression_proof_of_distance_and_warranty() -> None:
    words = " ".join([*used_engine_list().ask, *(what for what, _ in used_engine_list().look)])

    assert all(word in words for word in ("ompression", "clock", "arranty"))
    assert all(minutes > 0 for _, minutes in used_engine_list().look)


@pytest.mark.parametrize(
    ("readings", "verdict"),
    [
        ([12.0, 11.8, 11.9, 12.1], "take"),
        ([12.0, 9.8, 11.9, 12.1], "doubt"),
        ([12.0, 8.0, 11.9, 12.1], "refuse"),
        ([100, 85], "take"),
        ([100, 75], "doubt"),
        ([100, 74.9], "refuse"),
    ],
)
def test_the_spread_decides_on_both_sides_of_each_limit(readings: list[float], verdict: str) -> None:
    assert engine_verdict(readings)[1] == verdict


@pytest.mark.parametrize("readings", [[], [12.0], [12.0, 0.0], [12.0, -1.0]])
def test_too_few_or_impossible_readings_are_refused(readings: list[float]) -> None:
    with pytest.raises(BadEntry, match="one per cylinder"):
        engine_verdict(readings)


def test_the_engine_runs_two_weeks_before_its_warranty_ends() -> None:
    assert first_start_by(date(2026, 6, 30)) == date(2026, 6, 16)
