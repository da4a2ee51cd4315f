"""A car and its comparables as one own file, ``driveout-comparables/1``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from driveout.errors import BadEntry, BadRows
from driveout.files import Document
from driveout.market.appraisal import Appraisal, CarToValue
from driveout.market.comparables import Comparable, Kind
from driveout.market.value import appraise
from driveout.market.written import TITLE_WORDS, comparable_from_texts, options_from_text
from driveout.units import minor_digits

SCHEMA = "driveout-comparables/1"
_CAR_KEYS = (
    "name",
    "mileage_km",
    "made_year",
    "age_years",
    "condition",
    "title_status",
    "options",
    "specs",
)


@dataclass(frozen=True)
class Case:
    """The car to value, its comparables, and whether a price asked or paid is wanted."""

    car: CarToValue
    comparables: tuple[Comparable, ...]
    price_kind: Kind = "sold"


def case_from_document(document: Document, today: date) -> Case:
    """Read the keys ``car``, ``comparables`` and, if given, ``on`` and ``price_kind``.

    Parameters
    ----------
    document
        The read file.
    today
        The day it is; also the day of the value when the file says no other.

    Returns
    -------
    Case
        Everything an appraisal needs.

    Raises
    ------
    BadEntry
        If something is missing or wrong: with file, line and key.
    """
    data: dict[str, Any] = document.data
    on = data.get("on") or today
    if not isinstance(on, date):
        try:
            on = date.fromisoformat(str(on))
        except ValueError as error:
            raise document.bad(
                ("on",), f"on is {on!r}; expected a day.", value=str(on), allowed="a day such as 2026-06-05"
            ) from error
    price_kind = data.get("price_kind", "sold")
    if price_kind not in ("asking", "sold"):
        raise document.bad(
            ("price_kind",), f"price_kind is {price_kind!r}.", value=str(price_kind), allowed="asking, sold"
        )
    return Case(_car(document, on), comparables_from_document(document, today=max(on, today)), price_kind)


def appraise_case(case: Case) -> Appraisal:
    """Value the car of an own file."""
    return appraise(case.car, case.comparables, price_kind=case.price_kind)


def comparables_from_document(document: Document, *, today: date) -> tuple[Comparable, ...]:
    """Read the list ``comparables`` of an own file (schema ``driveout-comparables/1``).

    Parameters
    ----------
    document
        The read file; its keys are those of `Comparable`, prices in major units.
    today
        The day it is.

    Returns
    -------
    tuple of Comparable
        In the order of the file.

    Raises
    ------
    BadRows
        If entries cannot be used: each with file, line and key.
    """
    currency = str(document.data.get("currency", "USD"))
    minor_digits(currency)
    rows = document.data.get("comparables")
    if not isinstance(rows, list) or not rows:
        raise document.bad(("comparables",), "The file needs a list 'comparables' with at least one car.")
    known = {
        *(
            "price",
            "mileage_km",
            "mileage_mi",
            "made_year",
            "age_years",
            "kind",
            "listed",
            "seen",
            "last_seen",
        ),
        *("gone", "condition", "title_status", "options", "specs", "place", "name", "currency"),
    }
    found: list[Comparable] = []
    wrong: list[BadEntry] = []
    for i, row in enumerate(rows):
        where: tuple[Any, ...] = ("comparables", i)
        if not isinstance(row, dict):
            wrong.append(document.bad(where, "Each comparable is a list of keys and values."))
            continue
        strange = [key for key in row if key not in known]
        if strange:
            wrong.append(
                document.bad(
                    (*where, strange[0]),
                    f"There is no key {strange[0]!r} here.",
                    allowed=", ".join(sorted(known)),
                )
            )
            continue
        cells = {k: _as_text(v) for k, v in row.items() if k != "specs" and v is not None}
        specs = row.get("specs") or {}
        try:
            found.append(
                comparable_from_texts(
                    cells,
                    {str(k): _as_text(v) for k, v in specs.items()},
                    currency=currency,
                    today=today,
                    decimal_comma=False,
                    origin=f"{document.name}:{document.line(*where)}",
                )
            )
        except BadEntry as error:
            for entry in getattr(error, "entries", (error,)):
                key = (*where, entry.field) if entry.field in row else where
                wrong.append(document.bad(key, entry.message, value=entry.value, allowed=entry.allowed))
    if wrong:
        raise BadRows(wrong, f"{document.name}: {len(wrong)} entries cannot be used.")
    return tuple(found)


def _car(document: Document, on: date) -> CarToValue:
    raw = document.data.get("car")
    if not isinstance(raw, dict):
        raise document.bad(("car",), "The file needs a 'car' with its year and distance.")
    for key in raw:
        if key not in _CAR_KEYS:
            raise document.bad(
                ("car", key), f"There is no key {key!r} of a car here.", allowed=", ".join(_CAR_KEYS)
            )
    title = str(raw.get("title_status", "")).casefold()
    if title not in TITLE_WORDS:
        raise document.bad(
            ("car", "title_status"),
            f"The title status {title!r} is not known.",
            value=title,
            allowed="clean, rebuilt, salvage, buyback",
        )
    options = raw.get("options", ())
    specs = raw.get("specs") or {}
    try:
        return CarToValue(
            on=on,
            mileage_km=_number(document, raw, "mileage_km") or 0.0,
            made_year=None if raw.get("made_year") is None else _whole(document, raw["made_year"]),
            age_years=_number(document, raw, "age_years", needed=False),
            condition=str(raw.get("condition") or ""),
            title_status=TITLE_WORDS[title],
            options=options_from_text(
                options if isinstance(options, str) else ",".join(map(str, options or ()))
            ),
            specs={str(k): _number(document, specs, k, under=("car", "specs")) or 0.0 for k in specs},
            name=str(raw.get("name") or "this car"),
        )
    except BadEntry as error:
        if error.place:
            raise
        raise document.bad(
            ("car", error.field), error.message, value=error.value, allowed=error.allowed
        ) from error


def _number(
    document: Document,
    raw: dict[str, Any],
    key: str,
    *,
    needed: bool = True,
    under: tuple[str, ...] = ("car",),
) -> float | None:
    value = raw.get(key)
    if value is None and not needed:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise document.bad(
            (*under, key), f"{key} is {value!r}; expected a number.", value=str(value), allowed="a number"
        )
    return float(value)


def _whole(document: Document, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise document.bad(
            ("car", "made_year"),
            f"made_year is {value!r}; expected a year.",
            value=str(value),
            allowed="such as 2013",
        )
    return value


def _as_text(value: Any) -> str:
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return ", ".join(str(item) for item in value)
    return str(value)
