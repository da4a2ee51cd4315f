"""Today's list and the yard ahead, drawn from three cars in hand."""

from __future__ import annotations

import re

import pytest

from driveout.demo.actions import usd
from driveout.hunt.actions import buy
from driveout.repairs.actions import choose_repair
from driveout.store import Store
from tests.conftest import Browser
from tests.yard.three_cars import a_car, three_cars, with_an_offer


@pytest.fixture
def yard(store: Store) -> tuple[int, int, int]:
    with store.writing() as tx:
        return three_cars(tx, store.now())


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_the_yard_offers_hours_to_tap_and_a_tap_makes_the_list(
    browser: Browser, yard: tuple[int, ...]
) -> None:
    assert 'href="/today?hours=2"' in browser.get("/")
    page = browser.get("/today?hours=2")

    assert "against leaving it all for tomorrow" in page
    assert 'class="todaylist"' in page
    assert "for each own hour" in page


def test_an_offer_that_waits_heads_the_list_with_money_for_its_reason(
    browser: Browser, store: Store, yard: tuple[int, ...]
) -> None:
    with store.writing() as tx:
        with_an_offer(tx, store.now())
    page = words(browser.get("/today?hours=1"))

    listed = page.split("against leaving it all for tomorrow")[1]
    assert "Answer M. Penhalow: 2,300.00 USD offered" in listed.split("Because")[0]
    assert "go cold in a day (common practice, no source)" in page


def test_no_hour_goes_into_a_car_that_is_better_given_up(browser: Browser, yard: tuple[int, ...]) -> None:
    page = words(browser.get("/today?hours=23&helper_hours=23&daylight=23:59"))

    assert "Sell it as it stands Tarnwick Pipit 1.2" in page
    assert "Stop: scrapping it Tarnwick Dunnock 2.0" in page
    assert "Clutch, gearbox out" not in page
    assert "Sell it as it stands" in words(browser.get("/cars/2/work"))


def test_steps_that_need_a_helper_stay_until_one_is_here(browser: Browser, store: Store) -> None:
    with store.writing() as tx:
        car = a_car(tx, store.now(), "Linnet 1.4", "Clutch slips in high gears.", 650, 9000)
        buy(tx, car, usd("600"), at=store.now())
        choose_repair(tx, car, "rep_clutch_fwd", "new", at=store.now())
    alone, helped = (
        browser.get("/today?hours=23"),
        browser.get("/today?hours=23&helper_hours=23&daylight=23:59"),
    )

    assert "needs helper" not in alone.replace("daylight and ", "")
    assert "needs helper" in helped.replace("daylight and ", "")


@pytest.mark.parametrize(
    "query", ["hours=abc", "hours=25", "hours=2&daylight=7pm", "hours=2&helper_hours=-1"]
)
def test_hours_that_cannot_be_meant_are_said_beside_the_field(
    browser: Browser, yard: tuple[int, ...], query: str
) -> None:
    answer = browser.client.get(f"/today?{query}")

    assert answer.status_code == 422
    assert 'class="wrong"' in answer.text


def test_each_car_gets_one_word_with_its_reasons_and_the_overrun_is_named(
    browser: Browser, yard: tuple[int, int, int]
) -> None:
    page = words(browser.get("/yard/ahead"))
    finish, rest = page.split("Tarnwick Dunnock 2.0", 1)[1], page

    assert "Finish it" in rest.split("Tarnwick Linnet 1.4", 1)[1][:60]
    assert "Sell it as it stands" in rest.split("Tarnwick Pipit 1.2", 1)[1][:60]
    assert finish.lstrip().startswith("Stop")
    assert re.search(r"It has taken \d+ of the \d+ own hours planned", finish)
    assert "under every choice" in finish


def test_a_car_is_bought_or_left_out_on_paper_and_nothing_is_recorded(
    browser: Browser, store: Store, yard: tuple[int, int, int]
) -> None:
    with store.writing() as tx:
        new = a_car(tx, store.now(), "Wren 1.2", "Starter is dead, runs once going.", 300, 3900)
    before = browser.get("/yard/ahead")
    page = words(browser.get(f"/yard/ahead?add={new}&drop={yard[2]}&hours=20&wage=12&bays=4&cash=20000"))

    assert "as it would be" in page
    table = page.split("as it would be")[1]
    assert re.search(r"Cars 3 3", table)
    assert browser.get("/yard/ahead") == before or "csrf" in before


def test_an_advert_is_held_against_the_purse_at_its_walk_away_price(
    browser: Browser, store: Store, yard: tuple[int, int, int]
) -> None:
    with store.writing() as tx:
        for model in ("Wren 1.2", "Siskin 1.6"):
            a_car(tx, store.now(), model, "Starter is dead, runs once going.", 300, 4900)
    poor, rich = words(browser.get("/yard/ahead?keep=50000")), words(browser.get("/yard/ahead"))

    assert "The purse does not bear it" in poor
    assert "for each day in a bay" in rich
    assert "a day of a bay" in rich


@pytest.mark.parametrize("query", ["hours=0", "bays=0", "wage=lots", "bays_now=x", "search=-1", "keep=1+EUR"])
def test_a_yard_that_cannot_be_is_said_beside_the_field(
    browser: Browser, yard: tuple[int, int, int], query: str
) -> None:
    answer = browser.client.get(f"/yard/ahead?{query}")

    assert answer.status_code == 422
    assert 'class="wrong"' in answer.text


def test_an_empty_yard_has_pages_too(browser: Browser) -> None:
    assert "No car is in hand" in browser.get("/yard/ahead")
    assert "Nothing fits" in browser.get("/today?hours=2")
    assert "Tap the hours" in browser.get("/today")
