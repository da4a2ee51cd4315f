"""Several windows on one car: each change is kept or its writer is told; none is lost in silence."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.cars import records
from driveout.cars.actions import add_car, broken_trails, change_facts, get_car, trail_of
from driveout.errors import Conflict
from driveout.store import Store
from tests.conftest import Browser

WINDOWS, CHANGES = 6, 15


def all_at_once(act: Callable[[int], None]) -> None:
    """Run the act in every window at the same time; any failure fails the trial."""
    failures: list[BaseException] = []

    def window(number: int) -> None:
        try:
            act(number)
        except BaseException as error:  # handed on to the test
            failures.append(error)

    threads = [threading.Thread(target=window, args=(number,)) for number in range(WINDOWS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failures:
        raise failures[0]


def count_up(store: Store, car_id: int, with_version: bool) -> int:
    """Let every window read a number and write it back one higher; return how often one was told to look again."""
    conflicts: list[int] = []

    def act(window: int) -> None:
        done = 0
        while done < CHANGES:
            with store.reading() as tx:
                car = get_car(tx, car_id)
            higher = int(car.facts.get("count", 0)) + 1
            try:
                with store.writing() as tx:
                    if with_version:
                        change_facts(tx, car_id, {"count": higher}, at=store.now(), version=car.version)
                    else:
                        row = sa.update(records.cars_car).where(records.cars_car.c.id == car_id)
                        tx.execute(row.values(facts={"count": higher}))
                done += 1
            except Conflict:
                conflicts.append(window)

    all_at_once(act)
    return len(conflicts)


def test_no_change_is_lost_in_silence(store: Store, counted: Callable[..., None]) -> None:
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=store.now()).id

    conflicts = count_up(store, car_id, with_version=True)
    with store.reading() as tx:
        car = get_car(tx, car_id)
        changes = [event for event in trail_of(tx, car_id) if event.kind != "added"]
        assert broken_trails(tx) == {}
    lost = WINDOWS * CHANGES - int(car.facts["count"])
    counted("windows on one car", windows=WINDOWS, changes=WINDOWS * CHANGES, told=conflicts, lost=lost)
    assert lost == 0
    assert len(changes) == WINDOWS * CHANGES
    assert conflicts > 0, "the windows never met, so the trial showed nothing"


def test_the_trial_notices_a_change_without_its_version(store: Store) -> None:
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=store.now()).id

    count_up(store, car_id, with_version=False)
    with store.reading() as tx:
        assert int(get_car(tx, car_id).facts["count"]) < WINDOWS * CHANGES


def test_forms_sent_from_two_browsers_are_kept_or_shown_beside_each_other(
    store: Store, counted: Callable[..., None]
) -> None:
    app = web_app(store)
    with (
        TestClient(app, base_url="http://localhost") as one,
        TestClient(app, base_url="http://localhost") as two,
    ):
        first, second = Browser(one), Browser(two)
        facts = {
            "name": "Linnet",
            "currency": "USD",
            "mileage": "98000",
            "mileage_unit": "mi",
            "title": "clean",
        }
        first.post("/adverts", {**facts, "asking": "1450"})
        told = 0
        for turn in range(8):
            with store.reading() as tx:
                version = get_car(tx, 1).version
            change = {**facts, "version": str(version)}
            first.post("/cars/1/advert/facts", {**change, "asking": str(1500 + turn)})
            answer = second.post("/cars/1/advert/facts", {**change, "asking": str(2500 + turn)}, status=409)
            assert f"{2500 + turn}" in answer, "what the second one typed is still there"
            assert f"{1500 + turn}" in answer.replace(",", ""), "what stands now is there too"
            told += 1
            with store.reading() as tx:
                assert get_car(tx, 1).facts["asking_minor"] == (1500 + turn) * 100
    counted("two browsers, one form", pairs=8, told=told, lost=0)


@pytest.mark.parametrize("turns", [6])
def test_bookings_from_many_windows_all_arrive(store: Store, turns: int) -> None:
    app = web_app(store)
    with TestClient(app, base_url="http://localhost") as opened:
        Browser(opened).post(
            "/adverts",
            {
                "name": "Linnet",
                "currency": "USD",
                "asking": "1450",
                "mileage": "98000",
                "mileage_unit": "mi",
                "title": "clean",
            },
        )

    def act(window: int) -> None:
        with TestClient(app, base_url="http://localhost") as opened:
            browser = Browser(opened)
            for turn in range(turns):
                fields = {
                    "kind": "parts",
                    "amount": f"{window + 1}.{turn:02}",
                    "what": f"part {window}.{turn}",
                }
                fields |= {"day": "2026-05-04", "quantity": "1", "line": "", "core": "", "shop": ""}
                browser.post("/cars/1/money/receipt", fields)

    all_at_once(act)
    with store.reading() as tx:
        booked = tx.scalar(sa.text("SELECT count(*) FROM money_entry WHERE what LIKE 'part %'"))
        assert broken_trails(tx) == {}
    assert booked == WINDOWS * turns
