"""The advert's price, who asked, and each offer with its answer."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from driveout.cars.actions import change_stage, get_car, note_event
from driveout.errors import BadEntry, Conflict
from driveout.money import Rate
from driveout.selling import records
from driveout.selling.actions.planning import current_situation, demand_facts
from driveout.selling.offers import ANSWERS, answer_offer
from driveout.selling.records import Ask, Enquiry, Offer
from driveout.store import Tx
from driveout.units import Money

OUTCOMES = (*ANSWERS, "withdrawn")


def put_ask(tx: Tx, car_id: int, ask: Money, *, at: datetime) -> Ask:
    """Put a price in the advert; the car is then for sale.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    ask
        Price in the advert from now on. A higher one than before is the person's own choice.
    at
        Present moment.

    Returns
    -------
    Ask
        The price as kept.

    Raises
    ------
    BadEntry
        If the price is not above 0, in another currency, or the car is not the person's to sell.
    """
    car = get_car(tx, car_id)
    if ask.currency != car.currency or ask.minor <= 0:
        raise BadEntry(
            f"The price {ask.text()} cannot be asked. Give it in {car.currency} and above 0.",
            field="ask",
            value=ask.text(),
            allowed=f"above 0, in {car.currency}",
        )
    change_stage(tx, car_id, "for sale", at)
    before = records.asks_of(tx, car_id)
    kept = records.add_ask(tx, car_id, ask, at)
    higher = bool(before) and ask > before[-1].ask
    note_event(
        tx,
        car_id,
        "ask",
        f"Advert asks {ask.text()}" + (" (raised by choice)" if higher else ""),
        {"ask": ask.minor, **_forecast(tx, car_id, first=not before), **demand_facts(tx, car_id, at)},
        at,
    )
    return kept


def _forecast(tx: Tx, car_id: int, *, first: bool) -> dict[str, Any]:
    """Forecast of the plan behind the first price, frozen in the trail; later prices mend it not."""
    kept = records.latest_plan(tx, car_id) if first else None
    return {"forecast": kept.plan["forecast"]} if kept and "forecast" in kept.plan else {}


def record_enquiry(tx: Tx, car_id: int, *, at: datetime, who: str = "", note: str = "") -> Enquiry:
    """Log that somebody asked about the car."""
    get_car(tx, car_id)
    kept = records.add_enquiry(tx, car_id, who.strip()[:200], note.strip()[:2000], at)
    facts = {"enquiry": kept.id, **demand_facts(tx, car_id, at)}
    note_event(tx, car_id, "enquiry", f"Enquiry{f' by {kept.who}' if kept.who else ''}", facts, at)
    return kept


def record_offer(
    tx: Tx, car_id: int, amount: Money, *, buyer: str, at: datetime, rate: Rate | None = None
) -> Offer:
    """Log an offer and the advice on it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    amount
        What the buyer offers.
    buyer
        Who, in the person's words.
    at
        Present moment.
    rate
        Needed when the offer is in another currency than the car's; kept beside the offer.

    Returns
    -------
    Offer
        The offer with its advice, in the car's currency.

    Raises
    ------
    BadEntry
        If the amount is not above 0 or in another currency, or the car is sold.
    CannotSay
        If no asking plan was made yet.
    """
    car = get_car(tx, car_id)
    if car.stage not in ("bought", "in work", "for sale"):
        raise BadEntry(
            f"{car.name} is {car.stage!r}; offers are taken while it is yours.",
            field="stage",
            value=car.stage,
            allowed="bought, in work, for sale",
        )
    situation = current_situation(tx, car_id, at=at)
    offered, counted = amount, amount
    if amount.currency != car.currency and rate is not None:
        counted = rate.convert(amount)
    advice = answer_offer(situation, counted)
    said = advice.as_dict()
    if rate is not None and counted != offered:
        said |= {"offered": offered.text(), "rate": rate.text()}
    kept = records.add_offer(tx, car_id, counted, buyer.strip()[:200], said, at)
    note_event(
        tx,
        car_id,
        "offer",
        f"Offer {counted.text()}{f' ({offered.text()})' if counted != offered else ''}{f' by {kept.buyer}' if kept.buyer else ''}; advice: {advice.reasons[0]}",
        {
            "offer": kept.id,
            "amount": counted.minor,
            "advice": advice.answer,
            "take_it": advice.take_it.minor,
            **demand_facts(tx, car_id, at),
        },
        at,
    )
    return kept


def reply_to_offer(
    tx: Tx,
    car_id: int,
    number: int,
    answer: str,
    *,
    version: int,
    at: datetime,
    counter_at: Money | None = None,
) -> Offer:
    """Log what was answered to an offer.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    number
        The offer.
    answer
        ``accept``, ``counter``, ``decline`` or ``withdrawn``.
    version
        Version the person was looking at.
    at
        Present moment.
    counter_at
        Price named, when countered.

    Returns
    -------
    Offer
        The offer as it is now.

    Raises
    ------
    BadEntry
        If the answer is none of these, or a counter has no price above the offer.
    Conflict
        If it was answered meanwhile.
    """
    offer = records.find_offer(tx, car_id, number)
    if answer not in OUTCOMES:
        raise BadEntry(
            f"{answer!r} is no answer to an offer.", field="answer", value=answer, allowed=", ".join(OUTCOMES)
        )
    if offer.answer in ("accept", "decline", "withdrawn"):
        raise Conflict(
            f"This offer was closed already ({offer.answer}). Log a new offer if the buyer came back."
        )
    if answer == "counter" and (counter_at is None or counter_at <= offer.amount):
        raise BadEntry(
            "A counter needs a price above the offer.",
            field="counter_at",
            value=None if counter_at is None else counter_at.text(),
            allowed=f"above {offer.amount.text()}",
        )
    # A counter that the buyer takes stays the price agreed.
    stands = counter_at if answer == "counter" else offer.counter_at if answer == "accept" else None
    values = {"answer": answer, "counter_at": stands.minor if stands else None, "answered_at": at}
    kept = records.change_offer(tx, offer, version, values)
    words = {
        "accept": f"accepted{f', agreed at {kept.agreed.text()}' if stands else ''}",
        "counter": f"countered at {counter_at.text() if counter_at else ''}",
        "decline": "declined",
        "withdrawn": "withdrawn by the buyer",
    }[answer]
    note_event(
        tx,
        car_id,
        "offer",
        f"Offer {offer.amount.text()}{f' by {offer.buyer}' if offer.buyer else ''} {words}",
        {
            "offer": number,
            "answer": answer,
            **({"amount": kept.agreed.minor} if answer == "accept" else {}),
            **demand_facts(tx, car_id, at),
        },
        at,
    )
    return kept


def log_of(tx: Tx, car_id: int) -> tuple[tuple[Ask, ...], tuple[Enquiry, ...], tuple[Offer, ...]]:
    """Prices asked, enquiries and offers of a car."""
    return records.asks_of(tx, car_id), records.enquiries_of(tx, car_id), records.offers_of(tx, car_id)
