"""Whether this car was driven little or much for its age, against the comparables."""

from __future__ import annotations

from collections.abc import Sequence

from driveout.cars import UseAgainstOthers, use_against_others
from driveout.market.appraisal import CarToValue
from driveout.market.comparables import Comparable

# Below half a year a distance says nothing on a yearly use.
LEAST_AGE_YEARS = 0.5
CAUTION = (
    "A low distance with a worn seat, wheel rim or pedals is a thing to check at the viewing, not proof of anything: "
    "compare every dated odometer value. The price of the distance is in the value already."
)


def yearly_use(car: CarToValue, comparables: Sequence[Comparable]) -> UseAgainstOthers | None:
    """Distance a year that the odometer implies, against that of the comparables.

    Parameters
    ----------
    car
        The car.
    comparables
        Similar cars; those without a distance or younger than half a year are passed over.

    Returns
    -------
    UseAgainstOthers or None
        Rates, share driven less and a sentence; None when there is nothing to compare with.
    """
    others = [
        (c.mileage_km, c.age_on(car.on))
        for c in comparables
        if c.mileage_km is not None and c.age_on(car.on) >= LEAST_AGE_YEARS
    ]
    if not others or car.age < LEAST_AGE_YEARS:
        return None
    return use_against_others(car.mileage_km, car.age, others)
