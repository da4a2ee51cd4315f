"""Papers: odometer disclosure duty, title brands, what to look up, how many cars one may sell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document

EVENTS = ("bought", "sold", "offered")
WINDOWS = ("rolling", "calendar", "from first sale")


@cache
def _data() -> dict[str, Any]:
    data: dict[str, Any] = yaml_document(shipped("driveout.cars", "data/papers.yaml"), "papers.yaml").data
    return data


@dataclass(frozen=True)
class DisclosureDuty:
    """Whether the odometer must be disclosed in writing at a transfer, until when, and why."""

    owed: bool
    first_exempt_year: int
    why: str


def disclosure_duty(
    model_year: int, transfer_year: int, *, gross_weight_lb: float | None = None, self_propelled: bool = True
) -> DisclosureDuty:
    """Tell whether a US odometer disclosure is owed.

    Model years to 2010 are exempt ten years on, from 2011 twenty years on. Older copies of the
    rule still print ten years for all.

    Parameters
    ----------
    model_year
        Model year.
    transfer_year
        Calendar year of the sale.
    gross_weight_lb
        Rated gross weight; above 16 000 lb no disclosure is owed. [lb]
    self_propelled
        False for trailers.

    Returns
    -------
    DisclosureDuty
        With the first exempt year.

    Raises
    ------
    BadEntry
        If the transfer lies before the model year could be sold.

    References
    ----------
    cfr-49-580, 580.17(a)(1) to (4).

    Examples
    --------
    >>> disclosure_duty(2011, 2030).owed, disclosure_duty(2011, 2031).owed
    (True, False)
    """
    if transfer_year < model_year - 2:
        raise BadEntry(
            f"A car of model year {model_year} cannot be sold in {transfer_year}.",
            field="transfer_year",
            value=transfer_year,
        )
    first = model_year + (10 if model_year <= 2010 else 20)
    if gross_weight_lb is not None and gross_weight_lb > 16_000:
        return DisclosureDuty(
            False, transfer_year, f"gross weight {gross_weight_lb:,.0f} lb is above 16,000 lb"
        )
    if not self_propelled:
        return DisclosureDuty(False, transfer_year, "it does not drive itself")
    owed = transfer_year < first
    years = 10 if model_year <= 2010 else 20
    return DisclosureDuty(owed, first, f"model year {model_year}: exempt from {first} on ({years} years)")


@dataclass(frozen=True)
class Brand:
    """What a title brand leaves of a clean car's value, as a range of shares."""

    name: str
    least: float
    most: float
    note: str


def brands() -> tuple[Brand, ...]:
    """Title brands and the share of value they leave."""
    return tuple(
        Brand(name, float(row["least"]), float(row["most"]), str(row["note"]))
        for name, row in _data()["brands"].items()
        if isinstance(row, dict)
    )


def brand(name: str) -> Brand:
    """Return one title brand, or refuse a word that is none."""
    found = next((b for b in brands() if b.name == name), None)
    if found is None:
        raise BadEntry(
            f"{name!r} is not a title brand.",
            field="brand",
            value=name,
            allowed=", ".join(b.name for b in brands()),
        )
    return found


@dataclass(frozen=True)
class PaperCheck:
    """One thing to look up before paying; ``check`` is its name in the fault network."""

    key: str
    do: str
    check: str


def paper_checks() -> tuple[PaperCheck, ...]:
    """What to look at and look up, in order."""
    return tuple(PaperCheck(row["key"], row["do"], row["check"]) for row in _data()["check_list"]["items"])


