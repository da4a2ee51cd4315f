"""Similar cars from the text of adverts, one car a block: price, distance and year, or why not."""

from __future__ import annotations

import re
from datetime import date

from driveout.errors import BadEntry, BadRows
from driveout.market.comparables import Comparable
from driveout.market.written import comparable_from_texts

# One way of grouping thousands within a number, never two.
_NUMBER = (
    r"(?<![\d.,'’])(?:\d{1,3}(?:,\d{3})+(?:\.\d{2})?|\d{1,3}(?:\.\d{3})+(?:,\d{2})?|\d{1,3}(?:['’]\d{3})+"
    r"|\d{1,3}(?:[ \u00a0\u202f]\d{3})+|\d+(?:[.,]\d{1,2})?)"
)
_SIGN = r"(?:US|C|A|NZ)?\$|€|£|(?:USD|EUR|GBP|CAD|AUD|NZD|CHF|SEK|NOK|DKK|PLN|CZK)\b"
_PRICE = re.compile(
    rf"(?P<before>{_SIGN})\s*(?P<a>{_NUMBER})(?P<ka>\s?k\b)?"
    rf"|\b(?P<b>{_NUMBER})(?P<kb>\s?k)?\s*(?P<after>{_SIGN})(?!\s*\d)"
    rf"|\b(?:price|asking|asks|asked|sold for|sold at|paid)\s*(?:price)?\s*[:=]?\s*(?P<c>{_NUMBER})(?P<kc>\s?k\b)?",
    re.IGNORECASE,
)
_DISTANCE = re.compile(
    rf"\b(?P<n>{_NUMBER})\s*(?P<k>k|tsd\.?|thousand)?\s*(?P<unit>km|kms|kilomet\w+|mi|mls|miles?)\b",
    re.IGNORECASE,
)
_YEAR = re.compile(r"(?<![\d.,])(?:19[2-9]\d|20\d\d)(?![\d]|[.,]\d)")
_SOLD = re.compile(r"(?<!not )(?<!un)\bsold (?:for|at)\b|\bpaid\b", re.IGNORECASE)
_TITLES = (
    ("rebuilt", re.compile(r"\brebuilt title\b|\btitle:? rebuilt\b", re.IGNORECASE)),
    ("salvage", re.compile(r"\bsalvage\b|\btotal loss\b|\bwritten off\b", re.IGNORECASE)),
    ("buyback", re.compile(r"\bbuyback\b|\bbuy-back\b", re.IGNORECASE)),
)


def comparables_from_adverts(
    text: str, *, currency: str, today: date, name: str = "pasted text"
) -> tuple[Comparable, ...]:
    """Read one car from each block of pasted advert text.

    Blocks are parted by blank lines; without any, each line that holds a price is one. A block with
    two prices, distances or years is refused: which is the car's only the person knows.

    Parameters
    ----------
    text
        The pasted text.
    currency
        Currency of a price that names none. ISO 4217.
    today
        The day it is.
    name
        What the text is called in messages.

    Returns
    -------
    tuple of Comparable
        One per block.

    Raises
    ------
    BadRows
        If blocks cannot be used: each with its line and what is missing. Nothing is half-read.
    """
    found: list[Comparable] = []
    wrong: list[BadEntry] = []
    for line, block in _blocks(text):
        place = f"{name}:{line}"
        try:
            found.append(_car_of(block, currency, today, place))
        except BadEntry as error:
            for entry in getattr(error, "entries", (error,)):
                entry.place = entry.place or place
                wrong.append(entry)
    if wrong:
        raise BadRows(
            wrong,
            f"{name}: {len(wrong)} thing{'' if len(wrong) == 1 else 's'} could not be read; nothing was taken. "
            "Give price, year and distance of one car in each block, with a blank line between cars, "
            "or cells with a header row such as: price, km, year.",
        )
    return tuple(found)


def _blocks(text: str) -> list[tuple[int, str]]:
    """Blocks with the line each begins at."""
    lines = text.splitlines()
    one_a_line = not re.search(r"\S[^\S\n]*\n\s*\n\s*\S", text) and sum(map(_has_price, lines)) > 1
    blocks: list[tuple[int, str]] = []
    fresh = True
    for number, line in enumerate(lines, 1):
        if not line.strip():
            fresh = True
        elif fresh or one_a_line:
            blocks.append((number, line))
            fresh = False
        else:
            blocks[-1] = (blocks[-1][0], blocks[-1][1] + "\n" + line)
    return blocks


def _has_price(line: str) -> bool:
    return _PRICE.search(_DISTANCE.sub(" ; ", line)) is not None


def _car_of(block: str, currency: str, today: date, place: str) -> Comparable:
    first = block.strip().splitlines()[0][:80]
    distances = {f"{m['n']}{'k' if m['k'] else ''} {m['unit']}" for m in _DISTANCE.finditer(block)}
    rest = _DISTANCE.sub(" ; ", block)
    prices = {_money_text(match) for match in _PRICE.finditer(rest)}
    rest = _PRICE.sub(" ; ", rest)
    years = {year for year in _YEAR.findall(rest) if int(year) <= today.year + 1}
    for what, values, field in (("price", prices, "price"), ("year", years, "made_year")):
        if not values:
            raise BadEntry(
                f"No {what} was found in {first!r}. Type it into the text"
                + (", with its currency." if what == "price" else ", four digits."),
                field=field,
                value=first,
                place=place,
            )
    for what, values, field in (
        ("prices", prices, "price"),
        ("distances", distances, "mileage"),
        ("years", years, "made_year"),
    ):
        if len(values) > 1:
            raise BadEntry(
                f"{first!r} holds {len(values)} {what}: {', '.join(sorted(values))}. Leave only the car's own.",
                field=field,
                value=", ".join(sorted(values)),
                place=place,
            )
    cells = {
        "price": prices.pop(),
        "mileage": distances.pop() if distances else "",
        "made_year": years.pop(),
        "kind": "sold" if _SOLD.search(block) else "",
        "title_status": next((status for status, words in _TITLES if words.search(block)), ""),
        "name": first,
    }
    return comparable_from_texts(cells, currency=currency, today=today, origin=place)


def _money_text(match: re.Match[str]) -> str:
    number = match["a"] or match["b"] or match["c"]
    thousands = "k" if match["ka"] or match["kb"] or match["kc"] else ""
    sign = match["before"] or match["after"] or ""
    return f"{sign} {number}{thousands}".strip()
