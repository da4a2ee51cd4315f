"""How one device wants things written: numbers, days, distances, light or dark. Kept in a cookie of the device."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from markupsafe import Markup

from driveout.errors import BadEntry
from driveout.units import miles_from_km

TASTE_COOKIE = "driveout_taste"

LOCALES = {
    "en-US": "1,234.50 and May 31, 2026 (United States)",
    "en-GB": "1,234.50 and 31 May 2026 (Britain, Ireland)",
    "de-DE": "1.234,50 and 31.05.2026 (Germany, Austria, much of Europe)",
    "fr-CH": "1'234.50 and 31.05.2026 (Switzerland)",
}
"""Ways of writing numbers and days. The marks are those of Unicode CLDR for the locale; the apostrophe is
typed and shown plain."""
UNITS = {"both": "km and miles", "metric": "km only", "imperial": "miles only"}
THEMES = {"system": "as the phone or computer is set", "light": "light", "dark": "dark"}

FIRST_DAYS = {
    "custom": "as is the custom where numbers are written so",
    "monday": "Monday",
    "sunday": "Sunday",
    "saturday": "Saturday",
}

_DECIMAL_COMMA = frozenset({"de-DE"})
_GROUPS = {"de-DE": ".", "fr-CH": "'"}
_DAYS = {"en-US": "%b %-d, %Y", "en-GB": "%-d %b %Y", "de-DE": "%d.%m.%Y", "fr-CH": "%d.%m.%Y"}


@dataclass(frozen=True)
class Taste:
    """How things are written.

    Parameters
    ----------
    locale
        One of `LOCALES`.
    units
        One of `UNITS`.
    theme
        One of `THEMES`.
    is_chosen
        Whether the person chose it; else it follows the language of the browser.
    first_day
        One of `FIRST_DAYS`.
    """

    locale: str = "en-GB"
    units: str = "both"
    theme: str = "system"
    is_chosen: bool = False
    first_day: str = "custom"

    @property
    def decimal_comma(self) -> bool:
        """Whether the comma is the decimal mark."""
        return self.locale in _DECIMAL_COMMA

    @property
    def group(self) -> str:
        """Mark between thousands."""
        return _GROUPS.get(self.locale, ",")

    @property
    def cookie(self) -> str:
        """What is kept on the device."""
        return f"{self.locale}.{self.units}.{self.theme}.{self.first_day}"

    @property
    def week_begins(self) -> str:
        """Name of the day that a week begins with; by custom Sunday in the United States, else Monday (CLDR)."""
        if self.first_day != "custom":
            return self.first_day
        return "sunday" if self.locale == "en-US" else "monday"

    def week(self, days: Sequence[str]) -> list[str]:
        """Days of a week in the order of the taste."""
        begin = list(days).index(self.week_begins)
        return [*days[begin:], *days[:begin]]


def taste_of(cookie: str, languages: str = "") -> Taste:
    """Read the cookie; without a usable one follow the first known language of the browser."""
    locale, units, theme, first_day, *_ = [*cookie[:100].split("."), "", "", "", ""]
    if locale in LOCALES and units in UNITS and theme in THEMES:
        first = first_day if first_day in FIRST_DAYS else "custom"
        return Taste(locale, units, theme, is_chosen=True, first_day=first)
    for part in languages.split(","):
        tag = part.split(";")[0].strip().lower()
        for known in LOCALES:
            if tag == known.lower():
                return Taste(known)
        if tag.startswith("de"):
            return Taste("de-DE")
        if tag.startswith("en"):
            break
    return Taste()


_PLAIN = Taste()
_now: ContextVar[Taste] = ContextVar("taste", default=_PLAIN)


def use(taste: Taste) -> None:
    """Write for this taste until another is used; one request is drawn in one context."""
    _now.set(taste)


def present() -> Taste:
    """The taste that is written for now."""
    return _now.get()


def localised(plain: str, taste: Taste | None = None) -> str:
    """A number written as ``1,234.50`` in the marks of the taste."""
    wanted = taste or present()
    swap = {",": wanted.group, ".": "," if wanted.decimal_comma else "."}
    return "".join(swap.get(sign, sign) for sign in plain)


def number_text(value: float | Decimal | None, digits: int = 0) -> str:
    """A number with thousands marks; a dash for none."""
    return "–" if value is None else localised(f"{value:,.{digits}f}")


def day_text(value: date | datetime | None) -> str:
    """A day; a dash for none."""
    return "–" if value is None else format(value, _DAYS[present().locale])


def km_text(value: float | None) -> str:
    """A distance in the units of the taste; a dash for none."""
    if value is None:
        return "–"
    km, miles = f"{number_text(value)} km", f"{number_text(miles_from_km(value))} mi"
    return {"metric": km, "imperial": miles}.get(present().units, f"{km} ({miles})")


_IN_WORDS = re.compile(
    r"(?<![\w.,'])(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d+)(?=[ \u00a0](?:[A-Z]{3}|km|mi|miles|h|mm|µm|Nm|lbf|%|days?|min)(?!\w))"
)


_ISO_DAY = re.compile(r"(?<![\w/=\"'-])\d{4}-\d{2}-\d{2}(?![\w-])")


def _days_written(text: str) -> str:
    """Days like 2027-05-14 inside a text, as the taste writes them; what is no day stays."""

    def written(found: re.Match[str]) -> str:
        try:
            return day_text(date.fromisoformat(found.group(0)))
        except ValueError:
            return found.group(0)

    return _ISO_DAY.sub(written, text)


def finished(value: object) -> object:
    """Last touch to whatever a template prints: amounts and days inside a sentence as the taste writes them.

    Only plain text is touched: a number that stands before its unit or currency, and a day with words beside
    it. What is markup already, among it every filter's result and everything that a person typed into a
    field, stays as it is.
    """
    if type(value) is not str:
        return value
    said = _days_written(value) if " " in value else value
    if present().locale.startswith("en"):
        return said
    return _IN_WORDS.sub(lambda found: localised(found.group(1)), said)


_AMOUNT = re.compile(
    r"(?<![\w.,'])(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d+)(?=[ \u00a0](?:[A-Z]{3}(?!\w)|h(?=[;.,:)<]| [a-z])))|(?<=>)\d{1,3}(?:,\d{3})+(?=<)"
)


def drawn_amounts(drawing: Markup) -> Markup:
    """A drawing of our own with its amounts, hours and days as the taste writes them.

    Only what stands before a currency code or an h is touched, and a number that is a whole label: a path of a
    drawing holds neither.
    """
    said = _days_written(str(drawing))
    if present().locale.startswith("en"):
        return Markup(said)
    return Markup(_AMOUNT.sub(lambda found: localised(found.group(0)), said))


_MACHINE = re.compile(r"-?\d+(\.\d+)?\Z")
_WRITTEN = re.compile(r"-?\d{1,3}(,\d{3})*(\.\d+)?( [A-Z]{3})?\Z")


def as_field(value: object) -> object:
    """A number as it is put into a field, so that it is read back as the same number."""
    taste = present()
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, float):
        value = format(Decimal(repr(value)), "f").removesuffix(".0")
    elif isinstance(value, int | Decimal):
        value = format(Decimal(value), "f")
    if type(value) is not str:  # markup is what a person typed, kept to the letter
        return value
    if _MACHINE.match(value):
        # Three decimals alone could be taken for thousands when read back; a fourth settles it.
        value += "0" if re.search(r"[1-9]\d{0,2}\.\d{3}\Z", value) else ""
        return value.replace(".", ",") if taste.decimal_comma else value
    return localised(value) if _WRITTEN.match(value) else value


_NUMBER = re.compile(r"[0-9][0-9.,'\u2019\u02bc\s\u00a0\u2007\u2009\u202f]*")


def settled(text: str, taste: Taste) -> str:
    """What was typed, with the number in it written plainly: digits and at most one decimal point.

    Parameters
    ----------
    text
        As typed, with or without a unit or currency.
    taste
        Whose marks are used.

    Returns
    -------
    str
        The same text with ``1.234,50`` turned into ``1234.50``.

    Raises
    ------
    BadEntry
        If the number can be read in two ways; it is asked about, never guessed.

    Examples
    --------
    >>> settled("1.234,50 EUR", Taste("de-DE", is_chosen=True))
    '1234.50 EUR'
    """
    return _NUMBER.sub(lambda found: _one(found.group(0), text, taste), text)


def _one(written: str, text: str, taste: Taste) -> str:
    tail = written[len(written.rstrip(" \t\u00a0\u2007\u2009\u202f.,'")) :]
    body = written[: len(written) - len(tail)]
    plain = re.sub(r"[\s\u00a0\u2007\u2009\u202f'\u2019\u02bc]", "", body)
    space = " " if tail[-1:].isspace() else ""
    if "," not in plain and "." not in plain:
        return plain + space
    both = "," in plain and "." in plain
    mark = plain[max(plain.rfind(","), plain.rfind("."))]
    other = "," if mark == "." else "."
    decimal = "," if taste.decimal_comma else "."
    grouped = re.fullmatch(rf"[1-9]\d{{0,2}}(\{mark}\d{{3}})+", plain) is not None
    if both:
        # The last mark is the decimal one whoever wrote it, if the others really part thousands.
        if re.fullmatch(rf"\d{{1,3}}(\{other}\d{{3}})+\{mark}\d+", plain):
            return plain.replace(other, "").replace(mark, ".") + space
        raise _asked(text, plain)
    if plain.count(mark) > 1:
        if grouped:
            return plain.replace(mark, "") + space
        raise _asked(text, plain)
    if mark == decimal:
        if grouped and not taste.is_chosen:
            raise _asked(text, plain)
        return plain.replace(mark, ".") + space
    if grouped:
        return plain.replace(mark, "") + space
    if not taste.is_chosen or plain.startswith("0"):
        # It cannot part thousands, so it is the decimal mark of another habit.
        return plain.replace(mark, ".") + space
    raise _asked(text, plain)


def _asked(text: str, plain: str) -> BadEntry:
    parted = re.sub(r"[.,]", "", plain)
    pointed = re.sub(r"[.,](?=.*[.,])", "", plain)
    return BadEntry(
        f"{text.strip()[:60]!r} can be read in two ways. Is it {parted}, or {pointed} with a decimal mark? Write it "
        "without a mark between thousands, or choose under Settings how you write numbers.",
        value=text.strip()[:60],
        allowed="digits with at most one decimal mark",
    )
