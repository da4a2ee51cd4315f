"""Looking back says what a check was worth; lessons are set aside, shared and taken in through the page."""

from __future__ import annotations

import datetime
import re

import pytest

from driveout.demo.actions import usd
from driveout.faults import actions as faults
from driveout.hunt.actions import buy
from driveout.lessons import actions
from driveout.money import actions as money
from driveout.selling.actions import sell_car
from driveout.store import Store
from driveout.viewing.actions import plan_of
from driveout.yard.actions.hindsight import checks_worth_then
from tests.conftest import Browser
from tests.yard.three_cars import a_car, closed_cars

DAY = datetime.timedelta(days=1)
FILE = """schema: driveout-lessons/1
jobs:
  - {kind: clutch, estimate: [3, 4, 7], actual: 8}
"""


@pytest.fixture
def missed(store: Store) -> int:
    """A car bought on the words of its advert whose engine proved worn afterwards; sold and closed."""
    at = store.now() - 40 * DAY
    with store.writing() as tx:
        car = a_car(tx, at, "Linnet 1.4", "Engine knocks a little, starts and drives.", 1500, 4600)
        buy(tx, car, plan_of(tx, car).ceiling.money, at=at)
    with store.writing() as tx:
        fault = next(
            key for key in faults.knowledge_of(tx).faults if key.startswith("head_gasket") or "gasket" in key
        )
        faults.prove_fault(tx, car, fault=fault, is_there=True, at=at + 10 * DAY)
        sell_car(tx, car, usd("2400"), at=at + 30 * DAY, day=(at + 30 * DAY).date(), buyer="R. Sorrel")
        actions.close_car(tx, car, at + 31 * DAY)
    return car


def test_a_check_left_out_is_worth_what_the_viewing_said_on_that_day(browser: Browser, store: Store) -> None:
    at = store.now()
    with store.writing() as tx:
        car = a_car(tx, at, "Linnet 1.4", "Engine knocks a little, starts and drives.", 1500, 4600)
        # At the walk-away price buying and walking are about as good, so checks decide.
        price = plan_of(tx, car).ceiling.money
        worths = plan_of(tx, car, price_minor=price.minor).plan.worths
        before = {worth.name: round(worth.gross) for worth in worths}
        texts = {check.id: check.do for check in faults.knowledge_of(tx).checks.values()}
        buy(tx, car, price, at=at)
        # What is found after the purchase must not change what the checks were worth before it.
        fault = next(iter(faults.knowledge_of(tx).faults))
        faults.prove_fault(tx, car, fault=fault, is_there=True, at=at + 5 * DAY)
        found = {one.name: one.worth.minor for one in checks_worth_then(tx, car)}

    assert found
    assert found == {texts[name]: worth for name, worth in before.items() if worth > 0}


def test_looking_back_names_the_missed_fault_and_the_money_of_the_checks(
    browser: Browser, missed: int
) -> None:
    page = browser.get(f"/cars/{missed}/lookback")

    assert "What the viewing could have shown" in page
    assert "by what each was worth on that day" in page
    assert re.search(r"\d USD", page.split("by what each was worth on that day")[-1])


def test_a_car_is_reopened_and_closed_again_with_the_clock_set_back(
    browser: Browser, store: Store, missed: int
) -> None:
    browser.post(f"/cars/{missed}/lookback/reopen", {"why": "a receipt turned up"})
    with store.writing() as tx:
        # The clock of the machine stands an hour earlier than at the first closing.
        at = store.now() - 10 * DAY
        money.book_receipt(tx, missed, "fees", usd("50"), "Forgotten fee", "Ostley", at.date(), at=at)
        actions.close_car(tx, missed, at)
    page = browser.get(f"/cars/{missed}/lookback")

    assert "Void:" in page
    assert "reopened because: a receipt turned up" in page


def test_the_same_hours_twice_are_asked_about_through_the_page(browser: Browser, store: Store) -> None:
    with store.writing() as tx:
        car = a_car(tx, store.now(), "Linnet 1.4", "Clutch slips.", 950, 4600)
        buy(tx, car, usd("900"), at=store.now())
    day = store.now().date().isoformat()
    fields = {"kind_of_work": "clutch", "hours": "2", "hours_day": day}
    browser.post(f"/cars/{car}/money/hours", fields)
    refused = browser.post(f"/cars/{car}/money/hours", fields, status=422)

    assert "If it really was done twice, say so" in refused
    browser.post(f"/cars/{car}/money/hours", {**fields, "again": "yes"})


def test_proved_faults_are_set_aside_on_the_page_and_stay_so(
    browser: Browser, store: Store, missed: int
) -> None:
    page = browser.get("/lessons")
    assert "Starting chances that moved most" in page
    browser.post("/lessons/faults", {"car": str(missed)})
    page = browser.get("/lessons")

    assert "Starting chances that moved most" not in page
    assert "Let them teach again" in page
    browser.post("/lessons/faults", {"car": str(missed), "counts": "yes"})
    assert "Starting chances that moved most" in browser.get("/lessons")


def test_a_colleagues_file_is_taken_in_and_set_aside_on_the_page(browser: Browser, store: Store) -> None:
    sent = {"lessons_file": ("theirs.yaml", FILE.encode(), "application/yaml")}
    browser.post("/lessons/take-in", {"name": "from the club", "weight": "0.4"}, files=sent)
    page = browser.get("/lessons")

    assert "each worth 0.40 of an own one" in page
    assert "1 of others" in page
    with store.reading() as tx:
        (kept,) = actions.shared_files(tx)
    browser.post("/lessons/shared", {"file": str(kept.id), "version": str(kept.version)})
    assert "1 of others" not in browser.get("/lessons")
    refused = browser.post("/lessons/take-in", {"weight": "1"}, files=sent, status=422)
    assert "outside 0 to 1" in refused
    assert "Choose the file first" in browser.post("/lessons/take-in", {"weight": "0.3"}, status=422)


def test_what_is_saved_to_share_holds_nothing_private(browser: Browser, store: Store, missed: int) -> None:
    text = browser.client.get("/lessons/export").text

    assert text.startswith("schema: driveout-lessons/1")
    for private in ("Linnet", "Tarnwick", "Brackenford", "Sorrel", "2026"):
        assert private not in text


def test_lessons_of_two_cars_claim_nothing_about_ranges(browser: Browser, missed: int) -> None:
    page = browser.get("/lessons")

    assert "below 20 nothing is claimed" in page
    assert 'class="coverage"' not in page


def test_from_twenty_jobs_on_the_ranges_are_drawn_with_their_table(browser: Browser, store: Store) -> None:
    with store.writing() as tx:
        closed_cars(tx, store.now(), 12)
    page = browser.get("/lessons")

    assert 'class="coverage"' in page
    assert "How often the actual fell inside the range" in page
