"""What a person does with readings: enter them, set the maker's limits, count the cars sold."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from driveout.cars import actions as cars
from driveout.cars.papers import SellerCount, SellerEvent, SellerRule, federal_rule, seller_count
from driveout.errors import BadEntry, CannotSay
from driveout.store import Tx
from driveout.wear import records
from driveout.wear.adapter import Told
from driveout.wear.limits import QUANTITIES, Limit, maker_limit
from driveout.wear.records import MakerLimit
from driveout.wear.report import CarFacts, Reading, Report, report
from driveout.wear.topics import read_entries, topic
from driveout.wear.verdict import Finding, Verdict
from driveout.wear.wear_file import car_limits


def facts_of(tx: Tx, car_id: int, on: date) -> CarFacts:
    """What the verdicts need of a car."""
    car = cars.get_car(tx, car_id)
    return CarFacts(on, car.mileage_km, car.made_year, car.currency, car.vin)


def car_report(tx: Tx, car_id: int, on: date) -> Report:
    """Every verdict of a car as of a day.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    on
        Present day.

    Returns
    -------
    Report
        Verdicts, findings and repairs; empty without readings.
    """
    return report(
        records.readings(tx, car_id),
        facts_of(tx, car_id, on),
        limits_of_car(tx, car_id),
        passes=records.own_passes(tx),
    )


def findings(tx: Tx, car_id: int, on: date | None = None) -> dict[str, Finding]:
    """What the readings say to the checks of the fault network, by check.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    on
        Present day; the day of the newest reading by default, so that nothing changes by itself.

    Returns
    -------
    dict
        Finding by check; empty without readings.
    """
    kept = records.readings(tx, car_id)
    if not kept:
        return {}
    day = on or max(reading.day for reading in kept)
    return report(kept, facts_of(tx, car_id, day), limits_of_car(tx, car_id)).findings


def evidence(tx: Tx, car_id: int) -> dict[str, str]:
    """The same as outcomes by finding, in the words of the fault network."""
    return {check: finding.outcome for check, finding in findings(tx, car_id).items()}


def limits_of_car(tx: Tx, car_id: int) -> tuple[Limit, ...]:
    """The maker's limits entered for a car."""
    return tuple(kept.limit for kept in records.maker_limits(tx, car_id))


def kept_limits(tx: Tx, car_id: int) -> list[MakerLimit]:
    """The maker's limits with their versions, for the form."""
    return records.maker_limits(tx, car_id)


def entries_of(tx: Tx, car_id: int, topic_key: str) -> dict[str, dict[str, str]]:
    """What stands entered by spot, the newest of each field."""
    found: dict[str, dict[str, str]] = {}
    for reading in records.readings(tx, car_id):
        if reading.topic == topic_key:
            found.setdefault(reading.spot, {}).update(reading.entries)
    return found


def record_readings(
    tx: Tx,
    car_id: int,
    topic_key: str,
    by_spot: Mapping[str, Mapping[str, str]],
    *,
    at: datetime,
    day: date | None = None,
    km: float | None = None,
) -> tuple[Verdict, ...]:
    """Keep what was measured at one or several spots of a topic, and say what it amounts to.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    topic_key
        Topic.
    by_spot
        Text by field name, by spot; empty fields and spots are left out.
    at
        Present moment.
    day
        Day of measuring; today by default.
    km
        Odometer then; the car's by default. [km]

    Returns
    -------
    tuple of Verdict
        Verdicts of the topic as they now stand.

    Raises
    ------
    BadEntry
        If nothing was entered, or a value cannot be right; nothing is kept then.
    """
    car = cars.get_car(tx, car_id)
    on = day or at.date()
    if on > at.date():
        raise BadEntry(f"{on} is in the future.", field="day", value=str(on), allowed=f"until {at.date()}")
    title = topic(topic_key).title
    kept = 0
    before = entries_of(tx, car_id, topic_key)
    for spot, entries in by_spot.items():
        # Empty text erases what stood there and is otherwise left out.
        filled = {
            name: text.strip()
            for name, text in entries.items()
            if text.strip() or before.get(spot, {}).get(name, "")
        }
        read_entries(topic_key, spot, filled)
        if not filled:
            continue
        mileage = km if km is not None else car.mileage_km
        records.add_reading(tx, car_id, Reading(topic_key, spot, filled, on, mileage), at)
        kept += 1
    if not kept:
        raise BadEntry("Nothing was entered. Fill in at least one reading.", field="")
    judged = car_report(tx, car_id, at.date())
    verdicts = tuple(v for spot in (*by_spot, "axles") for v in judged.of(topic_key, spot))
    spots = ", ".join(
        spot
        for spot in by_spot
        if spot not in ("engine", "battery", "fluids", "steering", "papers", "car", "drive", "own", "tyres")
    )
    summary = f"Measured: {title}{', ' + spots if spots else ''}: {_summary(verdicts)}"
    cars.note_event(
        tx,
        car_id,
        "reading",
        summary[:600],
        {"topic": topic_key, "entries": {spot: dict(entries) for spot, entries in by_spot.items()}},
        at,
    )
    return verdicts


