"""Sample years: lives that could be, told into a record that holds by its own guards and by outside judges."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date

import pytest

from driveout.cars.actions import broken_trails, list_cars, trail_of
from driveout.errors import BadEntry, StoreTrouble
from driveout.lessons.actions import lessons_of
from driveout.money import actions as money
from driveout.money import beancount_text
from driveout.outlook.actions import newest_point
from driveout.outlook.actions import trail as outlook_trail
from driveout.simulate.actions import load_years
from driveout.simulate.names import BUYERS, MODELS, SELLERS, TOWNS
from driveout.simulate.years import Life, sample_years
from driveout.store import Store, missing_guards
from tests.money.judges import beancount_says

TODAY = date(2026, 5, 4)


@pytest.fixture(scope="module")
def lives() -> tuple[Life, ...]:
    return sample_years(12, 2.0, TODAY, 7)


def test_the_same_seed_gives_the_same_lives(lives: tuple[Life, ...]) -> None:
    assert sample_years(12, 2.0, TODAY, 7) == lives
    assert sample_years(12, 2.0, TODAY, 8) != lives


def test_every_stage_of_life_occurs(lives: tuple[Life, ...]) -> None:
    assert {life.stage for life in lives} == {
        "closed", "sold", "for sale", "in work", "bought", "let go", "advert",
    }  # fmt: skip


def test_nothing_has_happened_that_lies_ahead_and_days_are_in_order(lives: tuple[Life, ...]) -> None:
    for life in lives:
        receipts = [*life.receipts, *(r for one in life.mendings for r in one.receipts)]
        sessions = [*life.sessions, *(s for one in life.mendings for s in one.sessions)]
        days = [d for d in (life.seen_on, life.bought_on, life.ready_on, life.sold_on) if d is not None]

        assert days == sorted(days)
        busy = [*(r.day for r in receipts), *(s.day for s in sessions), *(t.day for t in life.trips)]
        assert all(day <= TODAY for day in busy)
        if life.bought_on is not None:
            assert all(day >= life.bought_on for day in busy)
        if life.ready_on is not None:
            assert all(one.done_on <= life.ready_on for one in life.mendings)
            assert all(before > after for (_, before), (_, after) in itertools.pairwise(life.asks))


def test_two_years_are_two_years(lives: tuple[Life, ...]) -> None:
    first = min(life.seen_on for life in lives)

    assert 700 <= (TODAY - first).days <= 735


@pytest.mark.parametrize(("cars", "years"), [(0, 2.0), (3000, 2.0), (12, 0.1), (12, 50.0)])
def test_impossible_yards_are_refused(cars: int, years: float) -> None:
    with pytest.raises(BadEntry, match="cannot be made"):
        sample_years(cars, years, TODAY, 1)


@pytest.mark.parametrize("cars", [1, 3, 7, 30])
def test_a_yard_has_as_many_cars_as_asked_for(cars: int) -> None:
    assert len(sample_years(cars, 1.0, TODAY, 2)) == cars


def test_names_are_told_apart() -> None:
    for names in (TOWNS, SELLERS, BUYERS, [f"{m.make} {m.name}" for m in MODELS]):
        assert len({*names}) == len(names)


def assert_whole(store: Store) -> None:
    """Trails, guards and journal hold; the journal by another program's reckoning as well."""
    with store.reading() as tx:
        assert broken_trails(tx) == {}
        entries, sums = money.every_entry(tx), money.all_balances(tx)
        cars = list_cars(tx)
    assert missing_guards(store) == []
    for commodity in {unit for _, unit in sums}:
        assert sum(amount for (_, unit), amount in sums.items() if unit == commodity) == 0
    for car in cars:
        if car.stage == "sold":
            left = sum(v for (a, _), v in sums.items() if a.startswith(f"Assets:WIP:Car-{car.id}:"))
            assert left == 0
    said, complaints = beancount_says(beancount_text(entries))
    assert complaints == []
    assert {key: v for key, v in said.items() if v} == {key: v for key, v in sums.items() if v}


def test_a_small_yard_is_told_day_by_day_through_the_actions(store: Store) -> None:
    made = load_years(store, cars=4, years=1.0, seed=7)

    assert made.cars == 4
    assert set(made.stages) == {"sold", "for sale", "in work"}
    assert_whole(store)
    with store.reading() as tx:
        for car in list_cars(tx):
            kinds = [event.kind for event in trail_of(tx, car.id)]
            assert {"added", "finding", "money", "hours"} <= {*kinds}
            points = outlook_trail(tx, car.id)
            moments = sorted(point.at for point in points)
            # outlooks are of the days they were made on, not all of today
            assert (moments[-1] - moments[0]).days > 2
            assert newest_point(tx, car.id) is not None
        assert lessons_of(tx)


def test_a_large_yard_has_the_entries_asked_for(store: Store) -> None:
    made = load_years(store, cars=7, years=1.0, seed=3, entries=400)

    assert made.entries == 400
    assert_whole(store)


def test_sample_years_never_go_into_a_record_that_holds_cars(store: Store) -> None:
    load_years(store, cars=1, years=0.5, entries=30)

    with pytest.raises(StoreTrouble, match="holds cars already"):
        load_years(store, cars=1)


def test_an_absurd_number_of_entries_is_refused(store: Store) -> None:
    with pytest.raises(BadEntry, match="cannot be made"):
        load_years(store, entries=10**9)


def test_a_life_is_a_plain_value(lives: tuple[Life, ...]) -> None:
    assert replace(lives[0]) == lives[0]
