"""Many adverts at once: rows of a table weighed one by one and put in order, each with its reason.

Each row's numbers depend on that row and the setting alone, so they are the same whatever
number of workers shares the rows. Only the last step, pulling unsure estimates towards their
common mean before they are ranked, looks at all rows together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from driveout.errors import BadEntry, BadRows, CannotSay
from driveout.files import Row, Table
from driveout.hunt.advert import (
    DRIVES,
    GEARBOXES,
    RUNNING,
    TITLES,
    Advert,
    MoneyRange,
    Symptom,
    amount,
    held_to_today,
    nearest_names,
)
from driveout.hunt.advert_file import length_km
from driveout.hunt.order import shrunk
from driveout.hunt.reader import read_advert
from driveout.hunt.screen import screened
from driveout.hunt.setting import Setting
from driveout.hunt.weigh import weigh
from driveout.units import Money, km_from_miles, money_from_text, read_number

# Column of the table -> fact; several spellings of a heading mean one column.
_HEADINGS: dict[str, str] = {
    "name": "name",
    "title_line": "name",
    "car": "name",
    "asking": "asking",
    "price": "asking",
    "asking_price": "asking",
    "currency": "currency",
    "made_year": "made_year",
    "year": "made_year",
    "mileage": "mileage",
    "mileage_km": "mileage_km",
    "km": "mileage_km",
    "mileage_mi": "mileage_mi",
    "miles": "mileage_mi",
    "title": "title",
    "runs": "runs",
    "gearbox": "gearbox",
    "drive": "drive",
    "value": "value_likely",
    "value_low": "value_low",
    "value_likely": "value_likely",
    "value_high": "value_high",
    "symptoms": "symptoms",
    "denied": "denied",
    "distance": "distance",
    "distance_km": "distance_km",
    "place": "place",
    "text": "text",
    "advert": "text",
}
GRID_POINTS = 1024
VERDICTS = ("buy", "haggle", "look closer", "walk", "no price", "cannot say")
# One value given: low and high are taken this far from it (common practice, no source).
ONE_VALUE_SPREAD = (0.88, 1.12)


@dataclass(frozen=True, slots=True)
class Sifted:
    """One advert weighed, in plain numbers. Money in whole minor units of ``currency``.

    Attributes
    ----------
    line
        Line of the table the advert stands in.
    name, currency, asking
        As in the table.
    verdict
        ``buy``, ``haggle``, ``walk``, ``no price`` or ``cannot say``; ``look closer`` when only
        the first look at many adverts was taken and the price may be within the rules.
    is_close
        Whether it was weighed by every rule, or only looked at by the chance of a loss.
    walk_away
        Walk-away price, None when it cannot be said.
    binding
        The rule that sets it.
    profit_low, profit_middle, profit_high
        P10, median, P90 of the cash profit at the asking price (before any price without one).
    loss_chance
        Chance of a cash loss.
    hours
        Own hours on average. [h]
    gain, gain_error
        Expected profit with own hours at the wage, and how far the estimate may be off: the
        standard deviation of the value of the mended car, which is an estimate of each row.
    cause, cause_chance
        What weighs most among the probable faults.
    reason
        Why, in sentences.
    """

    line: int
    name: str
    currency: str
    asking: int | None
    verdict: str
    is_close: bool = True
    walk_away: int | None = None
    binding: str = ""
    profit_low: int | None = None
    profit_middle: int | None = None
    profit_high: int | None = None
    loss_chance: float | None = None
    hours: float | None = None
    gain: float | None = None
    gain_error: float | None = None
    cause: str = ""
    cause_chance: float | None = None
    reason: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a file between runs."""
        return asdict(self)


