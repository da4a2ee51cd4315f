"""Which of several adverts to go and see first, and which of them fit into the hours of a day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.hunt.order import MOST_COMPARED, Trip, day_round, own_wage, visiting_order
from driveout.hunt.weigh import Weighing, trip_of
from driveout.units import Money

#: fewer adverts than this are no stream to take an own wage from (own reasoning, no source)
LEAST_FOR_WAGE = 5
#: minutes in a day and a night; a longer round is another day's
MOST_MINUTES = 24 * 60
#: hours of a free afternoon, taken when nothing is said (own reasoning, no source)
USUAL_MINUTES = 240


@dataclass(frozen=True)
class Visit:
    """One car as something to go and see.

    Parameters
    ----------
    car
        Number of the car in the record, or line of the table.
    name
        What a person calls it.
    index
        Worth of going: the sum in hand at which one would just still go.
    brings
        What it brings on average over the asking price, own hours at the wage taken off.
    cost
        Money and hours of going, as money.
    hours
        Driving both ways and looking. [h]
    place
        Place in the day's round from 1, None when it does not fit or is not worth the way.
    why
        The reason in one sentence.
    """

    car: int
    name: str
    index: Money
    brings: Money
    cost: Money
    hours: float
    place: int | None
    why: str

    @property
    def is_worth_it(self) -> bool:
        """Whether going brings more than staying at home."""
        return self.index.minor > 0


@dataclass(frozen=True)
class LeftOut:
    """A car that cannot be put in order, and what is missing."""

    car: int
    name: str
    missing: str


@dataclass(frozen=True)
class Visits:
    """Several adverts in the order of going.

    Parameters
    ----------
    minutes
        Time there is for driving and looking. [min]
    currency
        ISO 4217 code of every amount.
    visits
        All comparable cars, highest worth of going first.
    gain
        What the day's round brings on average, with the cost of going taken off.
    round_hours
        Hours of the day's round if every car of it is seen. [h]
    left_out
        Cars that cannot be compared.
    wage
        What an own hour brings over these adverts at best, None when it cannot be said.
    wage_missing
        Why it cannot be said, or empty.
    rule_wage
        What an own hour must bring by the person's rules.
    """

    minutes: float
    currency: str
    visits: tuple[Visit, ...]
    gain: Money
    round_hours: float
    left_out: tuple[LeftOut, ...]
    wage: Money | None
    wage_missing: str
    rule_wage: Money | None

    @property
    def round(self) -> tuple[Visit, ...]:
        """The cars of the day, in the order of going."""
        return tuple(sorted((v for v in self.visits if v.place), key=lambda v: v.place or 0))


def order_visits(
    weighed: Sequence[tuple[int, str, Weighing]],
    minutes: float,
    left_out: Sequence[LeftOut] = (),
    currency: str = "USD",
) -> Visits:
    """Put weighed adverts in the order of going, and choose those that fit into the day.

    Parameters
    ----------
    weighed
        Number, name and weighing of each advert.
    minutes
        Time there is for driving and looking. [min]
    left_out
        Cars that could not be weighed, with what is missing.
    currency
        Currency when no advert tells one.

    Returns
    -------
    Visits
        Cars in another currency than most of them are left out, as are those without a price.

    Raises
    ------
    BadEntry
        If the minutes are under 0 or more than a day has.

    References
    ----------
    weitzman-1979; dinkelbach-1967.
    """
    if not 0.0 <= minutes <= MOST_MINUTES:
        raise BadEntry(
            f"There are {minutes:g} minutes; 0 to {MOST_MINUTES} were expected.",
            field="minutes",
            value=minutes,
            allowed=f"0 to {MOST_MINUTES} min",
        )
    missing = list(left_out)
    seen = Counter(w.advert.currency for _, _, w in weighed)
    currency = seen.most_common(1)[0][0] if seen else currency
    known: list[tuple[int, Weighing, Trip]] = []
    for car, name, weighing in weighed:
        try:
            if weighing.advert.currency != currency:
                raise CannotSay(
                    f"It is kept in {weighing.advert.currency}; the others are in {currency}.",
                    missing="currency",
                )
            known.append((car, weighing, trip_of(weighing, name)))
        except CannotSay as error:
            missing.append(LeftOut(car, name, error.message))
    trips = [trip for _, _, trip in known]
    chosen = day_round(trips, minutes / 60.0)
    places = {id(trip): k for k, trip in enumerate(chosen.trips, 1)}
    compared = {id(trip) for trip in visiting_order(trips).trips[:MOST_COMPARED]}
    visits = [
        _visit(car, trip, currency, places.get(id(trip)), id(trip) in compared) for car, _, trip in known
    ]
    wage, why_not = _wage_of(known, currency)
    return Visits(
        minutes,
        currency,
        tuple(sorted(visits, key=lambda v: (-v.index.minor, v.car))),
        Money(round(chosen.gain), currency),
        chosen.hours,
        tuple(missing),
        wage,
        why_not,
        Money(round(known[0][1].case.rules.wage_per_hour), currency) if known else None,
    )


def _visit(car: int, trip: Trip, currency: str, place: int | None, is_compared: bool) -> Visit:
    brings = Money(round(math.fsum(v * p for v, p in zip(trip.amounts, trip.chances, strict=True))), currency)
    index, cost = Money(round(trip.index), currency), Money(round(trip.cost), currency)
    told = f"it brings {brings.text()} on average at the price asked, and going costs {cost.text()}"
    if index.minor <= 0:
        why = f"Not worth the way: {told}; ask for a lower price first."
    elif place is not None:
        why = f"Go unless a car in hand already brings {index.text()}: {told}."
    elif is_compared:
        why = f"Another day: {told}, but others make more of the hours there are."
    else:
        why = f"Another day: {told}; {MOST_COMPARED} cars are worth more."
    return Visit(car, trip.name, index, brings, cost, trip.hours, place, why)


def _wage_of(known: Sequence[tuple[int, Weighing, Trip]], currency: str) -> tuple[Money | None, str]:
    """What an own hour brings at best over these adverts, or why that cannot be said."""
    try:
        if len(known) < LEAST_FOR_WAGE:
            raise CannotSay(
                f"There are {len(known)} adverts with a price and an outlook; what an own hour brings needs "
                f"{LEAST_FOR_WAGE} at least.",
                missing="adverts",
            )
        rate = own_wage(
            [w.outlook.profit.mean for _, w, _ in known],
            [w.outlook.hours.mean for _, w, _ in known],
            math.fsum(t.hours for _, _, t in known) / len(known),
        )
        return Money(round(rate), currency), ""
    except CannotSay as error:
        return None, error.message


def visits_as_data(order: Visits) -> dict[str, Any]:
    """The order as plain values: money in minor units with its currency beside it."""
    return {
        "currency": order.currency,
        "money_unit": "minor",
        "minutes": order.minutes,
        "visits": [
            {
                "car": v.car,
                "name": v.name,
                "index_minor": v.index.minor,
                "brings_minor": v.brings.minor,
                "trip_cost_minor": v.cost.minor,
                "hours": v.hours,
                "place_in_round": v.place,
                "why": v.why,
            }
            for v in order.visits
        ],
        "round": {
            "cars": [v.car for v in order.round],
            "gain_minor": order.gain.minor,
            "hours": order.round_hours,
        },
        "left_out": [{"car": c.car, "name": c.name, "missing": c.missing} for c in order.left_out],
        "own_wage_minor": None if order.wage is None else order.wage.minor,
        "own_wage_missing": order.wage_missing,
        "rule_wage_minor": None if order.rule_wage is None else order.rule_wage.minor,
    }
