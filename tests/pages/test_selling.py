"""The chapter Sale: plan, advert, enquiries, offers, sale."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from driveout.cars.actions import add_car, get_car, trail_of
from driveout.money import actions as money
from driveout.selling import actions
from driveout.store import Store
from driveout.units import Money
from driveout.workshop.actions import record_task, start_work, work_of
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


RATE = {"paid_currency": "eur", "rate": "1.10", "rate_source": "bank, today"}


def test_an_offer_and_the_sale_in_another_currency_need_a_rate_and_keep_it(
    browser: Browser, planned: int, store: Store
) -> None:
    path = f"/cars/{planned}/sale"
    assert "kept in USD" in browser.post(f"{path}/offer", {"amount": "4000 EUR"}, status=422)
    unsaid = {"amount": "4000", "paid_currency": "EUR", "rate": "1.1", "rate_source": ""}
    assert "empty" in browser.post(f"{path}/offer", unsaid, status=422)
    zero = {"amount": "4000", **RATE, "rate": "0"}
    assert "not usable" in browser.post(f"{path}/offer", zero, status=422)
    text = browser.post(f"{path}/offer", {"amount": "4000", **RATE, "buyer": "R. Sorrel"})
    assert "Offered 4,000.00 EUR; 1 EUR = 1.1 USD" in text
    assert "4,400.00 USD" in text
    browser.post(f"{path}/sold", {"price": "4000", **RATE, "buyer": "R. Sorrel"})
    with store.reading() as tx:
        assert money.cost_so_far(tx, planned).sales == Money(440_000, "USD")
        assert [held.amount for held in money.other_money(tx, "USD")] == [Money(400_000, "EUR")]
    assert "Paid 4,000.00 EUR; 1 EUR = 1.1 USD" in browser.get(f"/cars/{planned}/money")


def test_a_sale_at_nothing_is_refused_and_a_double_tap_sells_once(
    browser: Browser, planned: int, store: Store
) -> None:
    path = f"/cars/{planned}/sale/sold"
    assert "outside what can be right" in browser.post(path, {"price": "0"}, status=422)
    browser.post(path, {"price": "4200", "once": "tap-1"})
    browser.post(path, {"price": "4200", "once": "tap-1"})
    with store.reading() as tx:
        assert money.cost_so_far(tx, planned).sales == Money(420_000, "USD")


def test_a_countered_offer_that_is_taken_fills_the_sale(browser: Browser, planned: int) -> None:
    path = f"/cars/{planned}/sale"
    browser.post(f"{path}/offer", {"amount": "3800", "buyer": "R. Sorrel"})
    browser.post(f"{path}/reply", {"offer": "1", "version": "1", "answer": "counter", "counter_at": "4050"})
    assert "Buyer took 4,050.00 USD" in browser.get(path)
    text = browser.post(f"{path}/reply", {"offer": "1", "version": "2", "answer": "accept"})

    assert "accepted, agreed at 4,050.00 USD" in text
    assert 'value="4050.00"' in text


def test_notes_after_the_sale_stand_on_the_page(browser: Browser, planned: int) -> None:
    path = f"/cars/{planned}/sale"
    assert "come after it" in browser.post(f"{path}/after", {"note": "rattles"}, status=422)
    browser.post(f"{path}/sold", {"price": "4200"})
    text = browser.post(f"{path}/after", {"note": "Asked for the <radio> code"})

    assert "Asked for the &lt;radio&gt; code" in text
    assert "If the buyer comes back" in text


def test_weekends_sensitivity_and_own_sales_are_opened_on_the_page(browser: Browser, car: int) -> None:
    text = browser.post(f"/cars/{car}/sale/plan", {**PLAN, "value": "4300", "weekend": "on", "fresh": "on"})

    assert "How much the ask leans on the price sensitivity" in text
    assert "No own sale is finished yet" in text
    assert 'href="/help/method/asking"' in text


def test_a_leftover_of_unknown_worth_gets_prices_to_ask_in_turn(browser: Browser, planned: int) -> None:
    text = browser.get(f"/cars/{planned}/sale?leftover_most=90&leftover_times=1")

    # Two prices for a worth from 0 to 90: 60, then 30; expected 30 (Lazear 1986).
    assert "60.00 USD" in text
    assert "Expected on average: 30.00 USD" in text
    for most, times in (("90", "x"), ("0", "1"), ("90 EUR", "1"), ("much", "1")):
        query = f"leftover_most={most}&leftover_times={times}"
        assert browser.client.get(f"/cars/{planned}/sale?{query}").status_code == 422


def test_papers_of_an_own_sale_come_without_any_record(client: TestClient) -> None:
    sale = {"schema": "driveout-sale/1", "car": {"name": "Linnet"}, "price": 900, "known_faults": ["rust"]}
    assert client.post("/api/sale-papers", json=sale).json()["rest"] == "900.00"
    made = client.post("/api/sale-papers.pdf", json=sale)
    assert made.content.startswith(b"%PDF-")
    refused = client.post("/api/sale-papers", json=sale | {"price": 0})
    assert refused.status_code == 422
    assert "above 0" in refused.text


def test_a_car_that_is_apart_is_called_so_before_its_keys_go_and_in_the_buyers_file(
    browser: Browser, planned: int, store: Store, clock: Clock
) -> None:
    assert "Not fit to drive" not in browser.get(f"/cars/{planned}/sale")
    with store.writing() as tx:
        job = start_work(tx, planned, "brakes_front_disc", ["pads_and_discs"], at=clock())
        first = next(task for task in work_of(tx, planned, job.id).plan.tasks if task.kind == "undo")
        for task in work_of(tx, planned, job.id).plan.tasks:
            record_task(tx, planned, job.id, task.id, at=clock())
            if task.id == first.id:
                break

    handover = browser.get(f"/cars/{planned}/sale").split('<section id="handover">')[1]
    assert "1 of the links undone is not back" in handover.split("</section>")[0]
    with store.reading() as tx:
        remains = actions.listing_facts(tx, planned, clock().date()).remains
    assert any(line.startswith("Not fit to drive: Front disc brake") for line in remains)
