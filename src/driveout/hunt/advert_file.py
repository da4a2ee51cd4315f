"""The file ``driveout-advert/1``: an advert written down by hand or by another program."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Hashable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, yaml_document
from driveout.hunt.advert import (
    DRIVES,
    GEARBOXES,
    RUNNING,
    TITLES,
    Advert,
    MoneyRange,
    Seller,
    Symptom,
    amount,
    later_than_today,
    nearest_names,
)
from driveout.units import Money, km_from_miles, minor_digits, read_number

SCHEMA = "driveout-advert/1"
_KEYS = (
    "schema",
    "name",
    "currency",
    "asking",
    "made_year",
    "mileage",
    "title",
    "runs",
    "gearbox",
    "drive",
    "is_turbo",
    "clean_value",
    "symptoms",
    "denied",
    "traps",
    "extras",
    "seller",
    "place",
    "distance",
    "seen_on",
    "text",
)
_SELLER_KEYS = ("name", "is_owner", "has_title_in_hand", "is_trade")
_LENGTH = re.compile(r"\s*(?P<figure>[\d.,'\s]*\d)\s*(?P<unit>[a-z]*)\.?\s*", re.IGNORECASE)
_KM = frozenset({"km", "kms", "kilometres", "kilometers"})
_MILES = frozenset({"mi", "mile", "miles"})
_MOST_LISTED = 200

Path = tuple[Hashable, ...]


def advert_from_file(
    content: str | bytes,
    name: str,
    *,
    today: date,
    known_findings: Collection[str] | None = None,
) -> Advert:
    """Read an advert file and hold it to every limit; all that is wrong is shown together.

    Parameters
    ----------
    content
        The YAML or JSON text.
    name
        File name for messages.
    today
        Today on the person's calendar.
    known_findings
        Findings of the fault network in use; None leaves the names unchecked.

    Returns
    -------
    Advert
        The facts.

    Raises
    ------
    BadEntry
        If the file is torn or a value is outside what it may be; names file, line and key.
    """
    return advert_from_document(
        yaml_document(content, name, SCHEMA), today=today, known_findings=known_findings
    )


def advert_from_document(
    document: Document, *, today: date, known_findings: Collection[str] | None = None
) -> Advert:
    """The advert in an already read file; see `advert_from_file`."""
    data = document.data
    reading = _Reading(document)
    for key in data:
        if key not in _KEYS:
            reading.unknown(("key",), "key", key, _KEYS, at=(key,))
    currency = reading.take("currency", _currency, default="USD")
    facts: dict[str, Any] = {
        "name": reading.take("name", _text, default=""),
        "currency": currency,
        "asking": reading.take("asking", lambda v: _asking(v, currency)),
        "made_year": reading.take("made_year", _whole),
        "mileage_km": reading.take("mileage", lambda v: round(length_km(v, "mileage"))),
        "title": reading.take("title", lambda v: _one_of(v, "title", TITLES), default="unknown"),
        "runs": reading.take("runs", lambda v: _one_of(v, "runs", RUNNING)),
        "gearbox": reading.take("gearbox", lambda v: _one_of(v, "gearbox", GEARBOXES)),
        "drive": reading.take("drive", lambda v: _one_of(v, "drive", DRIVES)),
        "is_turbo": reading.take("is_turbo", _yes_no),
        "clean_value": reading.take("clean_value", lambda v: _range(v, currency)),
        "traps": tuple(reading.take("traps", _texts, default=())),
        "extras": tuple(reading.take("extras", _texts, default=())),
        "seller": reading.take("seller", _seller, default=Seller()),
        "place": reading.take("place", _text, default=""),
        "distance_km": reading.take("distance", lambda v: length_km(v, "distance")),
        "seen_on": reading.take("seen_on", _day),
        "text": reading.take("text", _text, default=""),
    }
    facts["symptoms"] = tuple(_symptoms(reading, data, known_findings))
    return reading.finish(facts, today)


class _Reading:
    """Takes keys one by one, keeps what is wrong, and raises it together at the end."""

    _FIELD_KEYS = {"mileage_km": "mileage", "distance_km": "distance"}

    def __init__(self, document: Document) -> None:
        self.document = document
        self.wrong: list[BadEntry] = []

    def take(self, key: str, read: Callable[[Any], Any], default: Any = None) -> Any:
        value = self.document.data.get(key)
        if value is None:
            return default
        try:
            return read(value)
        except BadEntry as error:
            self.refuse((key,), error)
            return default

    def refuse(self, path: Path, error: BadEntry) -> None:
        self.wrong.append(
            self.document.bad(path, error.message, value=error.value, allowed=error.allowed, fix=error.fix)
        )

    def unknown(self, path: Path, kind: str, name: object, known: Collection[str], at: Path) -> None:
        near = nearest_names(str(name), known)
        hint = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(list(known)[:20])}."
        self.refuse(at or path, BadEntry(f'There is no {kind} "{name}". {hint}', value=str(name), fix=hint))

    def finish(self, facts: dict[str, Any], today: date) -> Advert:
        advert = None
        try:
            advert = Advert(**facts)
        except BadRows as many:
            found: Sequence[BadEntry] = many.entries
        except BadEntry as error:
            found = [error]
        else:
            found = []
        for entry in [*found, *later_than_today(facts["made_year"], facts["seen_on"], today)]:
            self.refuse((self._FIELD_KEYS.get(entry.field, entry.field),), entry)
        if len(self.wrong) == 1:
            raise self.wrong[0]
        if self.wrong or advert is None:
            raise BadRows(self.wrong, f"{self.document.name}: {len(self.wrong)} values cannot be used.")
        return advert


def _symptoms(reading: _Reading, data: dict[str, Any], known: Collection[str] | None) -> list[Symptom]:
    out: list[Symptom] = []
    for key, said in (("symptoms", "yes"), ("denied", "no")):
        listed = data.get(key)
        if listed is None:
            continue
        if not isinstance(listed, list) or len(listed) > _MOST_LISTED:
            reading.refuse(
                (key,),
                BadEntry(
                    f"{key} must be a list of findings, one per line, at most {_MOST_LISTED}.",
                    value=str(listed)[:80],
                ),
            )
            continue
        for k, entry in enumerate(listed):
            form = {"id": entry} if isinstance(entry, str) else entry
            if (
                not isinstance(form, dict)
                or not isinstance(form.get("id"), str)
                or set(form) - {"id", "hedged", "words"}
            ):
                reading.refuse(
                    (key, k),
                    BadEntry(
                        "A symptom is a finding's name, or {id: name, hedged: true, words: text}.",
                        value=str(entry),
                    ),
                )
                continue
            if known is not None and form["id"] not in known:
                reading.unknown((key, k), "symptom", form["id"], known, at=(key, k))
                continue
            out.append(
                Symptom(
                    form["id"],
                    "yes" if said == "yes" else "no",
                    form.get("hedged") is True,
                    str(form.get("words", "")),
                )
            )
    return out


def _currency(value: object) -> str:
    if not isinstance(value, str):
        raise BadEntry(
            f"currency is {value!r}; expected three capital letters such as USD.",
            value=str(value),
            allowed="ISO 4217 code",
        )
    minor_digits(value)
    return value


def _asking(value: object, currency: str) -> Money:
    return amount(value, currency, "asking")


def _range(value: object, currency: str) -> MoneyRange:
    """``{low, likely, high}``, a list of three, or one number."""
    if isinstance(value, dict) and set(value) == {"low", "likely", "high"}:
        points = [value["low"], value["likely"], value["high"]]
    elif isinstance(value, list) and len(value) == 3:
        points = value
    elif isinstance(value, int | float | str) and not isinstance(value, bool):
        points = [value] * 3
    else:
        raise BadEntry(
            f"clean_value is {value!r}; expected three amounts.",
            value=str(value),
            allowed="{low: 3900, likely: 4400, high: 4900}: low is undershot and high overshot one time in ten",
            fix="Write low, likely and high.",
        )
    return MoneyRange(*(amount(point, currency, "clean_value") for point in points))


def length_km(value: object, name: str) -> float:
    """A distance with its compulsory unit, in km."""
    found = _LENGTH.fullmatch(str(value))
    if found is None or isinstance(value, dict | list | bool):
        raise BadEntry(
            f'{name} is "{value}"; expected a number with its unit, such as 148000 km or 92000 mi.',
            value=str(value),
            allowed="0 or more, in km or mi",
            fix="Write the number and km or mi.",
        )
    unit = found["unit"].lower()
    if unit not in _KM | _MILES:
        shown = f'the unit "{unit}"' if unit else "no unit"
        hint = f"Write {found['figure']} km or {found['figure']} mi."
        raise BadEntry(
            f"{name} is {value} with {shown}; the unit must be km or mi. {hint}",
            value=str(value),
            allowed="km or mi",
            fix=hint,
        )
    figure = float(read_number(found["figure"]))
    return km_from_miles(figure) if unit in _MILES else figure


def _whole(value: object) -> int:
    if isinstance(value, str) and re.fullmatch(r"\s*\d{1,9}\s*", value):
        return int(value)
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadEntry(
            f"made_year is {value!r}; expected a whole number such as 2013.",
            value=str(value),
            allowed="a year",
        )
    return value


def _one_of(value: object, name: str, allowed: Collection[str]) -> Any:
    if value not in allowed:
        choice = ", ".join(allowed)
        raise BadEntry(
            f'{name} is "{value}"; expected one of {choice}.',
            value=str(value),
            allowed=choice,
            fix="Write one of them.",
        )
    return value


def _yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise BadEntry(
            f"is_turbo is {value!r}; expected true or false.", value=str(value), allowed="true, false"
        )
    return value


def _text(value: object) -> str:
    if isinstance(value, dict | list):
        raise BadEntry("Expected a text here, found a list or keys.", value=str(value)[:80], allowed="a text")
    return str(value)


def _texts(value: object) -> list[str]:
    if (
        not isinstance(value, list)
        or len(value) > _MOST_LISTED
        or any(isinstance(v, dict | list) for v in value)
    ):
        raise BadEntry(
            f"Expected a list of short texts, at most {_MOST_LISTED}.",
            value=str(value)[:80],
            allowed="a list",
        )
    return [str(v) for v in value]


def _seller(value: object) -> Seller:
    if not isinstance(value, dict) or set(value) - set(_SELLER_KEYS):
        raise BadEntry(
            f"seller is {value!r}; expected some of {', '.join(_SELLER_KEYS)}.",
            value=str(value)[:80],
            allowed=", ".join(_SELLER_KEYS),
        )
    for key in _SELLER_KEYS[1:]:
        if value.get(key) not in (None, True, False):
            raise BadEntry(
                f"seller.{key} is {value[key]!r}; expected true or false.",
                value=str(value[key]),
                allowed="true, false",
            )
    return Seller(
        str(value.get("name") or ""),
        value.get("is_owner"),
        value.get("has_title_in_hand"),
        value.get("is_trade"),
    )


def _day(value: object) -> date:
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError as error:
        raise BadEntry(
            f'seen_on is "{value}"; expected a day such as 2026-11-20.',
            value=str(value),
            allowed="YYYY-MM-DD",
        ) from error


def advert_data(advert: Advert) -> dict[str, Any]:
    """The advert as plain data in the order and form of the file; empty facts are left out."""
    data: dict[str, Any] = {"schema": SCHEMA, "name": advert.name, "currency": advert.currency}
    if advert.asking is not None:
        data["asking"] = _plain_amount(advert.asking)
    if advert.made_year is not None:
        data["made_year"] = advert.made_year
    if advert.mileage_km is not None:
        data["mileage"] = f"{advert.mileage_km} km"
    if advert.title != "unknown":
        data["title"] = advert.title
    if advert.runs is not None:
        data["runs"] = advert.runs
    for key in ("gearbox", "drive", "is_turbo"):
        if getattr(advert, key) is not None:
            data[key] = getattr(advert, key)
    if advert.clean_value is not None:
        v = advert.clean_value
        data["clean_value"] = {
            "low": _plain_amount(v.low),
            "likely": _plain_amount(v.likely),
            "high": _plain_amount(v.high),
        }
    for key, said in (("symptoms", "yes"), ("denied", "no")):
        listed = [_symptom_data(s) for s in advert.symptoms if s.said == said]
        if listed:
            data[key] = listed
    if advert.traps:
        data["traps"] = list(advert.traps)
    if advert.extras:
        data["extras"] = list(advert.extras)
    seller = {key: value for key in _SELLER_KEYS if (value := getattr(advert.seller, key)) not in (None, "")}
    if seller:
        data["seller"] = seller
    if advert.place:
        data["place"] = advert.place
    if advert.distance_km is not None:
        data["distance"] = f"{advert.distance_km:g} km"
    if advert.seen_on is not None:
        data["seen_on"] = advert.seen_on.isoformat()
    if advert.text:
        data["text"] = advert.text
    return data


def advert_text(advert: Advert) -> str:
    """The advert as a file that `advert_from_file` reads back to the same advert."""
    lines = []
    for key, value in advert_data(advert).items():
        if isinstance(value, list):
            lines.append(f"{key}:")
            lines += [f"  - {json.dumps(entry, ensure_ascii=False)}" for entry in value]
        else:
            # A JSON value is a YAML value; the key order is the one people read in.
            lines.append(f"{key}: {json.dumps(value, ensure_ascii=False)}")
    return "\n".join(lines) + "\n"


def _symptom_data(symptom: Symptom) -> str | dict[str, Any]:
    if not symptom.hedged and not symptom.words:
        return symptom.finding
    data: dict[str, Any] = {"id": symptom.finding}
    if symptom.hedged:
        data["hedged"] = True
    if symptom.words:
        data["words"] = symptom.words
    return data


def _plain_amount(money: Money) -> int | str:
    major: Decimal = money.major
    return int(major) if major == major.to_integral_value() else f"{major:f}"
