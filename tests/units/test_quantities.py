"""Torques need their unit; conversion factors are exact by definition."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.units import km_from_miles, lbfft_from_nm, miles_from_km, nm_from_lbfft, read_torque


@pytest.mark.parametrize(
    ("text", "nm"),
    [
        ("103 N·m", 103.0),
        ("103Nm", 103.0),
        ("76 lbf·ft", 103.0421),
        ("76 ft-lb", 103.0421),
        ("9.5 in-lb", 1.07336),
        ("10.5 kgf·m", 102.9698),
    ],
)
def test_a_torque_is_read_with_its_unit(text: str, nm: float) -> None:
    assert read_torque(text).nm == pytest.approx(nm, rel=1e-5)


@pytest.mark.parametrize("text", ["76", "76 furlongs", "Nm", "-5 Nm", "0 Nm", ""])
def test_a_torque_without_a_known_unit_or_value_is_refused(text: str) -> None:
    with pytest.raises(BadEntry, match=r"unit|torque|above 0|number"):
        read_torque(text)


def test_conversions_go_there_and_back() -> None:
    assert miles_from_km(km_from_miles(123.4)) == pytest.approx(123.4)
    assert lbfft_from_nm(nm_from_lbfft(76)) == pytest.approx(76)


def test_a_torque_is_shown_in_both_units() -> None:
    assert read_torque("76 lbf·ft").text() == "76 lbf·ft (103 N·m)"