def adverts_of_table(
    table: Table, setting: Setting, *, today: date, value: MoneyRange | None = None
) -> tuple[list[tuple[int, Advert]], list[BadEntry]]:
    """The adverts of a table, and everything that is wrong with its rows.

    Parameters
    ----------
    table
        Read from a CSV file.
    setting
        Tells the phrases and findings in use.
    today
        Today on the person's calendar.
    value
        Value of a clean car for rows that give none.

    Returns
    -------
    tuple[list[tuple[int, Advert]], list[BadEntry]]
        Line and advert of each usable row, and the refusals of the others.

    Raises
    ------
    BadEntry
        If no column is known.
    """
    columns = {column: fact for column in table.columns if (fact := _HEADINGS.get(_heading(column)))}
    if not columns:
        raise BadEntry(
            f"{table.name} has the columns {', '.join(table.columns[:12])}; none is known. Name the columns "
            "text, or asking, made_year, mileage, symptoms, value and so on.",
            field="columns",
            value=", ".join(table.columns[:12]),
            allowed=", ".join(sorted(set(_HEADINGS.values()))),
            place=f"{table.name}:1",
        )
    adverts: list[tuple[int, Advert]] = []
    wrong: list[BadEntry] = list(table.bad_rows)
    for row in table.rows:
        facts = {fact: row.cells.get(column, "") for column, fact in columns.items() if row.cells.get(column)}
        try:
            adverts.append((row.line, _advert(facts, table, setting, today, value)))
        except BadRows as many:
            wrong += [_placed(entry, table, row) for entry in many.entries]
        except BadEntry as error:
            wrong.append(_placed(error, table, row))
    return adverts, wrong


def sifted(line: int, advert: Advert, setting: Setting) -> Sifted:
    """One advert weighed.

    Parameters
    ----------
    line
        Line of the table.
    advert
        The advert.
    setting
        Rules and knowledge.

    Returns
    -------
    Sifted
        Its numbers; ``cannot say`` with the reason when something is missing.
    """
    asking = None if advert.asking is None else advert.asking.minor
    start = Sifted(line, advert.name, advert.currency, asking, "cannot say")
    try:
        weighing = weigh(
            advert,
            setting.rules,
            setting.network_of(advert),
            setting.repairs_of(advert),
            facts=setting.facts,
            with_swings=False,
            points=GRID_POINTS,
        )
    except (CannotSay, BadEntry) as error:
        return replace(start, reason=error.message)
    outlook, charged = weighing.outlook, weighing.outlook.charged
    price = 0.0 if asking is None else asking * outlook.price_factor
    cause = weighing.causes[0] if weighing.causes else None
    return replace(
        start,
        verdict=weighing.verdict,
        walk_away=weighing.ceiling.money.minor,
        binding=weighing.ceiling.binding,
        profit_low=round(outlook.profit.low),
        profit_middle=round(outlook.profit.middle),
        profit_high=round(outlook.profit.high),
        loss_chance=round(outlook.loss_chance, 4),
        hours=round(outlook.hours.mean, 1),
        gain=round(charged.mean - price, 2),
        gain_error=round(math.sqrt(max(charged.resale.variance, 0.0)), 2),
        cause="" if cause is None else cause.name,
        cause_chance=None if cause is None else round(cause.chance, 4),
        reason=" ".join(weighing.why[:2]),
    )


def first_look(
    chunk: Table, setting: Setting, today: date, value: MoneyRange | None = None
) -> tuple[list[Sifted], list[BadEntry]]:
    """Read one piece of a very long table and look at each advert by the loss rule alone.

    Parameters
    ----------
    chunk
        Piece of a table.
    setting
        Rules and knowledge.
    today
        Today on the person's calendar.
    value
        Value of a clean car for rows that give none.

    Returns
    -------
    tuple[list[Sifted], list[BadEntry]]
        A rough row each, and what is wrong with the others.
    """
    adverts, wrong = adverts_of_table(chunk, setting, today=today, value=value)
    prices = screened([advert for _, advert in adverts], setting)
    return [
        _looked_at(line, advert, price, setting)
        for (line, advert), price in zip(adverts, prices, strict=True)
    ], wrong


