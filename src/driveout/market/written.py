"""How people write a price, a distance, a year and a day: the texts of one row or form made a comparable."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, get_args

from driveout.errors import BadEntry, BadRows
from driveout.market.comparables import Comparable, Kind, TitleStatus
from driveout.units import Money, km_from_miles, minor_digits, money_from_text, read_number

TITLE_WORDS: dict[str, TitleStatus] = {
    **dict.fromkeys(("", "clean", "clear", "ok", "normal"), "clean"),
    **dict.fromkeys(("rebuilt", "reconstructed", "restored", "rebuilt salvage"), "rebuilt"),
    **dict.fromkeys(("salvage", "total loss", "written off", "write off", "wreck"), "salvage"),
    **dict.fromkeys(("buyback", "lemon", "manufacturer buyback", "lemon law buyback"), "buyback"),
}
KIND_WORDS: dict[str, Kind] = {
    **dict.fromkeys(
        ("", "asking", "ask", "asked", "advert", "listed", "for sale", "no", "n", "0", "false"), "asking"
    ),
    **dict.fromkeys(("sold", "sale", "yes", "y", "1", "true"), "sold"),
}


def comparable_from_texts(
    cells: Mapping[str, str],
    specs: Mapping[str, str] | None = None,
    *,
    currency: str,
    today: date,
    mileage_unit: str = "km",
    decimal_comma: bool | None = None,
    origin: str = "",
) -> Comparable:
    """Make one comparable from the texts of a form or a row.

    Parameters
    ----------
    cells
        Texts by column: ``price``, ``mileage_km`` or ``mileage_mi`` or ``mileage``, ``made_year``,
        ``age_years``, ``age_months``, ``kind``, the days, the words.
    specs
        Further numbers by name.
    currency
        Currency of a price that carries none.
    today
        The day it is.
    mileage_unit
        Unit of ``mileage`` when nothing says it.
    decimal_comma
        How numbers are written, None when unknown.
    origin
        Where it came from, for messages.

    Returns
    -------
    Comparable
        The checked value.

    Raises
    ------
    BadRows
        If several cells cannot be used.
    BadEntry
        If one cannot.
    """
    wrong: list[BadEntry] = []
    value: dict[str, Any] = {"origin": origin}

    def take(name: str, read: Any, *texts: str) -> None:
        try:
            value[name] = read(*texts)
        except BadEntry as error:
            error.field = error.field or name
            wrong.append(error)

    def number(text: str) -> float:
        return float(_scaled_number(text, decimal_comma))

    given = {key: text.strip() for key, text in cells.items() if text and text.strip()}
    price = given.get("sold_price") or given.get("price", "")
    take("price", lambda t: _price(t, _currency(given.get("currency", ""), currency), decimal_comma), price)
    if given.get("sold_price"):
        value["kind"] = "sold"
    elif given.get("kind"):
        take("kind", _kind, given["kind"])
    for column, unit in (
        ("mileage_km", "km"),
        ("mileage_mi", "mi"),
        ("mileage", given.get("mileage_unit", mileage_unit)),
    ):
        if given.get(column) and "mileage_km" not in value:
            take("mileage_km", lambda t, u=unit: _kilometres(t, u, decimal_comma), given[column])
    if given.get("made_year"):
        take("made_year", _year, given["made_year"])
    if given.get("age_years"):
        take("age_years", number, given["age_years"])
    elif given.get("age_months"):
        take("age_years", lambda t: number(t) / 12, given["age_months"])
    for day in ("listed", "seen", "last_seen", "gone"):
        if given.get(day):
            take(day, lambda t: _day(t, today), given[day])
    if given.get("title_status"):
        words = given["title_status"].casefold().replace("-", " ")
        if words in TITLE_WORDS:
            value["title_status"] = TITLE_WORDS[words]
        else:
            wrong.append(_not_a_title(given["title_status"]))
    if given.get("options"):
        value["options"] = options_from_text(given["options"])
    value["specs"] = {}
    for name, text in (specs or {}).items():
        if text.strip():
            try:
                value["specs"][name] = number(text)
            except BadEntry as error:
                error.field = name
                wrong.append(error)
    for words_of in ("condition", "place", "name"):
        value[words_of] = given.get(words_of, "")[:200]
    if value.get("made_year") is not None and value["made_year"] > today.year + 1:
        wrong.append(
            BadEntry(
                f"The year {value['made_year']} is in the future. Correct it.",
                field="made_year",
                value=value["made_year"],
                allowed=f"up to {today.year + 1}",
            )
        )
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:
        raise BadRows(wrong)
    return Comparable(**value)


def options_from_text(text: str) -> tuple[str, ...]:
    """Words for equipment, split at commas, slashes, bars and plus signs, lower case, each once."""
    words = (word.strip().casefold() for word in re.split(r"[,;/|+\n]", text))
    return tuple(dict.fromkeys(word for word in words if word))


def _currency(text: str, default: str) -> str:
    code = text.strip().upper() or default
    minor_digits(code)
    return code


def _scaled_number(text: str, decimal_comma: bool | None) -> Decimal:
    """One number, with ``k`` for thousands."""
    match = re.fullmatch(r"(.*\d.*?)\s*(k|tsd|thousand)\.?\s*", text.strip(), re.IGNORECASE)
    if match:
        # "5.9k" has one digit after the mark, "5.900k" would be absurd: the mark is a decimal mark here.
        return read_number(match.group(1).replace(",", "."), decimal_comma=False) * 1000
    return read_number(text, decimal_comma)


def _price(text: str, currency: str, decimal_comma: bool | None) -> Money:
    if not text:
        raise BadEntry(
            "The price is missing. Type it or delete the row.",
            field="price",
            value="",
            allowed="a price above 0",
        )
    if re.search(r"[^\d.,\s+\-'’]", text):
        if re.fullmatch(r"\D*[\d.,]+\s*k\D*", text, re.IGNORECASE):
            bare = re.sub(r"[^\d.,k]", "", text.casefold())
            number = _scaled_number(bare, decimal_comma)
            sign = money_from_text(re.sub(r"[\d.,]+\s*k", "1", text, flags=re.IGNORECASE), currency)
            return Money.of(number, sign.currency)
        money = money_from_text(text, currency)
        if decimal_comma is None:
            return money
        return Money.of(read_number(re.sub(r"[^\d.,+\-]", "", text), decimal_comma), money.currency)
    number = read_number(text, decimal_comma)
    if abs(number) > 10**9:
        raise BadEntry(
            f"The price {text[:40]} is absurdly large. Check the digits.", field="price", value=text[:40]
        )
    return Money.of(number, currency)


def _kilometres(text: str, unit: str, decimal_comma: bool | None) -> float:
    match = re.fullmatch(r"\s*(.*?\d.*?)\s*(km|kms|kilomet\w*|mi|miles|mls)?\.?\s*", text, re.IGNORECASE)
    written = (match.group(2) or unit).casefold() if match else unit
    number = float(_scaled_number(match.group(1) if match else text, decimal_comma))
    if written.startswith("k"):
        return number
    if written.startswith("m"):
        return km_from_miles(number)
    raise BadEntry(
        f"{unit!r} is no unit of distance here. Use km or mi.", field="mileage", value=unit, allowed="km, mi"
    )


def _year(text: str) -> int:
    match = re.fullmatch(
        r"(?:\d{1,2}[./-])?(?:\d{1,2}[./-])?((?:18|19|20)\d\d)(?:[./-]\d{1,2}){0,2}(?:\.0+)?", text
    )
    if not match:
        raise BadEntry(
            f"{text[:40]!r} is not a year. Write four digits, for example 2013.",
            field="made_year",
            value=text[:40],
            allowed="a year such as 2013",
        )
    return int(match.group(1))


def _day(text: str, today: date) -> date:
    for pattern in ("%Y-%m-%d", "%d.%m.%Y", "%Y/%m/%d", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S"):
        try:
            day = datetime.strptime(text, pattern).date()  # noqa: DTZ007 - a calendar day has no zone
        except ValueError:
            continue
        if day > today:
            raise BadEntry(
                f"The day {day.isoformat()} is in the future.",
                value=text,
                allowed=f"up to {today.isoformat()}",
            )
        return day
    raise BadEntry(
        f"{text[:40]!r} is not a day. Write year-month-day: 05/06/2026 would mean two different days.",
        value=text[:40],
        allowed="a day such as 2026-06-05 or 5.6.2026",
    )


def _kind(text: str) -> Kind:
    words = text.casefold().strip()
    if words not in KIND_WORDS:
        raise BadEntry(
            f"{text[:40]!r} is neither asking nor sold.",
            field="kind",
            value=text[:40],
            allowed=", ".join(get_args(Kind)),
        )
    return KIND_WORDS[words]


def _not_a_title(text: str) -> BadEntry:
    return BadEntry(
        f"The title status {text[:40]!r} is not known.",
        field="title_status",
        value=text[:40],
        allowed=", ".join(get_args(TitleStatus)),
        fix="Leave it empty when the advert does not say.",
    )
