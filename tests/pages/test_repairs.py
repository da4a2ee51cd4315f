"""The chapter Repairs: works, refuses bad entry, loses nothing typed."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car, get_car
from driveout.faults.actions import record_finding
from driveout.repairs import actions
from driveout.store import Store
from tests.conftest import Browser, Clock

FACTS = {
    "drive": "fwd",
    "gearbox": "manual",
    "runs": "runner",
    "clean_value_minor": [450_000, 520_000, 600_000],
}


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        made = add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            at=clock(),
            stage="bought",
            made_year=2013,
            mileage_km=168_000,
            facts=FACTS,
        )
        record_finding(tx, made.id, finding="d_clutch_hold", outcome="yes", at=clock())
    return made.id


def test_a_slipping_clutch_is_proposed_with_its_money_and_hours(browser: Browser, car: int) -> None:
    text = browser.get(f"/cars/{car}/repairs")

    assert "Clutch kit, gearbox down (front drive)" in text
    assert "240.00 USD" in text


def test_choosing_a_repair_begins_its_strip_plan(browser: Browser, car: int) -> None:
    text = browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "new"})

    assert "In the plan" in text
    assert "Rear main seal" in text, "while you are in there"
    assert "What still holds it" in browser.get(f"/cars/{car}/work")


def test_two_repairs_behind_one_access_count_it_once(store: Store, browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "new"})
    text = browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_rear_main", "kind": "new"})

    assert "together they save" in text
    with store.reading() as tx:
        plan = actions.chosen_plan(tx, car)
        held = actions.catalogue_of(get_car(tx, car))
        access = held.access["gearbox_out"].hours.likely
        assert plan.separate_hours - plan.hours == pytest.approx(access)


def test_taking_a_repair_out_closes_its_work(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "new"})
    text = browser.post(f"/cars/{car}/repairs/undo", {"repair": "rep_clutch_fwd", "version": "1"})

    assert "Nothing yet." in text
    assert "No work is planned yet" in browser.get(f"/cars/{car}/work")


def test_a_repair_is_called_done(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "new"})

    assert "<strong>done</strong>" in browser.post(f"/cars/{car}/repairs/done", {"repair": "rep_clutch_fwd"})


def test_two_windows_the_later_one_sees_a_conflict(browser: Browser, car: int) -> None:
    browser.post(f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "new"})
    browser.post(f"/cars/{car}/repairs/done", {"repair": "rep_clutch_fwd", "version": "1"})
    text = browser.post(f"/cars/{car}/repairs/undo", {"repair": "rep_clutch_fwd", "version": "1"}, status=409)

    assert "another window" in text


def test_what_pays_follows_the_worth_of_an_hour(browser: Browser, car: int) -> None:
    cheap = browser.post(
        f"/cars/{car}/repairs/means", {"wage": "5", "value": "5200", "budget": "", "hours": ""}
    )
    dear = browser.post(
        f"/cars/{car}/repairs/means",
        {"wage": "500", "value": "5200", "budget": "900", "hours": "40", "version": "1"},
    )

    assert "Clutch kit, gearbox down (front drive) (new)" in cheap.split("Chosen")[0]
    assert "Clutch kit, gearbox down (front drive) (new)" not in dear.split("How this came about")[0]


def test_a_kind_that_there_is_not_is_refused_and_what_was_typed_stays(browser: Browser, car: int) -> None:
    text = browser.post(
        f"/cars/{car}/repairs/choose", {"repair": "rep_clutch_fwd", "kind": "rebuilt"}, status=422
    )

    assert "cannot be had" in text


@pytest.mark.parametrize(
    ("field", "typed"), [("wage", "-5"), ("wage", "many"), ("budget", "12 EUR"), ("hours", "-1")]
)
def test_limits_that_cannot_be_right_are_refused(browser: Browser, car: int, field: str, typed: str) -> None:
    fields = {"wage": "10", "value": "5000", "budget": "", "hours": "", field: typed}
    text = browser.post(f"/cars/{car}/repairs/means", fields, status=422)

    assert "Not done." in text
    assert f'value="{typed}"' in text


def test_a_car_that_there_is_not_is_not_found(browser: Browser) -> None:
    assert browser.client.get("/cars/999/repairs").status_code == 404


def test_own_repairs_are_chosen_over_the_api(browser: Browser) -> None:
    # project-selection: profit 200 with P2 and P3
    answer = browser.client.post(
        "/api/choose",
        json={
            "schema": "driveout-repair-choice/1",
            "currency": "USD",
            "access": {"M1": {"money": 200}, "M2": {"money": 100}, "M3": {"money": 50}},
            "repairs": {
                "P1": {"uplift": 100, "access": ["M1", "M2"]},
                "P2": {"uplift": 200, "access": ["M2"]},
                "P3": {"uplift": 150, "access": ["M3"]},
            },
        },
    )

    assert answer.status_code == 200
    assert answer.json()["choice"]["best"]["options"] == ["P2", "P3"]


def test_prices_of_another_currency_are_not_set_against_this_car(
    store: Store, clock: Clock, browser: Browser
) -> None:
    with store.writing() as tx:
        car = add_car(
            tx, name="Tarnwick Linnet 1.4", currency="EUR", at=clock(), stage="bought", facts=FACTS
        ).id
        record_finding(tx, car, finding="d_clutch_hold", outcome="yes", at=clock())
    text = browser.post(
        f"/cars/{car}/repairs/means", {"wage": "15", "value": "5200", "budget": "", "hours": ""}
    )

    assert "The repair costs are in USD and this car is kept in EUR" in text
    assert "15.00 EUR" in text
    assert "on average" not in text
