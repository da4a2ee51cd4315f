"""What a seller publishes, as plain facts that the rest of the program can weigh.

Two kinds of limit. A *hard* limit is a value no car can have (a negative price, nine
million kilometres): it is refused. A *soft* limit is a value that is possible but more
often a slip of the finger (a year 40 years back, a price of 12): it is asked about.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, Literal, get_args

from rapidfuzz import fuzz, process

from driveout.errors import BadEntry, BadRows
from driveout.faults import SILENT, SUPPOSED
from driveout.uncertain import ThreePoint
from driveout.units import Money, minor_digits

Title = Literal["clean", "rebuilt", "salvage", "none", "unknown"]
Running = Literal["runner", "sick", "dead"]
Said = Literal["yes", "no"]
Gearbox = Literal["manual", "auto", "cvt", "dct"]
Drive = Literal["fwd", "rwd", "awd"]

TITLES: tuple[str, ...] = get_args(Title)
RUNNING: tuple[str, ...] = get_args(Running)
GEARBOXES: tuple[str, ...] = get_args(Gearbox)
DRIVES: tuple[str, ...] = get_args(Drive)

# Hard limits (common practice, no source): nothing on four wheels lies outside them.
FIRST_CAR_YEAR = 1886  # Benz patent motor car, from memory
MOST_KM = 2_500_000
MOST_ASKING = Decimal(10_000_000)
# Currencies of which a car takes millions (from memory): their limit is a thousand times higher.
SMALL_UNITS = frozenset(
    [
        "AMD",
        "ARS",
        "BIF",
        "CLP",
        "COP",
        "CRC",
        "GNF",
        "HUF",
        "IDR",
        "IQD",
        "IRR",
        "ISK",
        "JPY",
        "KHR",
        "KRW",
        "KZT",
        "LAK",
        "LBP",
        "MMK",
        "MNT",
        "NGN",
        "PKR",
        "PYG",
        "RSD",
        "RUB",
        "RWF",
        "SLL",
        "TZS",
        "UGX",
        "UZS",
        "VND",
        "XAF",
        "XOF",
        "YER",
        "ZMW",
    ]
)
MOST_DISTANCE_KM = 20_000.0
LONGEST_TEXT = 20_000  # letters of advert text that are kept

# Soft limits (common practice, no source): beyond them the person is asked once more.
UNUSUAL_KM = 500_000
UNUSUAL_AGE_YEARS = 40
UNUSUAL_KM_A_YEAR = 60_000
UNUSUAL_LOW_ASKING = Decimal(50)
UNUSUAL_DISTANCE_KM = 500.0


@dataclass(frozen=True, slots=True)
class MoneyRange:
    """A money estimate in three points: low = 10 %, likely = mode, high = 90 %."""

    low: Money
    likely: Money
    high: Money

    def __post_init__(self) -> None:
        """Refuse mixed currencies, values under 0 and points out of order."""
        if len({self.low.currency, self.likely.currency, self.high.currency}) > 1:
            raise BadEntry(
                "The three points are in different currencies: give all in one currency.",
                field="clean_value",
            )
        if not 0 <= self.low.minor <= self.likely.minor <= self.high.minor:
            raise BadEntry(
                f"{self.low.text()}, {self.likely.text()}, {self.high.text()} are not in order from "
                "low over likely to high, all at least 0. Swap them.",
                field="clean_value",
                value=[p.text() for p in (self.low, self.likely, self.high)],
                allowed="0 <= low <= likely <= high",
            )

    @property
    def currency(self) -> str:
        """The currency the three points share."""
        return self.likely.currency

    def three_point(self) -> ThreePoint:
        """The same range as plain numbers in major units."""
        return ThreePoint(float(self.low.major), float(self.likely.major), float(self.high.major))


@dataclass(frozen=True, slots=True)
class Symptom:
    """One finding the advert names.

    Attributes
    ----------
    finding
        Identifier of the finding in the fault network.
    said
        ``yes`` the advert says it is there, ``no`` the advert says it is not.
        A finding the advert does not name is simply not in the list.
    hedged
        True when the seller only supposes it ("might need", "I think").
    words
        The words that led to it, or empty when the person ticked it.
    """

    finding: str
    said: Said = "yes"
    hedged: bool = False
    words: str = ""

    @property
    def counts_as(self) -> str:
        """Label of the evidence: a guess is ``supposed``, a denial that is a guess tells nothing."""
        if self.hedged:
            return SUPPOSED if self.said == "yes" else SILENT
        return self.said


@dataclass(frozen=True, slots=True)
class Seller:
    """What the advert says about who sells; ``None`` means it says nothing."""

    name: str = ""
    is_owner: bool | None = None
    has_title_in_hand: bool | None = None
    is_trade: bool | None = None


@dataclass(frozen=True, slots=True)
class Advert:
    """The facts of one advert; everything may be missing except the currency.

    Attributes
    ----------
    name
        What the person calls the car ("Linnet 1.4, Brackenford").
    currency
        ISO 4217 code of every amount here.
    asking
        The price the seller asks, or None when the advert gives none.
    made_year
        Model year or year of make.
    mileage_km
        Distance on the clock. [km]
    title
        What the advert says of the title; ``unknown`` when silent.
    runs
        ``runner`` it drives, ``sick`` it starts but has a serious running fault,
        ``dead`` it does not run; None when the advert does not say.
    gearbox, drive, is_turbo
        Build of the car, as far as the advert tells it.
    clean_value
        What the same car without its faults sells for privately, typed by the person
        or drawn from comparables.
    symptoms
        Findings the advert names, present or denied.
    traps
        Identifiers of the warnings the words gave rise to.
    extras
        Named extras that carry value ("new battery").
    seller
        Facts about who sells.
    place, distance_km
        Where the car stands and how far that is, one way. [km]
    seen_on
        Day the advert was read.
    text
        The advert as it was published.
    """

    name: str = ""
    currency: str = "USD"
    asking: Money | None = None
    made_year: int | None = None
    mileage_km: int | None = None
    title: Title = "unknown"
    runs: Running | None = None
    gearbox: Gearbox | None = None
    drive: Drive | None = None
    is_turbo: bool | None = None
    clean_value: MoneyRange | None = None
    symptoms: tuple[Symptom, ...] = ()
    traps: tuple[str, ...] = ()
    extras: tuple[str, ...] = ()
    seller: Seller = field(default_factory=Seller)
    place: str = ""
    distance_km: float | None = None
    seen_on: date | None = None
    text: str = ""

    def __post_init__(self) -> None:
        """Hold every value to its hard limits; collect all that is wrong."""
        wrong = [entry for check in _HARD for entry in check(self)]
        if len(wrong) == 1:
            raise wrong[0]
        if wrong:
            raise BadRows(wrong)

    @property
    def evidence(self) -> dict[str, str]:
        """Finding -> ``yes``, ``no`` or what a guess counts as; the first mention of a finding counts."""
        return {s.finding: s.counts_as for s in reversed(self.symptoms)}

    @property
    def hedged(self) -> frozenset[str]:
        """Findings the seller only supposes."""
        return frozenset(s.finding for s in self.symptoms if s.hedged)

    @property
    def build(self) -> dict[str, Any]:
        """What the fault network wants to know of the car, in its words; unknowns are left out."""
        known = {
            "mileage_km": self.mileage_km,
            "gearbox": self.gearbox,
            "drive": self.drive,
            "turbo": self.is_turbo,
        }
        return {key: value for key, value in known.items() if value is not None}

    @property
    def prior_class(self) -> Running:
        """Class whose starting chances of faults apply; a silent advert counts as ``runner``."""
        return self.runs or "runner"


@dataclass(frozen=True, slots=True)
class Question:
    """A value that is possible but unusual, to be confirmed by the person."""

    field: str
    value: str
    text: str


def held_to_today(advert: Advert, today: date) -> Advert:
    """The same advert, refused when its year or day lies in the future.

    Parameters
    ----------
    advert
        The advert to look at.
    today
        The day it is on the person's calendar.

    Returns
    -------
    Advert
        The advert unchanged.

    Raises
    ------
    BadEntry
        If the year is later than next year (next year's models are sold this year), or
        the day it was seen is after today.
    """
    wrong = later_than_today(advert.made_year, advert.seen_on, today)
    if wrong:
        raise wrong[0] if len(wrong) == 1 else BadRows(wrong)
    return advert


def later_than_today(made_year: int | None, seen_on: date | None, today: date) -> list[BadEntry]:
    """What is wrong with a year or a day because it lies in the future; empty when nothing is.

    Next year's models are sold this year, so the next year is still possible.
    """
    wrong = []
    latest = today.year + 1
    if made_year is not None and made_year > latest:
        wrong.append(
            BadEntry(
                f"The year {made_year} is in the future; the latest possible is {latest}. "
                "Correct the year or leave it out.",
                field="made_year",
                value=made_year,
                allowed=f"{FIRST_CAR_YEAR} to {latest}",
                fix="Correct the year or leave it out.",
            )
        )
    if seen_on is not None and seen_on > today:
        wrong.append(
            BadEntry(
                f"The advert is said to be seen on {seen_on.isoformat()}, which is after today, "
                f"{today.isoformat()}. Correct the day.",
                field="seen_on",
                value=seen_on.isoformat(),
                allowed=f"up to {today.isoformat()}",
                fix="Correct the day.",
            )
        )
    return wrong


def unusual(advert: Advert, today: date) -> tuple[Question, ...]:
    """Values that are possible but more often a slip; the person confirms or corrects them.

    Parameters
    ----------
    advert
        The advert to look at.
    today
        The day it is on the person's calendar.

    Returns
    -------
    tuple[Question, ...]
        One question per unusual value, empty when all look ordinary.
    """
    asked: list[Question] = []
    km, year = advert.mileage_km, advert.made_year
    if km is not None and km > UNUSUAL_KM:
        asked.append(
            Question("mileage_km", f"{km} km", f"{km:,} km is rare. Is it right, and is it km, not miles?")
        )
    if year is not None:
        age = max(today.year - year, 1)
        if age > UNUSUAL_AGE_YEARS:
            asked.append(
                Question("made_year", str(year), f"A car of {year} is {age} years old. Is the year right?")
            )
        if year > today.year:
            asked.append(Question("made_year", str(year), f"{year} is next year's model. Is the year right?"))
        if km is not None and km <= UNUSUAL_KM and km > UNUSUAL_KM_A_YEAR * age:
            asked.append(
                Question(
                    "mileage_km",
                    f"{km} km",
                    f"{km:,} km in {age} year(s) is a lot. Are year and distance right?",
                )
            )
    if advert.asking is not None:
        major = Decimal(advert.asking.minor).scaleb(-minor_digits(advert.asking.currency))
        if major < UNUSUAL_LOW_ASKING:
            asked.append(
                Question(
                    "asking",
                    advert.asking.text(),
                    f"{advert.asking.text()} is very low. Is that the whole price?",
                )
            )
        value = advert.clean_value
        if value is not None and advert.asking.minor > 2 * value.high.minor:
            asked.append(
                Question(
                    "asking",
                    advert.asking.text(),
                    f"The seller asks {advert.asking.text()}, more than twice your highest value of the "
                    f"clean car, {value.high.text()}. Are both right?",
                )
            )
    if advert.distance_km is not None and advert.distance_km > UNUSUAL_DISTANCE_KM:
        asked.append(
            Question(
                "distance_km",
                f"{advert.distance_km:g} km",
                f"{advert.distance_km:g} km one way is a long drive. Is it right?",
            )
        )
    return tuple(asked)


def with_facts(advert: Advert, facts: Mapping[str, Any]) -> Advert:
    """A copy with some facts replaced, held to the same limits."""
    known = {f.name for f in fields(Advert)}
    for name in facts:
        if name not in known:
            raise unknown_name("fact", name, known)
    return replace(advert, **facts)


def unknown_name(kind: str, name: str, known: Collection[str]) -> BadEntry:
    """The refusal of a name nobody knows, with the nearest known ones.

    Parameters
    ----------
    kind
        What the name should have been ("finding", "title").
    name
        What was given.
    known
        Names that are allowed.

    Returns
    -------
    BadEntry
        To be raised by the caller.
    """
    near = nearest_names(name, known)
    hint = f"Did you mean {' or '.join(near)}?" if near else f"There are {len(known)} to choose from."
    return BadEntry(
        f'There is no {kind} "{name}". {hint}',
        field=kind,
        value=name,
        allowed=", ".join(near) if near else "",
        fix=hint,
    )


def nearest_names(name: str, known: Collection[str], most: int = 3) -> list[str]:
    """Up to ``most`` known names that look most like ``name``, best first."""
    found = process.extract(
        str(name).replace("_", " "),
        {k: k.replace("_", " ") for k in sorted(known)},
        scorer=fuzz.WRatio,
        limit=most,
        score_cutoff=60,
    )
    return [key for _, _, key in found]


def most_asking(currency: str) -> int:
    """Highest asking price that is accepted. [minor units]."""
    limit = MOST_ASKING * (1000 if currency in SMALL_UNITS else 1)
    return int(limit.scaleb(minor_digits(currency)))


def amount(value: object, currency: str, name: str) -> Money:
    """Money from a number or a text without currency words, exact to the minor unit.

    Parameters
    ----------
    value
        ``1650``, ``1650.5`` or ``"1650.50"``.
    currency
        ISO 4217 code.
    name
        Field the value came from, for the message.

    Returns
    -------
    Money
        The amount.

    Raises
    ------
    BadEntry
        If the value is not a plain number or has more decimals than the currency.
    """
    plain = isinstance(value, (int, float, str, Decimal)) and not isinstance(value, bool)
    try:
        number = Decimal(str(value)) if plain else Decimal("NaN")
    except InvalidOperation:
        number = Decimal("NaN")
    digits = minor_digits(currency)
    if not number.is_finite() or number != round(number, digits):
        raise BadEntry(
            f'{name} is "{value}"; expected a plain number such as 1650 or 1650.50. Write it without '
            "currency sign and thousands mark.",
            field=name,
            value=str(value),
            allowed=f"a number with at most {digits} decimals",
            fix="Write it without currency sign and thousands mark.",
        )
    return Money(int(number.scaleb(digits)), currency)


def _price_limits(advert: Advert) -> list[BadEntry]:
    wrong = []
    if advert.asking is not None:
        most = most_asking(advert.asking.currency)
        if advert.asking.currency != advert.currency:
            wrong.append(
                BadEntry(
                    f"The price is in {advert.asking.currency} but the advert is in {advert.currency}. "
                    "Give both in one currency.",
                    field="asking",
                    value=advert.asking.text(),
                    allowed=advert.currency,
                    fix="Give both in one currency.",
                )
            )
        elif not 0 <= advert.asking.minor <= most:
            wrong.append(
                BadEntry(
                    f"The asking price {advert.asking.text()} is outside 0 to {Money(most, advert.currency).text()}. "
                    "Type the price as the advert gives it, or leave it empty if there is none.",
                    field="asking",
                    value=advert.asking.text(),
                    allowed=f"0 to {Money(most, advert.currency).text()}",
                    fix="Type the price as the advert gives it, or leave it empty if there is none.",
                )
            )
    if advert.clean_value is not None and advert.clean_value.currency != advert.currency:
        wrong.append(
            BadEntry(
                f"The clean value is in {advert.clean_value.currency} but the advert is in {advert.currency}. "
                "Give both in one currency.",
                field="clean_value",
                value=advert.clean_value.likely.text(),
                allowed=advert.currency,
                fix="Give both in one currency.",
            )
        )
    return wrong


def _whole_limits(advert: Advert) -> list[BadEntry]:
    wrong = []
    if advert.made_year is not None and not FIRST_CAR_YEAR <= advert.made_year <= 9999:
        wrong.append(
            BadEntry(
                f"The year {advert.made_year} is before the first car ({FIRST_CAR_YEAR}). Correct it or leave it out.",
                field="made_year",
                value=advert.made_year,
                allowed=f"{FIRST_CAR_YEAR} or later",
                fix="Correct the year or leave it out.",
            )
        )
    if advert.mileage_km is not None and not 0 <= advert.mileage_km <= MOST_KM:
        wrong.append(
            BadEntry(
                f"The distance {advert.mileage_km:,} km is outside 0 to {MOST_KM:,} km. "
                "Read the clock again, without tenths, and say whether it shows km or miles.",
                field="mileage_km",
                value=advert.mileage_km,
                allowed=f"0 to {MOST_KM:,} km",
                fix="Read the clock again, without tenths, and say whether it shows km or miles.",
            )
        )
    far = advert.distance_km
    if far is not None and not 0 <= far <= MOST_DISTANCE_KM:
        wrong.append(
            BadEntry(
                f"The way to the car, {far:g} km, is outside 0 to {MOST_DISTANCE_KM:g} km. Give the way in km, one way.",
                field="distance_km",
                value=far,
                allowed=f"0 to {MOST_DISTANCE_KM:g} km",
                fix="Give the way in km, one way.",
            )
        )
    return wrong


def _word_limits(advert: Advert) -> list[BadEntry]:
    wrong = []
    if advert.title not in TITLES:
        wrong.append(_not_one_of("title", advert.title, TITLES))
    if advert.runs is not None and advert.runs not in RUNNING:
        wrong.append(_not_one_of("runs", advert.runs, RUNNING))
    if advert.gearbox is not None and advert.gearbox not in GEARBOXES:
        wrong.append(_not_one_of("gearbox", advert.gearbox, GEARBOXES))
    if advert.drive is not None and advert.drive not in DRIVES:
        wrong.append(_not_one_of("drive", advert.drive, DRIVES))
    if len(advert.text) > LONGEST_TEXT:
        wrong.append(
            BadEntry(
                f"The text has {len(advert.text):,} letters; at most {LONGEST_TEXT:,} are kept. "
                "Paste only the advert, not the whole page.",
                field="text",
                value=len(advert.text),
                allowed=f"up to {LONGEST_TEXT:,} letters",
                fix="Paste only the advert, not the whole page.",
            )
        )
    return wrong


def _not_one_of(name: str, value: object, allowed: Collection[str]) -> BadEntry:
    choice = ", ".join(allowed)
    return BadEntry(
        f'{name} is "{value}"; expected one of {choice}.',
        field=name,
        value=str(value),
        allowed=choice,
        fix="Write one of them.",
    )


_HARD = (_price_limits, _whole_limits, _word_limits)
