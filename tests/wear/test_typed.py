"""Readings as people type them."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.wear import read_quantity
from driveout.wear.topics import read_entries, split_values


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4/32", "mm", 3.175),
        ("4/32 in", "mm", 3.175),
        ("4 mm", "mm", 4.0),
        ("4", "mm", 4.0),
        ("4,5 mm", "mm", 4.5),
        ("2 1/4 in", "mm", 57.15),
        ("0.866 in", "mm", 21.9964),
        ("22.125", "mm", 22.125),
        ("4.5 mil", "um", 114.3),
        ("150 psi", "kpa", 1034.2136),
        ("12 bar", "kpa", 1200.0),
        ("0.05 A", "ma", 50.0),
        ("12.45", "v", 12.45),
        ("-40 F", "c", -40.0),
        ("61,000 km", "km", 61000.0),
        ("38000 mi", "km", 61155.072),
        ("120 µm", "um", 120.0),
    ],
)
def test_a_value_is_read_with_its_unit(text: str, unit: str, value: float) -> None:
    assert read_quantity(text, unit) == pytest.approx(value, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "unit", "least", "most", "ask_below", "match"),
    [
        ("0.866", "mm", 3, 60, 0, "Did you mean 0.866 in"),
        ("0.157", "mm", 0, 20, 1.0, "is doubtful. Did you mean 0.157 in"),
        ("9", "mm", 120, 400, 0, "Did you mean 9 in"),
        ("150", "kpa", 0, 8000, 400, "Did you mean 150 psi"),
        ("10.3", "kpa", 0, 8000, 400, "10.3 bar"),
        ("4.5", "um", 30, 5000, 30, "4.5 mil"),
        ("0.05", "ma", 0, 20000, 5, "0.05 a"),
    ],
)
def test_a_doubt_of_the_unit_is_asked_and_not_guessed(
    text: str, unit: str, least: float, most: float, ask_below: float, match: str
) -> None:
    with pytest.raises(BadEntry, match=match):
        read_quantity(text, unit, least=least, most=most, ask_below=ask_below)


def test_the_same_value_with_its_unit_is_taken() -> None:
    assert read_quantity("0.5 mm", "mm", least=0, most=20, ask_below=1.0) == 0.5


@pytest.mark.parametrize(
    ("text", "unit", "match"),
    [
        ("thin", "mm", "not a value"),
        ("4/30", "mm", "not a fraction of an inch"),
        ("4 psi", "mm", "not a unit for this"),
        ("4/32", "um", "a fraction needs its unit"),
        ("41", "mm", "outside from 0 to 20 mm"),
        ("", "mm", "not a value"),
    ],
)
def test_what_is_no_reading_is_refused(text: str, unit: str, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        read_quantity(text, unit, least=0, most=20)


def test_a_value_that_can_be_one_or_a_thousand_is_asked() -> None:
    with pytest.raises(BadEntry, match="can be read as"):
        read_quantity("1,035 kPa", "kpa", least=0, most=8000)


def test_a_list_of_readings_takes_the_last_unit_for_all() -> None:
    assert split_values("23,1 23,2; 23,15 mm") == ("23,1 mm", "23,2 mm", "23,15 mm")
    assert split_values("150,148,152,147 psi") == ("150 psi", "148 psi", "152 psi", "147 psi")
    with pytest.raises(BadEntry, match="not a list"):
        split_values("some and more")


@pytest.mark.parametrize(
    ("topic", "spot", "entries", "match"),
    [
        ("brakes", "front left", {}, "not a topic"),
        ("corner", "middle", {}, "not a spot"),
        ("corner", "front left", {"pads": "4"}, "not a field"),
        ("corner", "front left", {"joint": "knee"}, "not offered"),
        ("corner", "front left", {"nuts_missing": "1.5"}, "whole number"),
        ("engine", "engine", {"wet": "high"}, "cylinder:value"),
    ],
)
def test_entries_that_belong_nowhere_are_refused(
    topic: str, spot: str, entries: dict[str, str], match: str
) -> None:
    with pytest.raises(BadEntry, match=match):
        read_entries(topic, spot, entries)


def test_pressures_by_cylinder_are_read_with_one_unit_for_all() -> None:
    got = read_entries("engine", "engine", {"wet": "3:140 4:150 psi", "leak": "1:8 3:35 %"})

    assert got["wet"][3] == pytest.approx(965.27, abs=0.01)
    assert got["leak"] == {1: 8.0, 3: 35.0}
