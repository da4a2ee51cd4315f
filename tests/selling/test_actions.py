"""The sale on both engines: what is kept, what moves, what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest

from driveout.cars.actions import add_car, get_car, trail_of
from driveout.errors import BadEntry, CannotSay, Conflict
from driveout.market import actions as market
from driveout.money import Rate
from driveout.money import actions as money
from driveout.money.sale_forecast import forecast_from, sale_lesson
from driveout.selling import actions
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Clock

ROWS = b"price,km,year,kind,seen\n4500,130000,2013,asking,2026-04-20\n4300,150000,2012,asking,2026-04-21\n3900,151000,2013,sold,2026-04-02\n"


def usd(amount: float) -> Money:
    return Money(round(amount * 100), "USD")


def a_bought_car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        car = add_car(
            tx, name="Linnet", currency="USD", made_year=2013, mileage_km=141_000, at=clock(), stage="viewing"
        ).id
        money.book_purchase(tx, car, usd(1450), clock().date(), at=clock())
        return car


def test_comparables_to_sold_on_either_engine(either_store: Store, clock: Clock) -> None:
    store = either_store
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        assert len(market.add_comparables(tx, car, ROWS, "comps.csv", at=clock())) == 3
        assert market.add_comparables(tx, car, ROWS, "comps.csv", at=clock()) == ()
        appraisal = market.appraise_car(tx, car, at=clock())
        actions.make_plan(tx, car, {"fallback": "2900", "holding_per_day": "6"}, at=clock())
        actions.put_ask(tx, car, usd(4600), at=clock())
    clock.forward(days=10)
    with store.writing() as tx:
        actions.record_enquiry(tx, car, at=clock(), who="M. Penhalow")
        offer = actions.record_offer(tx, car, usd(4500), buyer="R. Sorrel", at=clock())
        now = actions.current_situation(tx, car, at=clock())
        actions.reply_to_offer(tx, car, offer.id, "accept", version=offer.version, at=clock())
        actions.sell_car(tx, car, usd(4500), at=clock(), buyer="R. Sorrel")

    assert appraisal.low < appraisal.value < appraisal.high
    assert offer.advice["answer"] == "accept"
    # The open offer is not counted: its buyer may still buy.
    assert [(s.days, s.enquiries) for s in now.spells] == [(10.0, 1)]
    assert now.deadline_days == 50
    assert now.asked_now == usd(4600)
    with store.reading() as tx:
        assert get_car(tx, car).stage == "sold"
        kept = market.comparables_of(tx, car)
        assert [k.car.kind for k in kept] == ["asking", "asking", "sold"]
        assert market.latest_appraisal(tx, car) == appraisal


def test_a_price_raised_by_choice_is_marked_in_the_trail(store: Store, clock: Clock) -> None:
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        actions.put_ask(tx, car, usd(4500), at=clock())
        actions.put_ask(tx, car, usd(4800), at=clock())
        summary = trail_of(tx, car)[0].summary

    assert summary == "Advert asks 4,800.00 USD (raised by choice)"


def test_a_plan_needs_a_value(store: Store, clock: Clock) -> None:
    car = a_bought_car(store, clock)
    with store.writing() as tx, pytest.raises(CannotSay, match="no value yet"):
        actions.make_plan(tx, car, {"fallback": "2900"}, at=clock())


def test_a_counter_must_lie_above_the_offer_and_an_answer_counts_once(store: Store, clock: Clock) -> None:
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        actions.make_plan(tx, car, {"value": "4300", "fallback": "2900"}, at=clock())
        offer = actions.record_offer(tx, car, usd(3500), buyer="", at=clock())
        with pytest.raises(BadEntry, match="above the offer"):
            actions.reply_to_offer(tx, car, offer.id, "counter", version=1, at=clock(), counter_at=usd(3500))
        with pytest.raises(BadEntry, match="no answer"):
            actions.reply_to_offer(tx, car, offer.id, "perhaps", version=1, at=clock())
        actions.reply_to_offer(tx, car, offer.id, "counter", version=1, at=clock(), counter_at=usd(3900))
        with pytest.raises(Conflict, match="another window"):
            actions.reply_to_offer(tx, car, offer.id, "decline", version=1, at=clock())


def test_a_sold_car_takes_no_offers(store: Store, clock: Clock) -> None:
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        actions.make_plan(tx, car, {"value": "4300", "fallback": "2900"}, at=clock())
        actions.sell_car(tx, car, usd(4000), at=clock())
        with pytest.raises(BadEntry, match="while it is yours"):
            actions.record_offer(tx, car, usd(4100), buyer="", at=clock())


def test_an_advert_cannot_be_gone_before_it_was_seen(store: Store, clock: Clock) -> None:
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        kept = market.add_comparables(tx, car, ROWS, "comps.csv", at=clock())[0]
        with pytest.raises(BadEntry, match="before the day seen"):
            market.note_seen(tx, car, kept.id, 1, kept.car.seen.replace(day=1), True, at=clock())  # type: ignore[union-attr]
        with pytest.raises(BadEntry, match="in the future"):
            market.note_seen(tx, car, kept.id, 1, clock().date().replace(year=2027), True, at=clock())


def planned(store: Store, clock: Clock, **entries: object) -> int:
    car = a_bought_car(store, clock)
    with store.writing() as tx:
        actions.make_plan(tx, car, {"value": "4300", "fallback": "2900", **entries}, at=clock())
    return car


def test_an_offer_in_another_currency_is_answered_by_a_typed_rate(store: Store, clock: Clock) -> None:
    car = planned(store, clock)
    rate = Rate("EUR", "USD", Decimal("1.10"), clock().date(), "bank")
    with store.writing() as tx:
        with pytest.raises(BadEntry, match="driveout knows no rates"):
            actions.record_offer(tx, car, Money(400_000, "EUR"), buyer="", at=clock())
        offer = actions.record_offer(tx, car, Money(400_000, "EUR"), buyer="", at=clock(), rate=rate)
        said = trail_of(tx, car)[0].summary

    assert offer.amount == usd(4400)
    assert offer.advice["answer"] == "accept"
    assert offer.advice["rate"] == f"1 EUR = 1.1 USD on {clock().date()}, bank"
    assert said.startswith("Offer 4,400.00 USD (4,000.00 EUR)")


def test_a_counter_that_the_buyer_takes_is_the_price_agreed(store: Store, clock: Clock) -> None:
    car = planned(store, clock)
    with store.writing() as tx:
        offer = actions.record_offer(tx, car, usd(3900), buyer="R. Sorrel", at=clock())
        offer = actions.reply_to_offer(
            tx, car, offer.id, "counter", version=1, at=clock(), counter_at=usd(4150)
        )
        offer = actions.reply_to_offer(tx, car, offer.id, "accept", version=2, at=clock())
        event = trail_of(tx, car)[0]

    assert offer.agreed == usd(4150)
    assert event.data["amount"] == 415_000
    assert "agreed at 4,150.00 USD" in event.summary


def test_each_step_says_what_demand_it_leaves(store: Store, clock: Clock) -> None:
    car = planned(store, clock)
    said = []
    with store.writing() as tx:
        actions.put_ask(tx, car, usd(4500), at=clock())
        said.append(trail_of(tx, car)[0].data)
        clock.forward(days=9)
        actions.record_enquiry(tx, car, at=clock())
        said.append(trail_of(tx, car)[0].data)
        clock.forward(days=9)
        offer = actions.record_offer(tx, car, usd(1000), buyer="", at=clock())
        actions.reply_to_offer(tx, car, offer.id, "decline", version=1, at=clock())
        said.append(trail_of(tx, car)[0].data)

    def per_day(data: dict) -> float:
        return float(data["demand"]["shape"] / data["demand"]["days"])

    # Above its value it sells slower than the 2 in 90 days of the prior; days without a sale slow it, calls hasten it.
    assert per_day(said[0]) < 2 / 90
    assert said[1]["demand"]["shape"] == pytest.approx(said[0]["demand"]["shape"] + 1)
    assert said[2]["demand"]["days"] > said[1]["demand"]["days"]
    assert {data["deadline"] for data in said} == {said[0]["deadline"]}


def test_the_forecast_is_frozen_with_the_first_price_and_laid_beside_the_sale(
    store: Store, clock: Clock
) -> None:
    car = planned(store, clock)
    with store.writing() as tx:
        actions.put_ask(tx, car, usd(4500), at=clock())
        clock.forward(days=8)
        actions.put_ask(tx, car, usd(4300), at=clock())
        clock.forward(days=4)
        actions.sell_car(tx, car, usd(4250), at=clock(), buyer="R. Sorrel")
        gone = money.cars_gone(tx, [car], "USD")[car]
        events = [event for event in reversed(trail_of(tx, car)) if event.kind == "ask"]

    assert "forecast" not in events[1].data
    forecast = forecast_from(events[0].data["forecast"])
    assert gone.price == usd(4250)
    lesson = sale_lesson(forecast, (gone.day - events[0].at.date()).days, gone.price)
    assert lesson.days == 12
    assert 0 < lesson.rank < 1


def test_own_finished_sales_move_the_next_plan(store: Store, clock: Clock) -> None:
    fresh = planned(store, clock)
    with store.reading() as tx:
        before = actions.latest_plan(tx, fresh)
    for _ in range(4):
        car = planned(store, clock)
        with store.writing() as tx:
            actions.put_ask(tx, car, usd(4300), at=clock())
        clock.forward(days=5)
        with store.writing() as tx:
            actions.sell_car(tx, car, usd(4250), at=clock())
    scrapped = planned(store, clock)
    with store.writing() as tx:
        money.let_car_go(tx, scrapped, usd(300), clock().date(), at=clock())
        own = actions.own_sales(tx, "USD")
        nothing = actions.own_sales(tx, "EUR")
    after_car = planned(store, clock)
    with store.reading() as tx:
        after = actions.latest_plan(tx, after_car)

    assert before is not None
    assert after is not None
    assert (before.situation["sale_shape"], before.situation["sale_days"]) == (2.0, 90.0)
    assert own.sold == 4
    assert after.situation["sale_days"] / after.situation["sale_shape"] < 40
    assert "4 finished sales" in after.plan["own_sales"]
    assert nothing.counts == 0


def test_notes_after_the_sale_stay_with_the_car_and_come_after_it(store: Store, clock: Clock) -> None:
    car = planned(store, clock)
    with store.writing() as tx:
        with pytest.raises(BadEntry, match="come after it"):
            actions.note_after_sale(tx, car, "rattles", at=clock())
        actions.sell_car(tx, car, usd(4250), at=clock())
        actions.note_after_sale(tx, car, "Asked for the radio code; sent it", at=clock())
        assert [note.data["text"] for note in actions.after_sale_notes(tx, car)] == [
            "Asked for the radio code; sent it"
        ]
