"""Before the keys go, and the sale itself."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from driveout.cars.actions import get_car, newest_events, note_event, trail_of
from driveout.cars.car import Event
from driveout.errors import BadEntry
from driveout.money import Rate
from driveout.money.actions import book_sale
from driveout.selling.sale_papers import Gate, handover_gate, payments
from driveout.store import Tx
from driveout.units import Money

HANDOVER = "handover check"
AFTER_SALE = "after the sale"


def check_handover(tx: Tx, car_id: int, payment: str, said: Collection[str], *, at: datetime) -> Gate:
    """Ask whether keys and papers may go, and keep the answer in the trail.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    payment
        How the buyer pays.
    said
        What the person ticked.
    at
        Present moment.

    Returns
    -------
    Gate
        What is missing.
    """
    gate = handover_gate(payment, said)
    words = "nothing is missing" if gate.is_open else f"missing: {'; '.join(gate.missing)}"
    facts = {"payment": payment, "said": sorted(said), "missing": list(gate.missing)}
    note_event(tx, car_id, HANDOVER, f"Before handing over: {words}"[:400], facts, at)
    return gate


def last_handover_check(tx: Tx, car_id: int) -> Gate | None:
    """Answer of the newest check before handing over; None when there was none."""
    event = newest_events(tx, car_id, HANDOVER).get(HANDOVER)
    return None if event is None else handover_gate(event.data["payment"], event.data["said"])


def paid_by_last(tx: Tx, car_id: int) -> str:
    """Way of payment that was last said before the keys go, empty when none was."""
    event = newest_events(tx, car_id, HANDOVER).get(HANDOVER)
    names = {kind.key: kind.name for kind in payments()}
    return "" if event is None else names.get(event.data["payment"], "")


def sell_car(
    tx: Tx,
    car_id: int,
    price: Money,
    *,
    at: datetime,
    fees: Money | None = None,
    day: date | None = None,
    buyer: str = "",
    rate: Rate | None = None,
    token: str = "",
) -> None:
    """Sell the car: the journal takes the sale and the car's story ends.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price
        Agreed price.
    at
        Present moment.
    fees
        Fees of the sale, None when none.
    day
        Day of the sale; today when not given.
    buyer
        Name of the buyer.
    rate
        Needed when it was paid in another currency than the car's.
    token
        Mark of the form, so that a double tap sells once.
    """
    book_sale(tx, car_id, price, fees, day or at.date(), at=at, buyer=buyer, rate=rate, token=token)


def note_after_sale(tx: Tx, car_id: int, text: str, *, at: datetime) -> None:
    """Keep what was said or agreed with the buyer after the sale; BadEntry before it."""
    car = get_car(tx, car_id)
    if car.stage != "sold":
        raise BadEntry(f"{car.name} is {car.stage!r}; notes after the sale come after it.", field="note")
    note_event(tx, car_id, AFTER_SALE, f"After the sale: {text.strip()}"[:400], {"text": text.strip()}, at)


def after_sale_notes(tx: Tx, car_id: int) -> tuple[Event, ...]:
    """Notes after the sale, newest first."""
    return tuple(event for event in trail_of(tx, car_id) if event.kind == AFTER_SALE)
