"""What a person does about parts; every payment goes through the journal."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from driveout.cars.actions import get_car, note_event
from driveout.errors import BadEntry, Conflict
from driveout.money import actions as money
from driveout.parts import records
from driveout.parts.part import Offer, Part, PartLine, ToDo, to_do
from driveout.store import Tx
from driveout.units import Money

_FOLLOWS = {
    "needed": ("ordered", "here", "not needed"),
    "ordered": ("here", "needed", "not needed"),
    "here": ("given back",),
    "given back": ("needed",),
    "not needed": ("needed",),
}


def parts_of(tx: Tx, car_id: int) -> list[Part]:
    """Parts of a car."""
    return records.parts_of(tx, car_id)


def parts_of_cars(tx: Tx, car_ids: Iterable[int]) -> list[Part]:
    """Parts of some cars, in the order they came."""
    return records.parts_of_cars(tx, list(car_ids))


def offers_of(tx: Tx, parts: Iterable[Part]) -> dict[int, list[Offer]]:
    """Offers by part number."""
    return records.offers_of(tx, [part.id for part in parts])


def _part(tx: Tx, car_id: int, part_id: int, version: int | None) -> Part:
    found = records.part(tx, part_id)
    if found.car_id != car_id:
        raise BadEntry(f"Part {part_id} belongs to another car.", field="part", value=part_id)
    if version is not None and version != found.version:
        raise Conflict(
            f"{found.line.what} was changed in another window. Look at it again; nothing was lost."
        )
    return found


def _demand(part: Part, state: str) -> None:
    if state not in _FOLLOWS[part.state]:
        raise BadEntry(
            f"{part.line.what} is {part.state!r} and cannot become {state!r}.",
            field="state",
            value=state,
            allowed=", ".join(_FOLLOWS[part.state]),
        )


def need_parts(tx: Tx, car_id: int, lines: Iterable[PartLine], *, at: datetime.datetime) -> tuple[Part, ...]:
    """Put parts that chosen work needs on the car's list; what stands there already is not doubled.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    lines
        Parts needed.
    at
        Present moment.

    Returns
    -------
    tuple of Part
        Only those that were new.
    """
    get_car(tx, car_id)
    here = {
        (part.line.key, part.line.what) for part in records.parts_of(tx, car_id) if part.state != "given back"
    }
    added = []
    for line in lines:
        if (line.key, line.what) not in here:
            here.add((line.key, line.what))
            added.append(records.add_part(tx, car_id, line))
    if added:
        names = ", ".join(part.line.what for part in added)
        note_event(tx, car_id, "parts", f"Parts needed: {names}"[:400], {"parts": [p.id for p in added]}, at)
    return tuple(added)


def add_offer(
    tx: Tx, car_id: int, part_id: int, offer: Offer, *, at: datetime.datetime, version: int | None = None
) -> Offer:
    """Note where a part can be had, for how much and when."""
    part = _part(tx, car_id, part_id, version)
    car = get_car(tx, car_id)
    if offer.price.currency != car.currency:
        raise BadEntry(
            f"{offer.price.text()} is not in {car.currency}, the car's currency.",
            field="price",
            allowed=car.currency,
        )
    kept = records.add_offer(tx, part_id, offer)
    words = f"Offer for {part.line.what}: {offer.landed.text()} from {offer.shop}, {offer.lead_days} days"
    note_event(tx, car_id, "parts", words, {"part": part_id, "offer": kept.id}, at)
    return kept


def order_part(
    tx: Tx,
    car_id: int,
    part_id: int,
    offer_id: int,
    day: datetime.date,
    *,
    at: datetime.datetime,
    version: int | None = None,
) -> Part:
    """Order a part by one of its offers; money is booked when it is paid on receipt."""
    part = _part(tx, car_id, part_id, version)
    _demand(part, "ordered")
    offer = next((o for o in records.offers_of(tx, [part_id])[part_id] if o.id == offer_id), None)
    if offer is None:
        raise BadEntry(f"There is no offer {offer_id} for {part.line.what}.", field="offer", value=offer_id)
    expected = day + datetime.timedelta(days=offer.lead_days)
    changed = records.change(
        tx, part, state="ordered", offer_id=offer_id, ordered_on=day, expected_on=expected
    )
    note_event(
        tx,
        car_id,
        "parts",
        f"Ordered: {part.line.what} from {offer.shop}, expected {expected}",
        {"part": part_id},
        at,
    )
    return changed


def expect_later(
    tx: Tx,
    car_id: int,
    part_id: int,
    day: datetime.date,
    *,
    at: datetime.datetime,
    version: int | None = None,
) -> Part:
    """Note that an ordered part comes on another day than was said; the plan and the outlook follow.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    part_id
        The part, which must be ordered.
    day
        Day it is now expected.
    at
        Present moment.
    version
        Version that the person was looking at; None skips the check.

    Returns
    -------
    Part
        The part as it is now.

    Raises
    ------
    BadEntry
        If it is not ordered, or the day lies before the order.
    Conflict
        If it was changed meanwhile.
    """
    part = _part(tx, car_id, part_id, version)
    if part.state != "ordered" or part.ordered_on is None:
        raise BadEntry(f"{part.line.what} is {part.state!r}, not ordered.", field="state", value=part.state)
    if day < part.ordered_on:
        raise BadEntry(
            f"{day} lies before the order of {part.ordered_on}.",
            field="day",
            value=str(day),
            allowed=f"from {part.ordered_on}",
        )
    changed = records.change(tx, part, expected_on=day)
    words = f"{part.line.what} is expected {day}, not {part.expected_on}"
    data = {"part": part_id, "expected": str(day), "before": str(part.expected_on)}
    note_event(tx, car_id, "parts", words, data, at)
    return changed


def receive_part(
    tx: Tx,
    car_id: int,
    part_id: int,
    day: datetime.date,
    *,
    at: datetime.datetime,
    paid: Money | None = None,
    core: Money | None = None,
    shop: str = "",
    fits: bool | None = None,
    photo: str = "",
    version: int | None = None,
    token: str = "",
) -> Part:
    """Take a part in: what was paid goes to the journal, its return and warranty days are kept.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    part_id
        The part.
    day
        Day it came.
    at
        Present moment.
    paid
        All that was paid, deposit included; None takes what the offer said.
    core
        Deposit in it; None takes the offer's.
    shop
        Where; empty takes the offer's.
    fits
        Held against the old one: True, False, or None when not looked yet.
    photo
        Hash of the photographed receipt.
    version
        Version the person looked at.
    token
        Mark of the form.

    Returns
    -------
    Part
        Now here.

    Raises
    ------
    BadEntry
        If it cannot be received from its state, or no price is known.
    Conflict
        If it was changed meanwhile.
    """
    part = _part(tx, car_id, part_id, version)
    _demand(part, "here")
    offer = part.offer
    if paid is None and offer is None:
        raise BadEntry(
            f"Say what was paid for {part.line.what}; 0 when nothing.", field="paid", allowed="0 or more"
        )
    amount = paid if paid is not None else offer.to_pay if offer else None
    deposit = core if core is not None else (offer.core if offer else None)
    entry = None
    if amount is not None and amount.minor:
        entry = money.book_receipt(
            tx,
            car_id,
            "parts",
            amount,
            part.line.what,
            shop or (offer.shop if offer else ""),
            day,
            at=at,
            core=deposit,
            line=part.line.key,
            quantity=part.line.quantity,
            photo=photo,
            token=token,
        )

    def until(days: int) -> datetime.date | None:
        return day + datetime.timedelta(days=days) if days else None

    changed = records.change(
        tx,
        part,
        state="here",
        received_on=day,
        fits=fits,
        receipt=entry.number if entry else None,
        return_by=until(offer.return_days) if offer else None,
        warranty_until=until(offer.warranty_days) if offer else None,
    )
    note_event(tx, car_id, "parts", f"Here: {part.line.what}", {"part": part_id, "fits": fits}, at)
    return changed


def note_fit(
    tx: Tx, car_id: int, part_id: int, fits: bool, *, at: datetime.datetime, version: int | None = None
) -> Part:
    """Note whether a part that came fits."""
    part = _part(tx, car_id, part_id, version)
    if part.state != "here":
        raise BadEntry(f"{part.line.what} is {part.state!r}, not here.", field="state", value=part.state)
    changed = records.change(tx, part, fits=fits)
    words = f"{part.line.what} {'fits' if fits else 'does not fit'}"
    note_event(tx, car_id, "parts", words, {"part": part_id, "fits": fits}, at)
    return changed


def give_back(
    tx: Tx,
    car_id: int,
    part_id: int,
    back: Money,
    day: datetime.date,
    *,
    at: datetime.datetime,
    fee: Money | None = None,
    version: int | None = None,
    token: str = "",
) -> Part:
    """Give a part back: its cost comes off the car, the restocking fee stays, its core deposit returns with it."""
    part = _part(tx, car_id, part_id, version)
    _demand(part, "given back")
    if part.receipt is None:
        raise BadEntry(f"No payment for {part.line.what} is in the journal.", field="part", value=part_id)
    if any(core.receipt.number == part.receipt for core in money.cores_open(tx, car_id)):
        money.book_core_return(tx, car_id, part.receipt, day, at=at)
    if back.minor:
        money.book_refund(tx, car_id, part.receipt, back, day, at=at, fee=fee, token=token)
    changed = records.change(tx, part, state="given back")
    note_event(tx, car_id, "parts", f"Given back: {part.line.what}", {"part": part_id}, at)
    return changed


def set_state(
    tx: Tx, car_id: int, part_id: int, state: str, *, at: datetime.datetime, version: int | None = None
) -> Part:
    """Say that a part is not needed, or needed again."""
    part = _part(tx, car_id, part_id, version)
    if state not in ("needed", "not needed"):
        raise BadEntry(
            f"{state!r} is reached by ordering, receiving or giving back.",
            field="state",
            allowed="needed, not needed",
        )
    _demand(part, state)
    if state == "needed":
        changed = records.change(
            tx, part, state=state, offer_id=None, ordered_on=None, expected_on=None, receipt=None
        )
    else:
        changed = records.change(tx, part, state=state)
    note_event(tx, car_id, "parts", f"{part.line.what}: {state}", {"part": part_id}, at)
    return changed


def parts_to_do(tx: Tx, car_id: int, today: datetime.date) -> tuple[ToDo, ...]:
    """What the parts of a car ask for."""
    cores = [core.receipt.number for core in money.cores_open(tx, car_id)]
    is_gone = get_car(tx, car_id).stage in ("sold", "let go")
    parts = [part for part in records.parts_of(tx, car_id) if not (is_gone and part.state == "needed")]
    return to_do(parts, cores, today)
