"""A clock that was set back neither mixes up the trail nor costs a copy, nor lets anybody in."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from driveout.cars.actions import add_car, broken_trails, change_facts, note_event, trail_of
from driveout.crew import actions as crew
from driveout.outlook.actions import newest_point
from driveout.outlook.actions import trail as points_of
from driveout.store import Store, daily_copies, keep_daily_copy, restore
from driveout.store.engine import open_store
from tests.conftest import Browser, Clock


def test_the_trail_keeps_the_order_in_which_things_were_written(
    store: Store, clock: Clock, counted: Callable[..., None]
) -> None:
    chance = random.Random(4)
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=store.now()).id
    back = 0
    for number in range(60):
        step = chance.choice([5, 5, -200, 0, -4000])
        back += step < 0
        clock.forward(days=step)
        with store.writing() as tx:
            note_event(tx, car_id, "note", f"note {number}", {}, store.now())
            if number % 10 == 0:
                change_facts(tx, car_id, {"asking_minor": 100_000 + number}, at=store.now())

    with store.reading() as tx:
        notes = [event.summary for event in reversed(trail_of(tx, car_id)) if event.kind == "note"]
        assert notes == [f"note {number}" for number in range(60)]
        assert broken_trails(tx) == {}
        points = points_of(tx, car_id)
        newest = newest_point(tx, car_id)
        assert newest is not None
        assert points[-1].id == newest.id == max(point.id for point in points)
    counted("clock set back", steps_back=back, events=60, out_of_order=0)


def test_a_clock_set_back_costs_no_copy(store: Store, clock: Clock, tmp_path: Path) -> None:
    for step in (1, 1, 1, -40, 1, 1, 1, 1, 1, 1, 300, -299):
        clock.forward(days=step)
        with store.writing() as tx:
            add_car(tx, name=f"car {clock.moment:%j}", currency="USD", at=store.now())
        written = keep_daily_copy(store)
        copies = daily_copies(store.home)
        assert written is None or written == copies[clock.moment.date()], "today's copy always stays"
        assert clock.moment.date() in copies
        assert len(copies) <= 7 + 12
    newest = daily_copies(store.home)[clock.moment.date()]
    other = open_store(f"sqlite:///{tmp_path / 'o.db'}", tmp_path / "o")
    assert restore(newest, other)["tables"]["cars_car"]["rows"] >= 11
    other.close()


def test_a_page_drawn_before_the_clock_went_back_can_still_be_sent(browser: Browser, clock: Clock) -> None:
    fields = {"csrf": browser.token(), "name": "Linnet", "currency": "USD", "asking": "1450"}
    fields |= {"mileage": "98000", "mileage_unit": "mi", "title": "clean"}
    clock.forward(days=-400)

    assert browser.client.post("/adverts", data=fields).status_code == 200


def test_a_pairing_code_does_not_hold_longer_when_the_clock_goes_back(store: Store, clock: Clock) -> None:
    with store.writing() as tx:
        person = crew.add_person(tx, "R. Sorrel", "hand", at=store.now())
        secret = crew.invite(tx, person.id, at=store.now())
    with store.writing() as tx:
        assert crew.pair(tx, secret, "phone", at=store.now() - timedelta(days=1)) is None
        assert crew.pair(tx, secret, "phone", at=store.now() + timedelta(minutes=11)) is None
        assert crew.pair(tx, secret, "phone", at=store.now() + timedelta(minutes=9)) is not None
        assert crew.pair(tx, secret, "again", at=store.now() + timedelta(minutes=9)) is None
