"""Measured values as a person types them: 4/32, 4 mm, 0.157 in, 32 psi. A doubt is asked, never guessed."""

from __future__ import annotations

import re
import unicodedata

from driveout.errors import BadEntry
from driveout.units import FACTORS, read_number

_INCH = FACTORS["mm per inch"]
_PSI = FACTORS["kPa per psi"]
_MILE = FACTORS["km per mile"]
# Factor of each written unit into the unit that ends a quantity's name.
_INTO: dict[str, dict[str, float]] = {
    "mm": {
        "mm": 1.0,
        "cm": 10.0,
        "um": 1e-3,
        "in": _INCH,
        "inch": _INCH,
        "inches": _INCH,
        '"': _INCH,
        "mil": _INCH / 1000,
        "thou": _INCH / 1000,
    },
    "um": {"um": 1.0, "micron": 1.0, "microns": 1.0, "mm": 1000.0, "mil": 25.4, "mils": 25.4, "thou": 25.4},
    "kpa": {
        "kpa": 1.0,
        "psi": _PSI,
        "bar": FACTORS["kPa per bar"],
        "mpa": 1000.0,
        "kgf/cm2": 98.0665,
        "kg/cm2": 98.0665,
    },
    "percent": {"%": 1.0, "percent": 1.0},
    "v": {"v": 1.0, "mv": 1e-3, "volt": 1.0, "volts": 1.0},
    "ma": {"ma": 1.0, "a": 1000.0},
    "c": {"c": 1.0, "°c": 1.0},
    "km": {"km": 1.0, "mi": _MILE, "mile": _MILE, "miles": _MILE},
    "m": {"m": 1.0, "ft": 0.3048, "feet": 0.3048, "in": 0.0254, "mm": 1e-3, "km": 1000.0},
    "years": {"years": 1.0, "year": 1.0, "y": 1.0},
    "n": {"n": 1.0, "lbf": 4.4482216152605},
    "deg": {"deg": 1.0, "°": 1.0},
    "ml": {"ml": 1.0, "l": 1000.0},
    "l": {"l": 1.0, "litre": 1.0, "litres": 1.0, "ml": 1e-3, "qt": 0.946352946, "gal": 3.785411784},
    "ah": {"ah": 1.0},
    "rpm": {"rpm": 1.0, "/min": 1.0},
    "ratio": {},
    "times": {"times": 1.0, "x": 1.0},
    "hours": {"h": 1.0, "hours": 1.0},
    "count": {},
    "minutes": {"min": 1.0, "minutes": 1.0, "h": 60.0},
}
_WORDS = {
    "um": "µm",
    "c": "°C",
    "percent": "%",
    "kpa": "kPa",
    "v": "V",
    "ma": "mA",
    "ah": "Ah",
    "l": "litres",
}
_FRACTION = re.compile(r"^(?:(\d+)[ -]+)?(\d+)/(\d+)$")


def read_quantity(
    text: str,
    unit: str,
    *,
    field: str = "",
    name: str = "",
    least: float | None = None,
    most: float | None = None,
    ask_below: float = 0.0,
) -> float:
    """Read one measured value into the unit wanted.

    A bare fraction over 4, 8, 16, 32 or 64 is a fraction of an inch, as a tread gauge prints it.
    A bare number is in the wanted unit; when it cannot be right there but would be in inches
    (or mils, psi, bar, miles), the person is asked which was meant.

    Parameters
    ----------
    text
        As typed.
    unit
        ``mm``, ``um``, ``kpa``, ``percent``, ``v``, ``ma``, ``c``, ``km``, ``years`` ...
    field
        Form field or key, for the message.
    name
        What is measured, in words.
    least
        Range outside which the value cannot be right, in ``unit``.
    most
        See `least`.
    ask_below
        A bare number above 0 and below this is asked about when another unit makes sense of it.

    Returns
    -------
    float
        Value in ``unit``.

    Raises
    ------
    BadEntry
        If it is not a value, has a wrong unit, or lies outside the range.

    Examples
    --------
    >>> read_quantity("4/32", "mm")
    3.175
    >>> read_quantity("4 mm", "mm")
    4.0
    """
    label = name or field.replace("_", " ") or "The value"
    label = label[0].upper() + label[1:]
    shown = _WORDS.get(unit, unit)
    plain = (
        unicodedata.normalize("NFKC", text.replace("µ", "u").replace("μ", "u"))
        .replace("\u2044", "/")
        .strip()
        .lower()
    )
    match = re.fullmatch(r"([-+]?[\d.,' \u00a0/-]*\d)\s*([^\d\s].*)?", plain)
    if not match:
        raise BadEntry(
            f"{label}: {text.strip()[:40]!r} is not a value. Write a number and its unit, for example 4 {shown}.",
            field=field,
            value=text[:40],
            allowed=f"a number in {shown}",
        )
    digits, written = match.group(1).strip(), (match.group(2) or "").strip().rstrip(".")
    fraction = _FRACTION.match(digits)
    number = _fraction(fraction, text, field) if fraction else float(read_number(digits))
    if not fraction and re.fullmatch(r"\d{1,3}[.,]\d{3}", digits):
        # A caliper shows three decimals; an advert's thousands mark has no place in a measurement below 1000.
        number = _asked_thousands(digits, unit, label, field, least, most)
    table = _INTO.get(unit, {})
    if unit == "c" and written in {"f", "°f"}:
        value = (number - 32.0) / 1.8
    elif written:
        if written not in table:
            raise BadEntry(
                f"{label}: {written!r} is not a unit for this.",
                field=field,
                value=text[:40],
                allowed=", ".join(table) or "no unit",
            )
        value = number * table[written]
    elif fraction:
        if unit == "mm":
            value = number * _INCH
        else:
            raise BadEntry(
                f"{label}: a fraction needs its unit.", field=field, value=text[:40], allowed=", ".join(table)
            )
    else:
        value = number
        _ask_unit(text, number, unit, label, field, least, most, table, ask_below)
    _demand_range(value, text, shown, label, field, least, most)
    return value


