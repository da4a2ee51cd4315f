"""The sale as an own file, ``driveout-asking/1``: read with file, line and key in every complaint."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from driveout.errors import BadEntry, BadRows
from driveout.files import Document
from driveout.selling.situation import MONEY_KEYS, SaleSituation, Spell
from driveout.units import Money, minor_digits

SCHEMA = "driveout-asking/1"
_WHOLE = ("deadline_days", "step_days", "weekday", "viewers_booked")
_NEEDED = ("value", "fallback")
_AMOUNTS = ("value", *MONEY_KEYS)


def situation_from_document(document: Document) -> SaleSituation:
    """Read a sale from an own file or the body of a request.

    Parameters
    ----------
    document
        The read file; keys are those of `SaleSituation`, amounts in major units of ``currency``.

    Returns
    -------
    SaleSituation
        The checked situation.

    Raises
    ------
    BadRows
        If several keys are wrong.
    BadEntry
        If one is: with file, line and key.
    """
    data: dict[str, Any] = document.data
    currency = str(data.get("currency", "USD"))
    try:
        minor_digits(currency)
    except BadEntry as error:
        raise document.bad(("currency",), error.message, value=currency, allowed=error.allowed) from error
    known = {f.name for f in fields(SaleSituation)}
    wrong: list[BadEntry] = []
    values: dict[str, Any] = {}
    for key, raw in data.items():
        if key in ("schema", "currency") or raw is None:
            continue
        try:
            if key not in known:
                raise BadEntry(f"There is no key {key!r} here.", allowed=", ".join(sorted(known)))
            values[key] = _value(str(key), raw, currency)
        except BadEntry as error:
            wrong.append(document.bad((key,), error.message, value=error.value, allowed=error.allowed))
    wrong += [
        document.bad((key,), f"The key {key!r} is missing; it is needed.", allowed="an amount of money")
        for key in _NEEDED
        if data.get(key) is None
    ]
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:
        raise BadRows(wrong, f"{document.name}: {len(wrong)} entries cannot be used.")
    try:
        return SaleSituation(**values)
    except BadEntry as error:
        raise document.bad((error.field,), error.message, value=error.value, allowed=error.allowed) from error


def _value(key: str, raw: Any, currency: str) -> Any:
    if key in _AMOUNTS:
        return Money.of(_number_text(key, raw), currency)
    if key in _WHOLE:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise BadEntry(f"{key} is {raw!r}; expected a whole number.", value=raw, allowed="a whole number")
        return raw
    if key == "bottleneck":
        return str(raw)
    if key == "weekdays":
        if not isinstance(raw, list):
            raise BadEntry(
                "weekdays is a list of seven factors from Monday.", value=str(raw), allowed="seven numbers"
            )
        return tuple(float(_number_text(key, item)) for item in raw)
    if key == "spells":
        return _spells(raw, currency)
    return float(_number_text(key, raw))


def _spells(raw: Any, currency: str) -> tuple[Spell, ...]:
    if not isinstance(raw, list) or not all(isinstance(row, dict) for row in raw):
        raise BadEntry("spells is a list of rows with ask, days and enquiries.", value=str(raw)[:60])
    found = []
    for row in raw:
        strange = set(row) - {"ask", "days", "enquiries"}
        if strange or "ask" not in row or "days" not in row:
            raise BadEntry(
                f"A spell has ask, days and enquiries; found {', '.join(map(str, row))}.",
                allowed="ask, days, enquiries",
            )
        count = row.get("enquiries", 0)
        if isinstance(count, bool) or not isinstance(count, int):
            raise BadEntry(f"enquiries is {count!r}; expected a whole number.", value=count)
        found.append(
            Spell(
                Money.of(_number_text("ask", row["ask"]), currency),
                float(_number_text("days", row["days"])),
                count,
            )
        )
    return tuple(found)


def _number_text(key: str, raw: Any) -> str:
    if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
        raise BadEntry(
            f"{key} is {raw!r}; expected a plain number.", value=str(raw)[:60], allowed="a plain number"
        )
    if isinstance(raw, float):
        return f"{raw:.10f}".rstrip("0").rstrip(".")
    return str(raw)


def situation_as_dict(situation: SaleSituation) -> dict[str, Any]:
    """The same sale as plain data of an own file; read back it is equal."""
    found: dict[str, Any] = {"schema": SCHEMA, "currency": situation.currency}
    for field in fields(SaleSituation):
        value = getattr(situation, field.name)
        if isinstance(value, Money):
            value = str(value.major)
        elif field.name == "spells":
            value = [
                {"ask": str(s.ask.major), "days": s.days, "enquiries": s.enquiries} for s in situation.spells
            ]
        elif isinstance(value, tuple):
            value = list(value)
        if value is not None and value != []:
            found[field.name] = value
    return found
