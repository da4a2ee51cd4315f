"""A car at a viewing, ready for tests of this part."""

from datetime import datetime

from driveout.cars.actions import add_car
from driveout.faults.actions import record_finding
from driveout.store import Store, Tx

ASKING_MINOR = 60_000


def a_car_to_view(tx: Tx, at: datetime, asking_minor: int = ASKING_MINOR) -> int:
    """A Linnet whose clutch slips and that loses coolant; its advert names both."""
    car = add_car(
        tx,
        name="Tarnwick Linnet 1.4",
        currency="USD",
        at=at,
        made_year=2013,
        mileage_km=168_000,
        facts={
            "runs": "sick",
            "gearbox": "manual",
            "drive": "fwd",
            "asking_minor": asking_minor,
            "clean_value_minor": [420_000, 480_000, 540_000],
            "distance_km": 12.0,
        },
    )
    for finding in ("say_clutch", "say_loses_coolant"):
        record_finding(tx, car.id, finding=finding, outcome="yes", at=at, origin="advert")
    return car.id


def added(store: Store, asking_minor: int = ASKING_MINOR) -> int:
    """The same car in a record of its own."""
    with store.writing() as tx:
        return a_car_to_view(tx, store.now(), asking_minor)
