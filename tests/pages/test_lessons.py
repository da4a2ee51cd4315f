"""The chapter Looking back and the page Lessons."""

from __future__ import annotations

import re

import pytest

from driveout.cars.actions import add_car
from driveout.faults.actions import prove_fault
from driveout.lessons import actions, read_lessons
from driveout.money import actions as money
from driveout.store import Store
from tests.conftest import Browser, Clock
from tests.lessons import an_estimate
from tests.money.story import usd


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    said, at = an_estimate(), clock()
    with store.writing() as tx:
        car_id = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=at, stage="viewing").id
        actions.freeze(
            tx,
            car_id,
            said.lines,
            at,
            sale_price=said.sale_price,
            selling_fees=said.selling_fees,
            wage=said.wage,
        )
        money.book_purchase(tx, car_id, usd("1450"), at.date(), at=at)
        money.book_receipt(tx, car_id, "parts", usd("148.60"), "Kit", "", at.date(), at=at, line="clutch")
        money.book_hours(tx, car_id, "clutch", 8, at)
    return car_id


@pytest.fixture
def sold(store: Store, clock: Clock, car: int) -> int:
    with store.writing() as tx:
        money.book_sale(tx, car, usd("3000"), None, clock().date(), at=clock())
    return car


def test_the_money_chapter_lays_cost_beside_the_frozen_estimate(browser: Browser, car: int) -> None:
    text = browser.get(f"/cars/{car}/money")

    assert "Against the estimate" in text
    assert re.search(r"Coolant leak.*?0\.00 USD", text, re.DOTALL)
    assert "148.60 USD" in text


def test_a_receipt_on_an_estimate_line_takes_the_lines_kind(browser: Browser, car: int, clock: Clock) -> None:
    text = browser.post(
        f"/cars/{car}/money/receipt",
        {"amount": "50", "what": "Hose", "line": "cooling", "day": clock().date().isoformat()},
    )

    assert "Hose" in text
    assert "1,648.60 USD" in text


def test_before_the_sale_there_is_nothing_to_look_back_on(browser: Browser, car: int) -> None:
    assert "not sold yet" in browser.get(f"/cars/{car}/lookback")
    assert "not sold yet" in browser.post(f"/cars/{car}/lookback/close", {}, status=422)


def test_a_sold_car_shows_profit_per_hour_and_reasons_that_add_up(browser: Browser, sold: int) -> None:
    text = browser.get(f"/cars/{sold}/lookback")

    assert "1,401.40 USD" in text
    assert "175.18 USD" in text
    cells = re.findall(r'<td class="num">(-?[\d,]+\.\d\d) USD</td>', text)
    total = re.search(r"<strong>(-?[\d,]+\.\d\d) USD</strong></td>", text)
    assert total
    cents = [round(100 * float(cell.replace(",", ""))) for cell in cells]
    assert sum(cents) == round(100 * float(total.group(1).replace(",", "")))
    assert 'class="bridge"' in text


def test_closing_teaches_and_a_lesson_can_be_set_aside(browser: Browser, sold: int) -> None:
    text = browser.post(f"/cars/{sold}/lookback/close", {})
    assert "Closed on" in text
    text = browser.get("/lessons")
    assert "below 20 nothing is claimed" in text
    lesson = re.search(r'name="lesson" value="(\d+)"', text)
    assert lesson
    text = browser.post("/lessons/count", {"lesson": lesson.group(1), "version": "1"})
    assert "set aside" in text
    browser.post("/lessons/count", {"lesson": lesson.group(1), "version": "1"}, status=409)

    assert "Let it count again" in browser.get("/lessons")
    assert "was closed on" in browser.post(f"/cars/{sold}/lookback/close", {}, status=409)


def test_reopening_needs_a_reason(browser: Browser, sold: int) -> None:
    browser.post(f"/cars/{sold}/lookback/close", {})
    browser.post(f"/cars/{sold}/lookback/reopen", {"why": ""}, status=422)
    text = browser.post(f"/cars/{sold}/lookback/reopen", {"why": "a bill turned up"})

    assert "Close this car" in text


def test_what_is_shared_holds_no_names(browser: Browser, sold: int) -> None:
    browser.post(f"/cars/{sold}/lookback/close", {})
    text = browser.client.get("/lessons/export").text

    assert "Linnet" not in text
    assert len(read_lessons(text, "mine.yaml").taught) == 2


def test_lessons_of_a_file_come_over_http(browser: Browser) -> None:
    document: dict = {
        "schema": "driveout-lessons/1",
        "jobs": [{"kind": "clutch", "estimate": [3, 4, 7], "actual": 9}],
        "next": [{"kind": "clutch", "estimate": [3, 4, 7]}],
    }
    answer = browser.client.post("/api/lessons", json=document)
    assert answer.status_code == 200, answer.text
    assert answer.json()["next"][0]["corrected"][1] > 4

    document["jobs"][0]["actual"] = -1
    assert browser.client.post("/api/lessons", json=document).status_code == 422


def test_looking_back_names_the_checks_that_were_not_made(
    browser: Browser, sold: int, store: Store, clock: Clock
) -> None:
    assert "could have shown" not in browser.get(f"/cars/{sold}/lookback")
    clock.forward(days=9)
    with store.writing() as tx:
        prove_fault(tx, sold, fault="eng_head_gasket", is_there=True, at=clock())
    text = browser.get(f"/cars/{sold}/lookback")

    assert "What the viewing could have shown" in text
    assert "not made" in text
