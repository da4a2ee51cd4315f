"""Similar cars seen for sale: one frozen value, read from a spreadsheet, a paste, a form or an own file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any, Literal, get_args

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, csv_table
from driveout.units import Money, km_from_miles, minor_digits, money_from_text, read_number

Kind = Literal["asking", "sold"]
TitleStatus = Literal["clean", "rebuilt", "salvage", "buyback"]
SCHEMA = "driveout-comparables/1"
MOST_ROWS = 50_000
MOST_KM = 2_000_000
MOST_AGE_YEARS = 130
MOST_BAD_ROWS_SHOWN = 200

# The words people write for each column; compared in lower case without marks.
_COLUMNS: dict[str, tuple[str, ...]] = {
    "price": (
        "price",
        "asking price",
        "asked",
        "ask",
        "amount",
        "preis",
        "prix",
        "precio",
        "prezzo",
        "prijs",
    ),
    "sold_price": ("sold price", "sale price", "sold for"),
    "currency": ("currency", "ccy", "wahrung", "devise", "moneda", "valuta"),
    "mileage_km": (
        *("km", "kms", "mileage km", "kilometers", "kilometres", "kilometer", "odometer km", "kilometrage"),
        *("kilometerstand", "km stand", "kilometros", "chilometri"),
    ),
    "mileage_mi": ("miles", "mi", "mileage mi", "mileage miles", "odometer mi", "odometer miles"),
    "mileage": ("mileage", "odometer", "distance", "clock"),
    "mileage_unit": ("mileage unit", "distance unit", "unit"),
    "made_year": (
        *("year", "model year", "made year", "made", "baujahr", "jahr", "annee", "ano", "anno", "bouwjaar"),
        *("first registration", "mfg year"),
    ),
    "age_years": ("age", "age years", "years", "years old", "alter"),
    "age_months": ("age months", "months", "months old"),
    "kind": ("kind", "type", "asking or sold", "status", "sold"),
    "listed": ("listed", "listed on", "advert date", "published"),
    "seen": ("seen", "date", "date seen", "first seen", "seen on", "datum"),
    "last_seen": ("last seen", "still there"),
    "gone": ("gone", "gone on", "gone since", "vanished"),
    "condition": ("condition", "state", "zustand"),
    "title_status": ("title status", "title", "brand"),
    "options": ("options", "extras", "equipment", "features"),
    "place": ("place", "town", "location", "city", "ort"),
    "name": ("name", "advert", "car", "model", "description", "link", "url"),
}
_BY_HEADER = {word: column for column, words in _COLUMNS.items() for word in words}
TITLE_WORDS: dict[str, TitleStatus] = {
    **dict.fromkeys(("", "clean", "clear", "ok", "normal"), "clean"),
    **dict.fromkeys(("rebuilt", "reconstructed", "restored", "rebuilt salvage"), "rebuilt"),
    **dict.fromkeys(("salvage", "total loss", "written off", "write off", "wreck"), "salvage"),
    **dict.fromkeys(("buyback", "lemon", "manufacturer buyback", "lemon law buyback"), "buyback"),
}
_KIND_WORDS: dict[str, Kind] = {
    **dict.fromkeys(
        ("", "asking", "ask", "asked", "advert", "listed", "for sale", "no", "n", "0", "false"), "asking"
    ),
    **dict.fromkeys(("sold", "sale", "yes", "y", "1", "true"), "sold"),
}


@dataclass(frozen=True, slots=True)
class Comparable:
    """One similar car and what it was asked for or sold at.

    Attributes
    ----------
    price
        Price asked or paid.
    mileage_km
        Distance on the clock; None when the advert does not say. [km]
    made_year, age_years
        Model year, or the age when seen; at least one of them. [years]
    kind
        ``asking`` or ``sold``.
    listed, seen, last_seen, gone
        Day the advert appeared (when known), was first seen, was last seen standing, was first
        found to be gone.
    condition
        Words on its condition.
    title_status
        ``clean``, ``rebuilt``, ``salvage`` or ``buyback``.
    options
        Words for equipment, lower case.
    specs
        Further numbers by name (power, doors) that may move the price.
    place, name
        Where it stands and what the person calls it.
    origin
        ``file:line`` when it came from a file.
    """

    price: Money
    mileage_km: float | None = None
    made_year: int | None = None
    age_years: float | None = None
    kind: Kind = "asking"
    listed: date | None = None
    seen: date | None = None
    last_seen: date | None = None
    gone: date | None = None
    condition: str = ""
    title_status: TitleStatus = "clean"
    options: tuple[str, ...] = ()
    specs: Mapping[str, float] = field(default_factory=dict)
    place: str = ""
    name: str = ""
    origin: str = ""

    def __post_init__(self) -> None:
        wrong = list(_limits(self))
        if len(wrong) == 1:
            raise wrong[0]
        if wrong:
            raise BadRows(wrong)

    def age_on(self, day: date) -> float:
        """Age when it was seen (else on ``day``), in years; a model year counts from its middle."""
        if self.age_years is not None:
            return self.age_years
        return age_of_year(self.made_year or day.year, self.seen or day)

    @property
    def label(self) -> str:
        """Name for a person: the given one, else year, distance and price."""
        if self.name:
            return self.name
        age = str(self.made_year) if self.made_year else f"{self.age_years:.1f} years"
        km = "distance unknown" if self.mileage_km is None else f"{self.mileage_km:,.0f} km"
        return f"{age}, {km}, {self.price.text()}"


@dataclass(frozen=True, slots=True)
class Duplicate:
    """Two comparables that look like the same car."""

    first: int
    second: int
    because: str


def age_of_year(made_year: int, day: date) -> float:
    """Age in years of a car of a model year on a day, counted from the middle of that year, not below 0."""
    return max(day.year + (day.timetuple().tm_yday - 1) / 365.25 - made_year - 0.5, 0.0)


def comparables_from_csv(
    data: bytes, name: str, *, currency: str, today: date, mileage_unit: str = "km"
) -> tuple[Comparable, ...]:
    """Read comparables from a table exported from a spreadsheet.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name, for messages.
    currency
        Currency of prices that carry none. ISO 4217.
    today
        The day it is; nothing may be dated later.
    mileage_unit
        ``km`` or ``mi`` for a distance column that names no unit.

    Returns
    -------
    tuple of Comparable
        In the order of the rows.

    Raises
    ------
    BadRows
        If rows cannot be used: every one with its line and reason. Nothing is half-read.
    BadEntry
        If the table has no price column, neither year nor age, or too many rows.
    """
    table = csv_table(_without_sep_line(data), name)
    if len(table.rows) > MOST_ROWS:
        raise BadEntry(
            f"{name} has {len(table.rows):,} rows; at most {MOST_ROWS:,} are read. Keep the cars most like yours.",
            field="file",
            value=len(table.rows),
            allowed=f"up to {MOST_ROWS:,} rows",
            place=name,
        )
    meaning = _meaning(table.columns, name)
    _drop_false_friends(meaning, [row.cells for row in table.rows])
    found: list[Comparable] = []
    wrong: list[BadEntry] = list(table.bad_rows)
    for row in table.rows:
        place = f"{name}:{row.line}"
        cells: dict[str, str] = {}
        specs: dict[str, str] = {}
        for column, text in row.cells.items():
            to = meaning[column]
            if to.startswith("spec:"):
                specs[to[5:]] = text
            elif to and not cells.get(to):
                cells[to] = text
        try:
            found.append(
                comparable_from_texts(
                    cells,
                    specs,
                    currency=currency,
                    today=today,
                    mileage_unit=mileage_unit,
                    decimal_comma=table.decimal_comma,
                    origin=place,
                )
            )
        except BadRows as error:
            wrong += [_placed(entry, place) for entry in error.entries]
        except BadEntry as error:
            wrong.append(_placed(error, place))
    if wrong:
        shown = sorted(wrong, key=lambda entry: _line_of(entry.place))
        more = len(shown) - MOST_BAD_ROWS_SHOWN
        raise BadRows(
            shown[:MOST_BAD_ROWS_SHOWN],
            f"{name}: {len(wrong)} of {len(table.rows) + len(table.bad_rows)} rows cannot be used; nothing was taken. "
            "Correct or delete them." + (f" The first {MOST_BAD_ROWS_SHOWN} are shown." if more > 0 else ""),
        )
    if not found:
        raise BadEntry(
            f"{name} has a header but no rows. Add one row per car.", field="file", place=f"{name}:1"
        )
    return tuple(found)


def comparables_from_paste(
    text: str, *, currency: str, today: date, mileage_unit: str = "km"
) -> tuple[Comparable, ...]:
    """Read comparables pasted from a spreadsheet (tabs) or typed as CSV; same rules as the file."""
    if not text.strip():
        raise BadEntry("Nothing was pasted. Copy the cells with their header row.", field="paste")
    return comparables_from_csv(
        text.encode(), "pasted text", currency=currency, today=today, mileage_unit=mileage_unit
    )


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


def duplicates(comparables: Sequence[Comparable]) -> tuple[Duplicate, ...]:
    """Pairs that look like one car seen twice: same name or link, or same price, age and distance.

    Parameters
    ----------
    comparables
        The cars.

    Returns
    -------
    tuple of Duplicate
        Positions of the first and the later one, with the reason in words.
    """
    first_by_key: dict[tuple[Any, ...], int] = {}
    pairs: list[Duplicate] = []
    for i, car in enumerate(comparables):
        km = None if car.mileage_km is None else round(car.mileage_km)
        keys: list[tuple[tuple[Any, ...], str]] = []
        if km is not None and km > 100 and len(car.name) > 3:
            keys.append(
                (("name", car.name.casefold(), km), f"both are called {car.name!r} with the same distance")
            )
        if km is not None and km % 1000:
            # A distance written to the kilometre is nearly a fingerprint; 120,000 km is not.
            keys.append(
                (
                    ("km", km, car.made_year, car.age_years),
                    f"same year and distance to the kilometre, {km:,} km",
                )
            )
        if km is not None:
            keys.append(
                (
                    ("all", km, car.made_year, car.age_years, car.price.minor, car.place.casefold()),
                    "same price, year, distance and place",
                )
            )
        for key, because in keys:
            if key in first_by_key:
                pairs.append(Duplicate(first_by_key[key], i, because))
                break
        for key, _ in keys:
            first_by_key.setdefault(key, i)
    return tuple(pairs)


def without_duplicates(
    comparables: Sequence[Comparable],
) -> tuple[tuple[Comparable, ...], tuple[str, ...]]:
    """Comparables with each car once (the last sighting stays), and sentences on those left out."""
    pairs = duplicates(comparables)
    dropped = {pair.first: pair for pair in pairs}
    kept = tuple(car for i, car in enumerate(comparables) if i not in dropped)
    if len(dropped) > 3:
        i, pair = next(iter(dropped.items()))
        return kept, (
            f"{len(dropped)} comparables look like another one seen again and count once, "
            f"for example {comparables[i].label}: {pair.because}.",
        )
    said = tuple(
        f"{comparables[i].label} counts once: {pair.because}; the later sighting is used."
        for i, pair in sorted(dropped.items())
    )
    return kept, said


def _limits(car: Comparable) -> list[BadEntry]:
    wrong = []
    if car.price.minor <= 0:
        wrong.append(
            BadEntry(
                f"The price {car.price.text()} is not above 0. Type the price that was asked or paid.",
                field="price",
                value=car.price.text(),
                allowed="above 0",
            )
        )
    if car.made_year is None and car.age_years is None:
        wrong.append(
            BadEntry(
                "Neither year nor age is given. One of them is needed to compare.",
                field="made_year",
                allowed="a year such as 2013, or an age in years",
            )
        )
    if car.made_year is not None and not 1886 <= car.made_year <= 9999:
        wrong.append(
            BadEntry(
                f"The year {car.made_year} is before the first car.",
                field="made_year",
                value=car.made_year,
                allowed="1886 or later",
            )
        )
    if car.age_years is not None and not 0 <= car.age_years <= MOST_AGE_YEARS:
        wrong.append(
            BadEntry(
                f"The age {car.age_years:g} years is outside 0 to {MOST_AGE_YEARS}. Give it in years.",
                field="age_years",
                value=car.age_years,
                allowed=f"0 to {MOST_AGE_YEARS} years",
            )
        )
    if car.mileage_km is not None and not 0 <= car.mileage_km <= MOST_KM:
        wrong.append(
            BadEntry(
                f"The distance {car.mileage_km:,.0f} km is outside 0 to {MOST_KM:,} km. Read the advert again.",
                field="mileage_km",
                value=car.mileage_km,
                allowed=f"0 to {MOST_KM:,} km",
            )
        )
    days = [
        (name, day)
        for name, day in (
            ("listed", car.listed),
            ("seen", car.seen),
            ("last seen", car.last_seen),
            ("gone", car.gone),
        )
        if day is not None
    ]
    for (early_name, early), (late_name, late) in pairwise(days):
        if late < early:
            wrong.append(
                BadEntry(
                    f"The day {late_name} ({late.isoformat()}) is before the day {early_name} ({early.isoformat()}). "
                    "Correct one of them.",
                    field=late_name.replace(" ", "_"),
                    value=late.isoformat(),
                )
            )
    return wrong


def _plain(header: str) -> str:
    folded = header.casefold().translate(str.maketrans("äöüéèàñô", "aoueeano"))
    return re.sub(r"[^a-z0-9]+", " ", folded).strip()


def _meaning(columns: Sequence[str], name: str) -> dict[str, str]:
    """What each column of the file stands for; an unknown one stands for nothing."""
    meaning: dict[str, str] = {}
    for column in columns:
        plain = _plain(column)
        if plain.startswith("spec ") and len(plain) > 5:
            meaning[column] = "spec:" + plain[5:]
            continue
        unit = re.search(r"[(\[]\s*(km|mi|miles|[A-Za-z]{3})\s*[)\]]", column)
        bare = _plain(re.sub(r"[(\[].*?[)\]]", "", column))
        found = _BY_HEADER.get(plain) or _BY_HEADER.get(bare, "")
        if found == "mileage" and unit:
            found = "mileage_km" if unit.group(1).lower() == "km" else "mileage_mi"
        meaning[column] = found
    has = set(meaning.values())
    if not has & {"price", "sold_price"}:
        raise BadEntry(
            f"{name} has no price column. Its columns are: {', '.join(columns)[:200]}.",
            field="price",
            allowed="a column called price",
            fix="Name the columns in the first row, for example: price, km, year.",
            place=f"{name}:1",
        )
    if not has & {"made_year", "age_years", "age_months"}:
        raise BadEntry(
            f"{name} has neither a year nor an age column. Its columns are: {', '.join(columns)[:200]}.",
            field="made_year",
            allowed="a column called year or age",
            fix="Add one; without it cars of different age cannot be compared.",
            place=f"{name}:1",
        )
    return meaning


def _drop_false_friends(meaning: dict[str, str], rows: Sequence[Mapping[str, str]]) -> None:
    """A column "title" may hold the advert's headline, "type" or "status" anything: believe the cells."""
    for column, to in meaning.items():
        cells = {row.get(column, "").casefold().strip().replace("-", " ") for row in rows}
        if to == "title_status" and _plain(column) == "title" and not cells <= set(TITLE_WORDS):
            meaning[column] = "name"
        if to == "kind" and _plain(column) in ("type", "status") and not cells <= set(_KIND_WORDS):
            meaning[column] = ""


def _placed(entry: BadEntry, place: str) -> BadEntry:
    entry.place = entry.place or f"{place} {entry.field}".strip()
    return entry


def _line_of(place: str) -> int:
    match = re.search(r":(\d+)", place)
    return int(match.group(1)) if match else 0


def _without_sep_line(data: bytes) -> bytes:
    """Drop the line ``sep=;`` that one spreadsheet program writes before the header."""
    return re.sub(rb"\A(\xef\xbb\xbf)?sep=.\r?\n", b"", data)


def _as_text(value: Any) -> str:
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return ", ".join(str(item) for item in value)
    return str(value)


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
    if words not in _KIND_WORDS:
        raise BadEntry(
            f"{text[:40]!r} is neither asking nor sold.",
            field="kind",
            value=text[:40],
            allowed=", ".join(get_args(Kind)),
        )
    return _KIND_WORDS[words]


def _not_a_title(text: str) -> BadEntry:
    return BadEntry(
        f"The title status {text[:40]!r} is not known.",
        field="title_status",
        value=text[:40],
        allowed=", ".join(get_args(TitleStatus)),
        fix="Leave it empty when the advert does not say.",
    )
