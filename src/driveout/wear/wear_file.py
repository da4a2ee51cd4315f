"""The person's own limits and readings in one file, ``driveout-limits/1``."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from driveout.errors import BadEntry
from driveout.files import Document, yaml_document
from driveout.units import minor_digits
from driveout.wear.limits import SCHEMA, Limit, read_limits
from driveout.wear.report import CarFacts, Reading, Report, report
from driveout.wear.topics import TOPICS, read_entries

_TOP = ("schema", "car", "use_shipped", "limits", "readings")
_CAR = ("on", "mileage_km", "made_year", "name", "currency")


def judge_file(text: str | bytes, name: str, on: date) -> Report:
    """Judge a file with one's own limits and readings.

    Parameters
    ----------
    text
        YAML or JSON with ``schema: driveout-limits/1``.
    name
        Its name, for messages.
    on
        Present day, unless the file's ``car.on`` says another.

    Returns
    -------
    Report
        Verdicts, findings, repairs.

    Raises
    ------
    BadEntry
        With ``file:line key.path`` of what cannot be used.

    References
    ----------
    own-reasoning, docs/formats/limits.md.
    """
    document = yaml_document(text, name, SCHEMA)
    for key in document.data:
        if key not in _TOP:
            raise document.bad(
                (key,), f"{key!r} is no key of a limits file.", value=str(key), allowed=", ".join(_TOP)
            )
    facts = _facts(document, on)
    use_shipped = document.data.get("use_shipped", True)
    if not isinstance(use_shipped, bool):
        raise document.bad(
            ("use_shipped",), "Write true or false.", value=str(use_shipped), allowed="true, false"
        )
    readings = _readings(document, facts.on)
    limits = read_limits(document)
    try:
        return report(readings, facts, limits, use_shipped=use_shipped)
    except BadEntry as error:
        raise _placed(document, error) from error


def car_limits(text: str | bytes, name: str) -> tuple[Limit, ...]:
    """Read the maker's limits of one car out of such a file; its readings are left alone.

    Parameters
    ----------
    text
        YAML or JSON with ``schema: driveout-limits/1``.
    name
        Its name, for messages.

    Returns
    -------
    tuple of Limit
        Maker's limits, for the whole car or one axle.

    Raises
    ------
    BadEntry
        With ``file:line key.path`` of a row that cannot be kept with a car.
    """
    document = yaml_document(text, name, SCHEMA)
    limits = read_limits(document)
    if not limits:
        raise document.bad(("limits",), "The file holds no limits.", allowed="limits: a list of rows")
    for number, limit in enumerate(limits):
        if limit.kind != "maker":
            raise document.bad(
                ("limits", number, "kind"),
                f"Only the maker's limits are kept with a car; judge by a {limit.kind} one with `driveout wear FILE`.",
                value=limit.kind,
                allowed="maker",
            )
        if limit.place not in ("", "front", "rear"):
            raise document.bad(
                ("limits", number, "place"),
                f"{limit.place!r} is no place on the car that has its own limit.",
                value=limit.place,
                allowed="front, rear, or left out",
            )
    return limits


def _placed(document: Document, error: BadEntry) -> BadEntry:
    """Give a complaint that arose from several readings together the line of the field it names."""
    rows = document.data.get("readings") or []
    for number in reversed(range(len(rows))):
        if error.field and error.field in rows[number]:
            path = ("readings", number, error.field)
            return document.bad(path, error.message, value=error.value, allowed=error.allowed, fix=error.fix)
    return document.bad(("readings",), error.message, value=error.value, allowed=error.allowed, fix=error.fix)


def _facts(document: Document, on: date) -> CarFacts:
    car = document.data.get("car") or {}
    if not isinstance(car, Mapping):
        raise document.bad(("car",), "The car is a row of keys.", allowed=", ".join(_CAR))
    for key in car:
        if key not in _CAR:
            raise document.bad(
                ("car", key), f"{key!r} is no key of the car.", value=str(key), allowed=", ".join(_CAR)
            )
    day = _day(document, ("car", "on"), car.get("on", on))
    mileage, year = car.get("mileage_km"), car.get("made_year")
    for key, value, most in (("mileage_km", mileage, 3_000_000), ("made_year", year, 2200)):
        if value is not None and (
            isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= most
        ):
            raise document.bad(
                ("car", key), f"{value!r} cannot be right.", value=str(value), allowed=f"0 to {most:,}"
            )
    currency = str(car.get("currency", "USD"))
    try:
        minor_digits(currency)
    except BadEntry as error:
        raise document.bad(
            ("car", "currency"), error.message, value=currency, allowed=error.allowed
        ) from error
    return CarFacts(day, mileage, int(year) if year is not None else None, currency)


def _day(document: Document, path: tuple[Any, ...], value: Any) -> date:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError as error:
        raise document.bad(path, f"{value!r} is no day.", value=str(value), allowed="YYYY-MM-DD") from error


def _readings(document: Document, on: date) -> list[Reading]:
    rows = document.data.get("readings") or []
    if not isinstance(rows, list):
        raise document.bad(
            ("readings",), "The readings must be a list of rows.", allowed="- {topic: ..., spot: ...}"
        )
    found = []
    for number, row in enumerate(rows):
        path = ("readings", number)
        if not isinstance(row, Mapping):
            raise document.bad(path, "A reading is a row of keys.", value=str(row)[:60])
        topic = str(row.get("topic", ""))
        if topic not in TOPICS:
            raise document.bad(
                (*path, "topic"), f"{topic!r} is not a topic.", value=topic, allowed=", ".join(TOPICS)
            )
        spot = str(row.get("spot", TOPICS[topic].spots[0]))
        entries = {
            str(key): _text(value)
            for key, value in row.items()
            if key not in ("topic", "spot", "day", "km") and value is not None
        }
        try:
            read_entries(topic, spot, entries)
        except BadEntry as error:
            raise document.bad(
                (*path, error.field or "spot"),
                error.message,
                value=error.value,
                allowed=error.allowed,
                fix=error.fix,
            ) from error
        km = row.get("km")
        if km is not None and (
            isinstance(km, bool) or not isinstance(km, (int, float)) or not 0 <= km <= 3_000_000
        ):
            raise document.bad(
                (*path, "km"), f"{km!r} is no odometer.", value=str(km), allowed="0 to 3,000,000"
            )
        found.append(Reading(topic, spot, entries, _day(document, (*path, "day"), row.get("day", on)), km))
    return found


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, list):
        return (
            " ".join(str(item) for item in value)
            if not all(isinstance(i, str) and " " in i for i in value)
            else "; ".join(value)
        )
    if isinstance(value, Mapping):
        return " ".join(f"{key}:{item}" for key, item in value.items())
    return str(value)
