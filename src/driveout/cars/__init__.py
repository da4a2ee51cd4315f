"""The car itself: identity, stage of life and its append-only trail of facts."""

from driveout.cars.car import STAGES, Car, next_stages
from driveout.cars.odometer import OdometerReading, UseAgainstOthers, odometer_series, use_against_others
from driveout.cars.vin import VinReading, read_vin

__all__ = [
    "STAGES",
    "Car",
    "OdometerReading",
    "UseAgainstOthers",
    "VinReading",
    "next_stages",
    "odometer_series",
    "read_vin",
    "use_against_others",
]
