"""The sale on both engines: what is kept, what moves, what is refused."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car, get_car, trail_of
from driveout.errors import BadEntry, CannotSay, Conflict
from driveout.market import actions as market
from driveout.money import actions as money
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