def _looked_at(line: int, advert: Advert, price: float | None, setting: Setting) -> Sifted:
    asking = None if advert.asking is None else advert.asking.minor
    start = Sifted(line, advert.name, advert.currency, asking, "cannot say", is_close=False)
    if price is None:
        return sifted(line, advert, setting)  # says at once what is missing
    limit = math.floor(max(price, 0.0))
    share = 100 * setting.rules.loss_chance
    roughly = f"Roughly: above {Money(limit, advert.currency).text()} a loss comes more often than in {share:g} of 100 cases."
    verdict = "no price" if asking is None else "look closer" if asking <= limit else "walk"
    return replace(start, verdict=verdict, walk_away=limit, binding="loss", reason=roughly)


def worth_a_closer_look(rows: Sequence[Sifted], most: int) -> list[int]:
    """Lines of the rows with most room between the rough limit and the asked price, best first."""
    told = [r for r in rows if r.walk_away is not None and r.asking is not None and not r.is_close]
    told.sort(key=lambda r: ((r.asking or 0) - (r.walk_away or 0), r.line))
    return [r.line for r in told[:most]]


def ranked(rows: Sequence[Sifted]) -> list[tuple[Sifted, float | None]]:
    """Rows in the order worth looking at, with the gain that is left after shrinking.

    Adverts within the rules come first, then those worth an offer, then the rest; inside each
    the expected gain decides, after unsure estimates were pulled towards the mean of all: the
    best of many estimates is too good on average (optimiser's curse).

    Parameters
    ----------
    rows
        All weighed rows.

    Returns
    -------
    list[tuple[Sifted, float | None]]
        Row and shrunk gain in minor units, best first.

    References
    ----------
    smith-winkler-2006.
    """
    pulled: dict[int, float] = {}
    for currency in sorted({r.currency for r in rows}):
        told = [r for r in rows if r.currency == currency and r.gain is not None and r.asking is not None]
        gains = shrunk([r.gain or 0.0 for r in told], [r.gain_error or 0.0 for r in told]) if told else ()
        pulled |= {r.line: gain for r, gain in zip(told, gains, strict=True)}
    order = sorted(
        rows,
        key=lambda r: (VERDICTS.index(r.verdict), not r.is_close, -pulled.get(r.line, _room(r)), r.line),
    )
    return [(r, pulled.get(r.line)) for r in order]


CHUNK_ROWS = 20
FIRST_LOOK_ROWS = 2000
CLOSELY = 200  # adverts of a long table that are weighed by every rule


def chunks_of(table: Table, size: int = CHUNK_ROWS) -> list[Table]:
    """The table in pieces of a fixed size, so that pieces do not depend on the number of workers."""
    return [
        replace(table, rows=table.rows[k : k + size], bad_rows=()) for k in range(0, len(table.rows), size)
    ]


def sift_chunk(
    chunk: Table, setting: Setting, today: date, value: MoneyRange | None = None
) -> tuple[list[Sifted], list[BadEntry]]:
    """Read and weigh one piece of a table.

    Parameters
    ----------
    chunk
        Piece of a table.
    setting
        Rules and knowledge.
    today
        Today on the person's calendar.
    value
        Value of a clean car for rows that give none.

    Returns
    -------
    tuple[list[Sifted], list[BadEntry]]
        Weighed rows, and what is wrong with the others.
    """
    adverts, wrong = adverts_of_table(chunk, setting, today=today, value=value)
    return [sifted(line, advert, setting) for line, advert in adverts], wrong


def _room(row: Sifted) -> float:
    return -math.inf if row.walk_away is None else float(row.walk_away - (row.asking or 0))


RESULT_COLUMNS = (
    "rank",
    "line",
    "name",
    "verdict",
    "weighed",
    "asking",
    "walk_away",
    "room",
    "currency",
    "binding_rule",
    "profit_p10",
    "profit_median",
    "profit_p90",
    "loss_chance",
    "own_hours",
    "expected_gain",
    "expected_gain_shrunk",
    "main_fault",
    "main_fault_chance",
    "reason",
)


