"""What a person does at a viewing: ask which check comes next, take the sheet along, hand it back."""

from __future__ import annotations

from collections import OrderedDict
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Any

from driveout.cars.actions import get_car, note_event, trail_of
from driveout.errors import BadEntry
from driveout.faults.actions import class_of, evidence_of, knowledge_of, network_for, record_finding
from driveout.outlook import ceiling_from
from driveout.outlook.actions import case_of, forecast_of
from driveout.store import Attachments, Tx
from driveout.units import Money, minor_digits
from driveout.viewing.car_plan import KEPT, CarPlan, checks_on_offer, plan_for, policy_for
from driveout.viewing.fault_viewing import shown_by
from driveout.viewing.record_file import SheetRecord, picture_kind
from driveout.viewing.sheet import sheet_html

# Plans made lately, by everything they were made from: drawing the page again, or saving the
# sheet after looking at it, does not plan anew.
_KEPT_PLANS = 32
_plans: OrderedDict[Any, CarPlan] = OrderedDict()
_lock = Lock()


def plan_of(
    tx: Tx,
    car_id: int,
    *,
    price_minor: int | None = None,
    minutes: float = 60.0,
    kept: int = KEPT,
    without: tuple[str, ...] = (),
) -> CarPlan:
    """Which check comes next at a car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price_minor
        Price asked now; that of the advert if left out. [minor units]
    minutes
        Time there is for checks. [min]
    kept
        Checks to plan with, 1 to 14.
    without
        Needs that are not met, such as ``jack``.

    Returns
    -------
    CarPlan
        Next step, reasons, worth of each check.

    Raises
    ------
    CannotSay
        If no outlook can be made, or no price is known.
    BadEntry
        If a number is out of range.
    """
    if not 1 <= kept <= 14:
        raise BadEntry(
            f"{kept} checks cannot be planned. Give 1 to 14.", field="checks", value=kept, allowed="1 to 14"
        )
    if not 0.0 <= minutes <= 600.0:
        raise BadEntry(
            f"{minutes:g} minutes for checks cannot be meant.",
            field="minutes",
            value=minutes,
            allowed="0 to 600 min",
        )
    car = get_car(tx, car_id)
    present = case_of(tx, car_id)
    case = present.case
    asked = price_minor if price_minor is not None else case.price
    if asked is None:
        asked = ceiling_from(forecast_of(tx, car_id)).price
    price = Money(round(asked), car.currency)
    if price.minor < 0:
        raise BadEntry(
            "A price below 0 cannot be asked.", field="price", value=price.text(), allowed="0 or more"
        )
    pack, network = knowledge_of(tx), network_for(tx, car)
    offered = checks_on_offer(pack, network, evidence_of(tx, car_id), class_of(car), without)
    needs = {check.id: _needs(pack.checks[check.id].needs, pack.checks[check.id].tools) for check in offered}
    key = (
        id(present.posterior.compiled), tuple(sorted(present.posterior.evidence.items())), case.book, case.value,
        case.rules, case.salvage, case.received, price, minutes, kept, tuple(check.id for check in offered),
    )  # fmt: skip
    with _lock:
        if key in _plans:
            _plans.move_to_end(key)
            return _plans[key]
    outlook = forecast_of(tx, car_id)
    ceiling = ceiling_from(outlook)
    made = plan_for(outlook, present.posterior, ceiling, offered, needs, price, minutes=minutes, kept=kept)
    with _lock:
        _plans[key] = made
        while len(_plans) > _KEPT_PLANS:
            _plans.popitem(last=False)
    return made


def in_minor(tx: Tx, car_id: int, price: float) -> int:
    """A price in whole units as minor units of the car's currency."""
    return round(price * 10.0 ** minor_digits(get_car(tx, car_id).currency))


def _needs(needs: tuple[str, ...], tools: tuple[str, ...]) -> str:
    """What must be there for a check, in words."""
    return ", ".join(word.replace("_", " ") for word in (*needs, *tools))


