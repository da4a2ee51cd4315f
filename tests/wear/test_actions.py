"""Readings, limits and the seller's rule come back from the record as they went in, on both engines."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car, change_stage
from driveout.cars.papers import SellerRule, federal_rule
from driveout.errors import BadEntry, Conflict
from driveout.store import Store
from driveout.wear import actions

RULE = SellerRule("Brackenford", ("sold", "offered"), "calendar", 12, 2, "page of the authority")


def a_car(store: Store) -> int:
    with store.writing() as tx:
        return add_car(
            tx, name="Tarnwick Linnet 1.4", currency="USD", at=store.now(), made_year=2013, mileage_km=141_000
        ).id


def test_what_was_measured_and_limited_comes_back(either_store: Store) -> None:
    car = a_car(either_store)
    with either_store.writing() as tx:
        actions.set_maker_limit(
            tx, car, "disc_mm", "least", "0.787 in", "cast on the disc", spot="front", at=either_store.now()
        )
        verdicts = actions.record_readings(
            tx,
            car,
            "corner",
            {"front left": {"disc": "19.8 19.8 19.8 19.8 mm", "pad_inner": "4/32"}},
            at=either_store.now(),
        )
    with either_store.reading() as tx:
        kept = actions.entries_of(tx, car, "corner")["front left"]
        again = actions.car_report(tx, car, either_store.now().date()).of("corner", "front left")
        evidence = actions.evidence(tx, car)

    assert kept == {"disc": "19.8 19.8 19.8 19.8 mm", "pad_inner": "4/32"}
    assert again == verdicts
    assert again[1].decided_by is not None
    assert again[1].decided_by.as_published == "0.787 in"
    assert evidence == {"w_brake_visual": "worn"}


def test_the_sellers_rule_is_kept_once_and_counts_the_cars(either_store: Store) -> None:
    car = a_car(either_store)
    with either_store.writing() as tx:
        assert actions.own_rule(tx) == (federal_rule(), None)
        actions.set_own_rule(tx, RULE)
        change_stage(tx, car, "bought", either_store.now())
        change_stage(tx, car, "for sale", either_store.now())
        count = actions.cars_counted(tx, either_store.now().date())
        rule, version = actions.own_rule(tx)

    assert rule == RULE
    assert (count.counted, count.left) == (1, 0)
    with pytest.raises(Conflict, match="another window"), either_store.writing() as tx:
        actions.set_own_rule(tx, RULE, version=(version or 0) + 5)


def test_a_reading_without_a_car_or_in_the_future_is_refused(store: Store) -> None:
    car = a_car(store)
    from datetime import timedelta

    with pytest.raises(BadEntry, match="no car number"), store.writing() as tx:
        actions.record_readings(tx, car + 1, "battery", {"battery": {"rest": "12.6"}}, at=store.now())
    tomorrow = store.now().date() + timedelta(days=1)
    with pytest.raises(BadEntry, match="in the future"), store.writing() as tx:
        actions.record_readings(
            tx, car, "battery", {"battery": {"rest": "12.6"}}, at=store.now(), day=tomorrow
        )