def _fraction(match: re.Match[str], text: str, field: str) -> float:
    whole, above, below = int(match.group(1) or 0), int(match.group(2)), int(match.group(3))
    if below not in (2, 4, 8, 16, 32, 64):
        raise BadEntry(
            f"{text.strip()} is not a fraction of an inch. A gauge shows 32nds; write 4/32 or 4 mm.",
            field=field,
            value=text,
            allowed="a fraction over 2, 4, 8, 16, 32 or 64",
        )
    return whole + above / below


def _asked_thousands(
    digits: str, unit: str, label: str, field: str, least: float | None, most: float | None
) -> float:
    as_decimal = float(digits.replace(",", "."))
    as_whole = float(re.sub(r"[.,]", "", digits))
    low, high = (-1e12 if least is None else least), (1e12 if most is None else most)
    fits = [value for value in (as_decimal, as_whole) if low <= value <= high]
    if len(fits) == 1 or unit in ("mm", "v", "ratio"):
        return fits[0] if len(fits) == 1 else as_decimal
    if unit in ("km", "rpm"):
        return as_whole
    if as_decimal != as_whole and len(fits) == 2:
        raise BadEntry(
            f"{label}: {digits} can be read as {as_decimal:g} or as {as_whole:,.0f}. Write it without the mark, or with a unit.",
            field=field,
            value=digits,
        )
    return as_decimal


def _ask_unit(
    text: str,
    number: float,
    unit: str,
    label: str,
    field: str,
    least: float | None,
    most: float | None,
    table: dict[str, float],
    ask_below: float,
) -> None:
    """Raise a question when a bare number only makes sense in another unit, or more sense."""
    low, high = (-1e30 if least is None else least), (1e30 if most is None else most)
    doubtful = 0 < number < ask_below
    if low <= number <= high and not doubtful:
        return
    impossible = not low <= number <= high
    low = max(low, ask_below)
    asked = {
        "mm": ("in",),
        "um": ("mil", "mm"),
        "kpa": ("psi", "bar"),
        "ma": ("a",),
        "km": ("mi",),
        "m": ("ft",),
    }
    options = [
        (other, number * table[other])
        for other in asked.get(unit, ())
        if low <= number * table[other] <= high
    ]
    if unit == "mm" and number == int(number) and low <= number / 32 * _INCH <= high:
        options.append(("32nds of an inch", number / 32 * _INCH))
    if options:
        words = " or ".join(
            f"{number:g} {other} ({value:.3g} {_WORDS.get(unit, unit)})" for other, value in options
        )
        raise BadEntry(
            f"{label}: {text.strip()} {_WORDS.get(unit, unit)} {'cannot be right' if impossible else 'is doubtful'}. "
            f"Did you mean {words}? Write the unit{'' if impossible else ', also when it is ' + _WORDS.get(unit, unit)}.",
            field=field,
            value=text[:40],
            allowed=f"{low:g} to {high:g} {_WORDS.get(unit, unit)}",
        )


def _demand_range(
    value: float, text: str, shown: str, label: str, field: str, least: float | None, most: float | None
) -> None:
    slack = 1e-9 * max(1.0, abs(value))
    if (least is not None and value < least - slack) or (most is not None and value > most + slack):
        ends = " ".join(
            part
            for part in (
                f"from {least:g}" if least is not None else "",
                f"to {most:g}" if most is not None else "",
            )
            if part
        )
        raise BadEntry(
            f"{label}: {text.strip()[:40]} is outside {ends} {shown}. Measure again and write the unit.",
            field=field,
            value=text[:40],
            allowed=f"{ends} {shown}",
        )
