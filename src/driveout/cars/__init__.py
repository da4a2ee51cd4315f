"""The car itself: identity, stage of life and its append-only trail of facts."""

from driveout.cars.car import STAGES, Car, next_stages
from driveout.cars.vin import VinReading, read_vin

__all__ = ["STAGES", "Car", "VinReading", "next_stages", "read_vin"]