def result_rows(rows: Sequence[Sifted]) -> list[list[str]]:
    """The result table, header first, every cell safe to open in a spreadsheet.

    Parameters
    ----------
    rows
        All weighed rows.

    Returns
    -------
    list[list[str]]
        Cells of `RESULT_COLUMNS`.
    """
    out = [list(RESULT_COLUMNS)]
    for rank, (r, pulled) in enumerate(ranked(rows), 1):
        room = None if r.asking is None or r.walk_away is None else r.walk_away - r.asking
        out.append(
            [
                str(rank),
                str(r.line),
                safe_cell(r.name),
                r.verdict,
                "closely" if r.is_close else "first look",
                _plain(r.asking, r.currency),
                _plain(r.walk_away, r.currency),
                _plain(room, r.currency),
                r.currency,
                r.binding,
                _plain(r.profit_low, r.currency),
                _plain(r.profit_middle, r.currency),
                _plain(r.profit_high, r.currency),
                "" if r.loss_chance is None else f"{r.loss_chance:.4f}",
                "" if r.hours is None else f"{r.hours:.1f}",
                _plain(None if r.gain is None else round(r.gain), r.currency),
                _plain(None if pulled is None else round(pulled), r.currency),
                safe_cell(r.cause),
                "" if r.cause_chance is None else f"{r.cause_chance:.4f}",
                safe_cell(r.reason),
            ]
        )
    return out


def safe_cell(text: str) -> str:
    """A text that no spreadsheet takes for a formula: a leading sign is set behind an apostrophe.

    References
    ----------
    owasp-asvs-5 (requirement 1.2.10).
    """
    flat = text.replace("\r", " ").replace("\n", " ").replace("\x00", "")
    return "'" + flat if flat[:1] in ("=", "+", "-", "@", "\t", "|", "%") else flat


def _plain(minor: int | None, currency: str) -> str:
    return "" if minor is None else f"{Money(minor, currency).major:f}"


