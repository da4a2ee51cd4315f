"""Own time and trips: memos without money, and the allowance for one's own vehicle."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import car_links, cost_account, moved, said
from driveout.money.journal import MEMO_ROOT, MINUTES, Entry, Posting
from driveout.units import Money


def own_hours(
    car: str, minutes: int, kind_of_work: str, day: datetime.date, *, line: str = "", began: str = ""
) -> Entry:
    """Record own time on a car; a memo without money."""
    if not 0 < minutes <= 24 * 60:
        raise BadEntry(
            f"{minutes / 60:.2f} h of own work in one go is outside 0 to 24 h. Book each day by itself.",
            field="hours",
            value=minutes / 60,
            allowed="above 0, at most 24 h",
        )
    work = work_name(kind_of_work)
    return Entry(
        day,
        f"Own work: {work_words(kind_of_work)}"[:400],
        (
            Posting(f"{MEMO_ROOT}:Time:{car}", minutes, MINUTES),
            Posting(f"{MEMO_ROOT}:Time:Given", -minutes, MINUTES),
        ),
        car_links(car, f"work-{work}" if work else "", f"line-{line}" if line else ""),
        said(kind=kind_of_work, began=began),
    )


def work_words(kind_of_work: str) -> str:
    """A kind of work as a person reads it; keys of repairs lose their marks."""
    return kind_of_work.removeprefix("rep-").removeprefix("rep_").replace("-", " ").replace("_", " ")


def work_name(kind_of_work: str) -> str:
    """A kind of work as a link can carry it: small letters, digits and '-'."""
    return re.sub(r"[^a-z0-9]+", "-", kind_of_work.lower()).strip("-")[:60]


def travel(
    car: str,
    distance_tenths: int,
    unit: str,
    day: datetime.date,
    *,
    what: str = "",
    per_unit: Decimal | None = None,
    currency: str = "USD",
    sold: bool = False,
) -> Entry:
    """Record a trip for a car, with or without an allowance for the use of one's own vehicle.

    Parameters
    ----------
    car
        The car's account part.
    distance_tenths
        Distance in tenths of the unit, above 0.
    unit
        ``KM`` or ``MI``.
    day
        Day of the trip.
    what
        Where to and why.
    per_unit
        Allowance per km or mile in major money; None books distance alone.
    currency
        Currency of the allowance.
    sold
        Whether the car is sold already.

    Returns
    -------
    Entry
        Distance as a memo, the allowance as travel cost against the owner's equity.

    Raises
    ------
    BadEntry
        If the unit or the distance is not usable.
    """
    if unit not in ("KM", "MI"):
        raise BadEntry(f"Distance unit {unit!r} is not KM or MI.", field="unit", value=unit, allowed="KM, MI")
    if not 0 < distance_tenths <= 100_000:
        raise BadEntry(
            f"A trip of {distance_tenths / 10:g} {unit} is outside 0 to 10,000. Check the distance.",
            field="distance",
            value=distance_tenths / 10,
            allowed="above 0, at most 10,000",
        )
    postings = [
        Posting(f"{MEMO_ROOT}:Distance:{car}", distance_tenths, unit),
        Posting(f"{MEMO_ROOT}:Distance:Driven", -distance_tenths, unit),
    ]
    if per_unit is not None:
        cost = Money.of(per_unit * distance_tenths / 10, currency)
        if cost.minor:
            postings += moved("Equity:OwnVehicle", cost_account(car, "travel", sold), cost)
    return Entry(day, what or "Trip", tuple(postings), car_links(car), said(kind="travel"))