def record_check(tx: Tx, car_id: int, check_id: str, outcome: str, *, at: datetime, note: str = "") -> int:
    """Record what one check showed.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    check_id
        Check of the knowledge pack.
    outcome
        One of its outcomes; of several findings, their outcomes joined with ``, ``.
    at
        Present moment.
    note
        Free words.

    Returns
    -------
    int
        How many findings were recorded.

    Raises
    ------
    BadEntry
        If there is no such check or outcome, or it was recorded already.
    """
    car = get_car(tx, car_id)
    network = network_for(tx, car)
    offered = checks_on_offer(knowledge_of(tx), network, evidence_of(tx, car_id), class_of(car))
    check = next((check for check in offered if check.id == check_id), None)
    if check is None:
        raise BadEntry(
            f"The check {check_id!r} has been recorded already, or cannot be done at this car. "
            "Look at the findings of the car.",
            field="check",
            value=check_id,
        )
    found = shown_by(network, check, outcome)
    for finding, label in found.items():
        record_finding(tx, car_id, finding=finding, outcome=label, at=at, origin="check", note=note)
    return len(found)


def sheet_of(tx: Tx, car_id: int, *, at: datetime, made: CarPlan) -> str:
    """The viewing sheet of a car as one file that needs no network.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.
    made
        The plan that it walks.

    Returns
    -------
    str
        HTML.
    """
    car = get_car(tx, car_id)
    network = network_for(tx, car)
    return sheet_html(made, policy_for(made), network, car_id=car_id, car_name=car.name, at=at)


def hand_back(tx: Tx, car_id: int, record: SheetRecord, *, home: Path, at: datetime) -> int:
    """Take over what was found at the car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    record
        What the sheet handed back.
    home
        Folder of the record, where photos are kept.
    at
        Present moment.

    Returns
    -------
    int
        How many findings were recorded.

    Raises
    ------
    BadEntry
        If the record is of another car or names something unknown; nothing is kept then.
    """
    car = get_car(tx, car_id)
    if record.car_id != car_id:
        raise BadEntry(
            f"This record was made for {record.car_name or 'another car'} (number {record.car_id}), "
            f"not for {car.name}. Hand it back on that car's page.",
            field="record",
            value=record.car_id,
            allowed=str(car_id),
        )
    count = 0
    for step in record.steps:
        for finding, outcome in step.found.items():
            record_finding(
                tx, car_id, finding=finding, outcome=outcome, at=at, origin="check", note=step.note
            )
            count += 1
    attachments = Attachments(home / "attachments")
    facts: dict[str, Any] = {
        "decision": record.decision,
        "notes": record.notes,
        "price_minor": record.price_minor,
        "not_done": [step.check for step in record.steps if not step.found],
        "photos": [
            {"digest": attachments.put(photo.data), "title": photo.title, "check": photo.check}
            for photo in record.photos
        ],
    }
    price = (
        "" if record.price_minor is None else f", last price {Money(record.price_minor, car.currency).text()}"
    )
    left = f", {len(facts['not_done'])} checks could not be done" if facts["not_done"] else ""
    note_event(tx, car_id, "viewing", f"Viewing handed back: {count} findings{left}{price}", facts, at)
    return count


def photos_of(tx: Tx, car_id: int) -> list[dict[str, str]]:
    """Photos that came home from viewings of a car, newest viewing first: digest, title, check."""
    return [
        dict(photo)
        for event in trail_of(tx, car_id)
        if event.kind == "viewing"
        for photo in event.data.get("photos", [])
    ]


def photo_of(tx: Tx, car_id: int, digest: str, *, home: Path) -> tuple[bytes, str]:
    """Content and media type of one photo from a viewing of this car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    digest
        Name of the photo.
    home
        Folder of the record.

    Returns
    -------
    tuple[bytes, str]
        The picture and its kind.

    Raises
    ------
    BadEntry
        If no viewing of this car has that photo.
    """
    if not any(photo["digest"] == digest for photo in photos_of(tx, car_id)):
        raise BadEntry("No viewing of this car has that photo.", field="car", value=digest[:12])
    data = Attachments(home / "attachments").get(digest)
    return data, picture_kind(data)