def _heading(column: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", column.strip().lower()).strip("_")


def _placed(error: BadEntry, table: Table, row: Row) -> BadEntry:
    return BadEntry(
        error.message,
        field=error.field,
        value=error.value,
        allowed=error.allowed,
        fix=error.fix,
        place=f"{table.name}:{row.line}" + (f" {error.field}" if error.field else ""),
    )


def _advert(
    facts: Mapping[str, str], table: Table, setting: Setting, today: date, value: MoneyRange | None
) -> Advert:
    """Text first, then every filled column over it."""
    currency = facts.get("currency", "").strip().upper() or setting.rules.currency
    read = Advert(currency=currency)
    if facts.get("text"):
        found = read_advert(facts["text"], phrases=setting.phrases, today_year=today.year, currency=currency)
        read = found.advert()
        currency = read.currency if "asking" not in facts else currency
        if read.asking is not None and read.asking.currency != currency:
            read = replace(read, asking=None, currency=currency)
    wrong: list[BadEntry] = []
    changes: dict[str, Any] = {}
    for fact, cell in facts.items():
        try:
            changes |= _fact(fact, cell, currency, table.decimal_comma, setting)
        except BadEntry as error:
            wrong.append(error if error.field else replace_field(error, fact))
    low, likely, high = (changes.pop(f"value_{point}", None) for point in ("low", "likely", "high"))
    try:
        changes["clean_value"] = _value(low, likely, high, currency) or value
    except BadEntry as error:
        wrong.append(error)
    symptoms = (*changes.pop("symptoms", ()), *changes.pop("denied", ()), *read.symptoms)
    if wrong:
        raise wrong[0] if len(wrong) == 1 else BadRows(wrong)
    return held_to_today(replace(read, **changes, symptoms=symptoms), today)


def replace_field(error: BadEntry, field: str) -> BadEntry:
    """The same refusal with the name of its field."""
    return BadEntry(error.message, field=field, value=error.value, allowed=error.allowed, fix=error.fix)


def _fact(fact: str, cell: str, currency: str, comma: bool | None, setting: Setting) -> dict[str, Any]:
    if fact in ("asking", "value_low", "value_likely", "value_high"):
        return {fact: _cell_money(fact, cell, currency, comma)}
    if fact in ("mileage_km", "mileage_mi"):
        figure = float(read_number(re.sub(r"(?i)\s*(km|mi|miles)\.?\s*$", "", cell)))
        return {"mileage_km": round(figure if fact == "mileage_km" else km_from_miles(figure))}
    if fact == "mileage":
        return {"mileage_km": round(length_km(cell, "mileage"))}
    if fact == "distance":
        return {"distance_km": length_km(cell, "distance")}
    if fact == "distance_km":
        return {"distance_km": float(read_number(re.sub(r"(?i)\s*km\s*$", "", cell), comma))}
    if fact == "made_year":
        if not re.fullmatch(r"\d{4}(\.0+)?", cell.strip()):
            raise BadEntry(
                f'The year is "{cell[:40]}"; four digits were expected, such as 2013.',
                field="made_year",
                value=cell[:40],
                allowed="a year",
            )
        return {"made_year": int(cell.strip()[:4])}
    for name, allowed in (("title", TITLES), ("runs", RUNNING), ("gearbox", GEARBOXES), ("drive", DRIVES)):
        if fact == name:
            return {name: _word(name, cell, allowed)}
    if fact in ("symptoms", "denied"):
        return {fact: _findings(fact, cell, setting)}
    if fact in ("name", "place"):
        return {fact: cell[:200]}
    return {}


def _cell_money(fact: str, cell: str, currency: str, comma: bool | None) -> Money:
    plain = cell.strip()
    if re.fullmatch(r"-?[\d.,'\s]+", plain):
        return amount(
            read_number(plain, comma if not re.search(r"[.,]\d{3}$", plain) else None), currency, fact
        )
    money = money_from_text(plain, currency)
    if money.currency != currency:
        raise BadEntry(
            f"{fact} is in {money.currency}, the row in {currency}. Name the currency in its column.",
            field=fact,
            value=cell[:40],
            allowed=currency,
        )
    return money


def _word(name: str, cell: str, allowed: tuple[str, ...]) -> str:
    low = cell.strip().lower()
    if low not in allowed:
        choice = ", ".join(allowed)
        raise BadEntry(
            f'{name} is "{cell[:40]}"; expected one of {choice}.', field=name, value=cell[:40], allowed=choice
        )
    return low


def _findings(fact: str, cell: str, setting: Setting) -> tuple[Symptom, ...]:
    known = {finding for finding, _ in setting.phrases}
    out = []
    for name in re.split(r"[;|,\s]+", cell.strip()):
        if not name:
            continue
        if name not in known:
            near = nearest_names(name, known)
            hint = (
                f"Did you mean {' or '.join(near)}?"
                if near
                else "Write its words in the column text instead."
            )
            raise BadEntry(
                f'There is no symptom "{name}". {hint}',
                field=fact,
                value=name[:60],
                allowed=", ".join(near),
                fix=hint,
            )
        out.append(Symptom(name, "yes" if fact == "symptoms" else "no"))
    return tuple(out)


def _value(low: Money | None, likely: Money | None, high: Money | None, currency: str) -> MoneyRange | None:
    if low is None and likely is None and high is None:
        return None
    if likely is None:
        raise BadEntry(
            "A lowest or highest value is given without the likely one. Fill the column value.",
            field="value_likely",
            allowed="value, or value_low, value_likely and value_high",
        )
    down, up = (round(likely.minor * share) for share in ONE_VALUE_SPREAD)
    return MoneyRange(
        Money(down, currency) if low is None else low, likely, Money(up, currency) if high is None else high
    )