@dataclass(frozen=True)
class SellerRule:
    """How many cars make a dealer, as the person's own state counts them.

    Parameters
    ----------
    where
        State or country.
    counts
        Events that count, of `EVENTS`.
    window
        One of `WINDOWS`.
    months
        Length of the window.
    stop_at
        Number of the car that crosses the line.
    origin
        Where it was read, and when.
    """

    where: str
    counts: tuple[str, ...]
    window: str
    months: int
    stop_at: int
    origin: str = ""

    def __post_init__(self) -> None:
        for event in self.counts:
            if event not in EVENTS:
                raise BadEntry(
                    f"{event!r} is not counted.", field="counts", value=event, allowed=", ".join(EVENTS)
                )
        if not self.counts:
            raise BadEntry(
                "Tick what counts: bought, sold or offered.", field="counts", allowed=", ".join(EVENTS)
            )
        if self.window not in WINDOWS:
            raise BadEntry(
                f"{self.window!r} is no window.",
                field="window",
                value=self.window,
                allowed=", ".join(WINDOWS),
            )
        if not 1 <= self.months <= 60 or not 1 <= self.stop_at <= 200:
            raise BadEntry(
                "Months run from 1 to 60, the car that crosses the line from 1 to 200.", field="stop_at"
            )


@dataclass(frozen=True)
class SellerEvent:
    """A car bought, sold or offered on a day."""

    day: date
    kind: str
    car: str


@dataclass(frozen=True)
class SellerCount:
    """Cars counted in the window, the most that may still follow, and what to say."""

    counted: int
    left: int
    since: date
    words: str


def shipped_rules() -> tuple[tuple[str, SellerRule, str], ...]:
    """Key, rule and note of each rule that ships; only the federal one is meant as a default."""
    return tuple(
        (
            row["key"],
            SellerRule(
                row["where"],
                tuple(row["counts"]),
                row["window"],
                int(row["months"]),
                int(row["stop_at"]),
                row["source"],
            ),
            row["note"],
        )
        for row in _data()["seller_rules"]
    )


def federal_rule() -> SellerRule:
    """US rule on the window form: the sixth car sold or offered in twelve months.

    References
    ----------
    cfr-16-455, definition of a dealer.
    """
    return next(rule for key, rule, _ in shipped_rules() if key == "us-federal")


def seller_count(events: Sequence[SellerEvent], rule: SellerRule, on: date) -> SellerCount:
    """Count the cars that the rule counts in its window; one car counts once.

    Parameters
    ----------
    events
        Everything that happened, in any order.
    rule
        The rule.
    on
        Present day.

    Returns
    -------
    SellerCount
        Warned one car early.
    """
    counting = [event for event in events if event.kind in rule.counts and event.day <= on]
    since = _window_start(counting, rule, on)
    cars = {event.car for event in counting if event.day >= since}
    left = max(0, rule.stop_at - 1 - len(cars))
    words = f"{len(cars)} counted since {since} for {rule.where}; number {rule.stop_at} crosses the line."
    if len(cars) >= rule.stop_at:
        words += " It is crossed: ask the authority before you offer another."
    elif left == 0:
        words += " The next one crosses it: ask the authority first."
    elif left == 1:
        words += " One more may follow, then ask the authority."
    return SellerCount(len(cars), left, since, words)


def _window_start(events: Sequence[SellerEvent], rule: SellerRule, on: date) -> date:
    if rule.window == "calendar":
        return date(on.year, 1, 1)
    rolling = _months_before(on, rule.months)
    if rule.window == "rolling" or not events:
        return rolling
    # Windows laid end to end from the first sale on; the one that today lies in counts.
    start = min(event.day for event in events)
    while _months_before(on, rule.months) >= start:
        later = [
            event.day for event in events if event.day > _months_after(start, rule.months) - timedelta(days=1)
        ]
        if not later:
            return max(rolling, _months_after(start, rule.months))
        start = min(later)
    return start


def _months_before(day: date, months: int) -> date:
    """First day of the window of so many months that ends today."""
    return _months_after(day, -months) + timedelta(days=1)


def _months_after(day: date, months: int) -> date:
    number = day.year * 12 + day.month - 1 + months
    year, month = divmod(number, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(year, month + 1, min(day.day, last))
        except ValueError:
            continue
    raise AssertionError("a month has at least 28 days")  # pragma: no cover
