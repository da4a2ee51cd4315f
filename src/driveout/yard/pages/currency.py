"""The currency that a page over all cars is drawn in."""

from __future__ import annotations

from driveout.cars.actions import list_cars
from driveout.web import Tx


def yard_currency(tx: Tx) -> str:
    """The currency of most cars; others have their own rules and are not mixed."""
    cars = [car.currency for car in list_cars(tx)]
    return max(sorted(set(cars)), key=cars.count) if cars else "USD"
