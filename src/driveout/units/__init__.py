"""Money, quantities with units and numbers as people write them."""

from driveout.units.money import Money, minor_digits, money_from_text
from driveout.units.numbers import read_number
from driveout.units.quantities import (
    FACTORS,
    Torque,
    km_from_miles,
    lbfft_from_nm,
    miles_from_km,
    nm_from_lbfft,
    read_torque,
)

__all__ = [
    "FACTORS",
    "Money",
    "Torque",
    "km_from_miles",
    "lbfft_from_nm",
    "miles_from_km",
    "minor_digits",
    "money_from_text",
    "nm_from_lbfft",
    "read_number",
    "read_torque",
]