def keep_told(tx: Tx, car_id: int, told: Told, *, at: datetime) -> tuple[Verdict, ...]:
    """Keep what an adapter told: codes with the engine's readings, the number beside the typed one.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    told
        What the adapter told.
    at
        Present moment.

    Returns
    -------
    tuple of Verdict
        Verdicts on codes and number.

    Raises
    ------
    CannotSay
        If it told neither codes nor number; nothing is kept then.
    """
    found: tuple[Verdict, ...] = ()
    if told.entries:
        found += record_readings(tx, car_id, "engine", {"engine": told.entries}, at=at)
    if told.vin:
        found += record_readings(tx, car_id, "papers", {"papers": {"vin_read": told.vin}}, at=at)
    if not found:
        raise CannotSay("The car told neither codes nor a number; nothing was kept.", missing="an answer")
    return tuple(v for v in found if v.what in ("Trouble codes", "Number of the control unit"))


def _summary(verdicts: tuple[Verdict, ...]) -> str:
    telling = [v for v in verdicts if v.outcome != "holds"] or list(verdicts)
    if not telling:
        return "kept"
    more = f" and {len(telling) - 3} more" if len(telling) > 3 else ""
    return "; ".join(f"{v.what} {v.outcome}" for v in telling[:3]) + more


def set_maker_limit(
    tx: Tx,
    car_id: int,
    quantity: str,
    side: str,
    typed: str,
    origin: str,
    *,
    at: datetime,
    spot: str = "",
    version: int | None = None,
) -> Limit:
    """Enter the maker's value for a car, once, with its origin.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    quantity
        One of `QUANTITIES`.
    side
        ``least`` or ``most``.
    typed
        Value with unit.
    origin
        Where it stands.
    at
        Present moment.
    spot
        ``front``, ``rear`` or empty.
    version
        Version looked at; None skips the check.

    Returns
    -------
    Limit
        The limit.

    Raises
    ------
    BadEntry
        If the value cannot be read or the origin is missing.
    Conflict
        If it was changed meanwhile.
    """
    cars.get_car(tx, car_id)
    limit = maker_limit(quantity, side, typed, origin, spot)
    records.put_limit(tx, car_id, quantity, side, spot, typed.strip(), origin.strip(), at, version)
    cars.note_event(
        tx,
        car_id,
        "maker's limit",
        f"Maker's limit: {QUANTITIES[quantity]}{' ' + spot if spot else ''} at {side} {typed.strip()} ({origin.strip()})",
        {"quantity": quantity, "side": side, "spot": spot, "value": limit.value, "typed": typed},
        at,
    )
    return limit


def take_limits(tx: Tx, car_id: int, text: bytes, name: str, *, at: datetime) -> tuple[Limit, ...]:
    """Enter every maker's limit of a file; one bad row and none is kept.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    text
        File ``driveout-limits/1``.
    name
        Its name, for messages.
    at
        Present moment.

    Returns
    -------
    tuple of Limit
        The limits entered.

    Raises
    ------
    BadEntry
        With file, line and key of the row that cannot be kept.
    """
    limits = car_limits(text, name)
    for limit in limits:
        set_maker_limit(
            tx, car_id, limit.quantity, limit.side, limit.as_published, limit.source, spot=limit.place, at=at
        )
    return limits


def drop_maker_limit(
    tx: Tx, car_id: int, quantity: str, side: str, spot: str, *, at: datetime, version: int
) -> None:
    """Take a maker's limit away that was entered by mistake; the trail keeps that it stood there."""
    cars.get_car(tx, car_id)
    if quantity not in QUANTITIES:
        raise BadEntry(f"{quantity!r} is not a quantity.", field="quantity", value=quantity)
    records.drop_limit(tx, car_id, quantity, side, spot, version)
    where = f" {spot}" if spot else ""
    summary = f"Maker's limit taken away: {QUANTITIES[quantity]}{where}"
    cars.note_event(
        tx, car_id, "maker's limit", summary, {"quantity": quantity, "side": side, "spot": spot}, at
    )


def own_rule(tx: Tx) -> tuple[SellerRule, int | None]:
    """The rule that the person set, with its version; the federal row when none is."""
    kept = records.seller_rule(tx)
    return kept if kept is not None else (federal_rule(), None)


def set_own_rule(tx: Tx, rule: SellerRule, *, version: int | None = None) -> SellerRule:
    """Set how the person's own state counts cars; the trail of no car changes by it."""
    records.put_seller_rule(tx, rule, version)
    return rule


def cars_counted(tx: Tx, on: date) -> SellerCount:
    """Cars bought, offered and sold, counted by the person's rule.

    Parameters
    ----------
    tx
        Open transaction.
    on
        Present day.

    Returns
    -------
    SellerCount
        Count, what is left, and words.
    """
    kinds = {"bought": "bought", "for sale": "offered", "sold": "sold"}
    events = [
        SellerEvent(event.at.date(), kinds[event.data["to"]], str(car.id))
        for car in cars.list_cars(tx)
        for event in cars.trail_of(tx, car.id)
        if event.kind == "stage" and event.data.get("to") in kinds
    ]
    return seller_count(events, own_rule(tx)[0], on)
