"""The chapter Sale: plan, advert, enquiries, offers, sale."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import add_car, get_car, trail_of
from driveout.money import actions as money
from driveout.selling import actions
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Browser, Clock
from tests.selling.test_photos import CAMERA, a_phone_jpeg

PLAN = {
    "fallback": "2900",
    "holding_per_day": "6",
    "deadline_days": "60",
    "step_days": "7",
    "bottleneck": "none",
}


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        number = add_car(
            tx,
            name="Tarnwick Linnet 1.4",
            currency="USD",
            made_year=2013,
            mileage_km=141_000,
            at=clock(),
            stage="viewing",
        ).id
        money.book_purchase(tx, number, Money(145_000, "USD"), clock().date(), at=clock())
        return number


@pytest.fixture
def planned(browser: Browser, car: int) -> int:
    browser.post(f"/cars/{car}/sale/plan", {**PLAN, "value": "4300"})
    return car


def test_before_a_value_the_page_says_where_to_get_one(browser: Browser, car: int) -> None:
    assert f'href="/cars/{car}/value"' in browser.get(f"/cars/{car}/sale")
    assert "has no value yet" in browser.post(f"/cars/{car}/sale/plan", PLAN, status=422)


def test_the_plan_takes_the_appraised_value(browser: Browser, car: int, store: Store) -> None:
    rows = "price\tkm\tyear\n4500\t130000\t2013\n4300\t150000\t2012\n4700\t120000\t2014"
    browser.post(f"/cars/{car}/value/comparables", {"mileage_unit": "km", "paste": rows})
    text = browser.post(f"/cars/{car}/sale/plan", PLAN)

    assert "Take any offer of" in text
    with store.reading() as tx:
        kept = actions.latest_plan(tx, car)
    assert kept is not None
    assert float(kept.situation["value_sd"]) > 0.05


def test_the_page_draws_the_plan_with_a_table_behind_it(browser: Browser, planned: int) -> None:
    text = browser.get(f"/cars/{planned}/sale")

    assert '<title id="plan-t">Price against time</title>' in text
    assert "Asking plan, days from today" in text
    assert "A day of waiting costs 6.00 USD" in text
    assert "A payment above the price ends the talk" in text


def test_three_offers_are_answered_and_the_car_is_sold(
    browser: Browser, planned: int, store: Store, clock: Clock
) -> None:
    browser.post(f"/cars/{planned}/sale/ask", {"ask": "4600"})
    clock.forward(days=4)
    browser.post(f"/cars/{planned}/sale/enquiry", {})
    for amount, buyer in (("2000", "M. Penhalow"), ("3500", "R. Sorrel"), ("4400", "M. Penhalow")):
        clock.forward(hours=3)
        browser.post(f"/cars/{planned}/sale/offer", {"amount": amount, "buyer": buyer})
    with store.reading() as tx:
        offers = actions.log_of(tx, planned)[2]
    assert [offer.advice["answer"] for offer in offers][::2] == ["accept", "decline"]

    browser.post(
        f"/cars/{planned}/sale/reply", {"offer": str(offers[2].id), "version": "1", "answer": "decline"}
    )
    browser.post(
        f"/cars/{planned}/sale/reply",
        {"offer": str(offers[1].id), "version": "1", "answer": "counter", "counter_at": "3,900"},
    )
    browser.post(
        f"/cars/{planned}/sale/reply", {"offer": str(offers[0].id), "version": "1", "answer": "accept"}
    )
    text = browser.post(f"/cars/{planned}/sale/sold", {"price": "4400", "buyer": "M. Penhalow"})

    assert "countered at 3,900.00 USD" in text
    assert "This car is sold" in text
    with store.reading() as tx:
        assert get_car(tx, planned).stage == "sold"
        assert any("Offer 4,400.00 USD by M. Penhalow accepted" in e.summary for e in trail_of(tx, planned))


def test_a_second_window_gets_a_conflict(browser: Browser, planned: int) -> None:
    browser.post(f"/cars/{planned}/sale/offer", {"amount": "4400"})
    reply = {"offer": "1", "version": "1", "answer": "decline"}
    browser.post(f"/cars/{planned}/sale/reply", reply)

    assert "closed already" in browser.post(f"/cars/{planned}/sale/reply", reply, status=409)


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("plan", {"fallback": ""}, "empty"),
        ("plan", {"deadline_days": "0"}, "outside what can be right"),
        ("plan", {"step_days": "1"}, "not offered"),
        ("plan", {"holding_per_day": "-2"}, "outside what can be right"),
        ("offer", {"amount": "4000 EUR"}, "kept in USD"),
        ("offer", {"amount": "0"}, "outside what can be right"),
        ("offer", {"amount": "a lot"}, "Amount"),
        ("ask", {"ask": ""}, "empty"),
        ("sold", {"price": "0"}, "outside what can be right"),
        ("sold", {"price": "4000", "day": "2027-01-01"}, "outside what can be right"),
        ("reply", {"offer": "77", "version": "1", "answer": "decline"}, "no offer number 77"),
    ],
)
def test_a_bad_entry_is_refused_in_words(
    browser: Browser, planned: int, path: str, fields: dict[str, str], said: str
) -> None:
    typed = {**PLAN, "value": "4300", **fields} if path == "plan" else fields

    assert said in browser.post(f"/cars/{planned}/sale/{path}", typed, status=422)


def test_an_offer_before_a_plan_says_what_is_missing(browser: Browser, car: int) -> None:
    assert "no asking plan yet" in browser.post(f"/cars/{car}/sale/offer", {"amount": "4000"}, status=422)


def test_the_api_plans_and_answers_without_any_record(client: TestClient) -> None:
    sale = {"schema": "driveout-asking/1", "value": 4300, "fallback": 2900, "asked_now": 4650}
    plan = client.post("/api/asking", json=sale)
    answer = client.post("/api/offer", json={"amount": 4400, "sale": sale})
    bad = client.post("/api/asking", json={**sale, "value": -1})

    assert plan.json()["schema"] == "driveout-asking-plan/1"
    assert answer.json()["answer"] == "accept"
    assert bad.status_code == 422
    assert bad.json()["error"]["field"] == "value"


def test_the_buyers_file_is_a_pdf(client: TestClient, car: int) -> None:
    answer = client.get(f"/cars/{car}/sale/buyers-file.pdf")

    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_a_photo_is_added_shown_without_tags_and_taken_out(
    browser: Browser, client: TestClient, car: int
) -> None:
    sent = {"photo": ("IMG_1.jpg", a_phone_jpeg(), "image/jpeg")}
    text = browser.post(f"/cars/{car}/sale/photo", {"subject": "fault", "caption": "dent"}, files=sent)
    path = text.split('<img src="')[1].split('"')[0]
    answer = client.get(path)

    assert answer.headers["content-type"] == "image/jpeg"
    assert CAMERA.encode() not in answer.content
    assert "fault: dent" in text
    digest = path.rsplit("/", 1)[1]
    assert path not in browser.post(f"/cars/{car}/sale/photo/out", {"digest": digest})
    assert client.get(path).status_code == 422


@pytest.mark.parametrize(
    ("files", "said"),
    [({}, "Choose a photo"), ({"photo": ("a.heic", b"\0\0\0 ftypheic", "image/heic")}, "JPEG or PNG")],
)
def test_a_photo_that_cannot_be_printed_is_refused(
    browser: Browser, car: int, files: dict[str, tuple[str, bytes, str]], said: str
) -> None:
    fields = {"subject": "fault", "caption": "a dent that stays typed"}
    text = browser.post(f"/cars/{car}/sale/photo", fields, files=files or None, status=422)

    assert said in text
    assert "a dent that stays typed" in text


def test_the_gate_says_what_is_missing_before_the_keys_go(browser: Browser, planned: int) -> None:
    ticks = {"paid": "yes", "identity": "yes", "signed": "yes", "title": "yes", "odometer": "yes"}
    shut = browser.post(f"/cars/{planned}/sale/handover", {**ticks, "payment": "brought_cheque"})
    opened = browser.post(f"/cars/{planned}/sale/handover", {**ticks, "payment": "bank_cash"})

    assert "Keep the keys" in shut
    assert "A payment that cannot be taken back, instead of: Cheque or draft brought along" in shut
    assert "nothing was missing" in opened


def test_the_papers_of_the_sale_are_a_pdf(client: TestClient, car: int) -> None:
    answer = client.get(f"/cars/{car}/sale/papers.pdf")

    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
