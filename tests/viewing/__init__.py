"""A car at a viewing, ready for tests of this part."""

from datetime import datetime

from driveout.cars.actions import add_car, change_facts
from driveout.faults.actions import record_finding
from driveout.store import Store, Tx
from driveout.viewing.actions import plan_of

CHECKS = 4


def a_car_to_view(tx: Tx, at: datetime) -> int:
    """A Linnet whose clutch slips and that loses coolant; its advert names both.

    The price asked lies between the walk-away price as things stand and the one with checks, so
    that looking further pays whatever the shipped costs and rules are.
    """
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
            "clean_value_minor": [520_000, 600_000, 680_000],
            "distance_km": 12.0,
        },
    )
    for finding in ("say_clutch", "say_loses_coolant"):
        record_finding(tx, car.id, finding=finding, outcome="yes", at=at, origin="advert")
    made = plan_of(tx, car.id, kept=CHECKS)
    asking = made.ceiling.money.minor + (made.with_checks.minor - made.ceiling.money.minor) // 4
    change_facts(tx, car.id, {"asking_minor": asking // 100 * 100}, at=at)
    return car.id


def added(store: Store) -> int:
    """The same car in a record of its own."""
    with store.writing() as tx:
        return a_car_to_view(tx, store.now())
