"""Compares ways of deciding over many owners who all meet the same cars: rates, and what the difference is sure of."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry
from driveout.simulate.play import Years, play
from driveout.simulate.ways import Way
from driveout.simulate.world import World, stream

Floats = npt.NDArray[np.float64]

RESAMPLES = 4000
#: what a comparison is about, and over what each is shared out
MEASURES: Mapping[str, str] = {"per_hour": "hours", "per_day": "days", "per_car": "cars"}


@dataclass(frozen=True)
class Totals:
    """One owner's sums by one way of deciding. [major units, h, days]."""

    profit: float
    hours: float
    days: float
    cars: int
    losses: int
    seen: int

    @classmethod
    def of(cls, years: Years) -> Totals:
        """The sums of what was played."""
        cars = years.cars
        return cls(
            years.profit, years.hours, years.days, len(cars), years.losses, sum(car.seen for car in cars)
        )


def one_owner(world: World, ways: Mapping[str, Way], seed: int, owner: int, cars: int) -> dict[str, Totals]:
    """Play one owner by every way of deciding; each meets the very same adverts and buyers."""
    met = stream(world, seed, owner)
    return {key: Totals.of(play(met, way, cars)) for key, way in ways.items()}


@dataclass(frozen=True)
class Interval:
    """An estimate with the ends of its 95 % interval."""

    value: float
    low: float
    high: float

    def as_data(self) -> dict[str, float]:
        """Plain numbers, rounded to cents."""
        return {"value": round(self.value, 2), "low": round(self.low, 2), "high": round(self.high, 2)}


@dataclass(frozen=True)
class Result:
    """One way of deciding over all owners.

    Parameters
    ----------
    key
        Which way.
    rates
        ``per_hour``, ``per_day`` and ``per_car``: sum of profits over sum of hours, days, cars.
    gains
        How much more per hour, day and car the reference way makes, paired by owner.
    loss_share
        Share of cars with a cash loss.
    hours_per_car, days_per_car, seen_per_car
        Means.
    cars
        Number of cars.
    """

    key: str
    rates: Mapping[str, Interval]
    gains: Mapping[str, Interval]
    loss_share: float
    hours_per_car: float
    days_per_car: float
    seen_per_car: float
    cars: int


def compared(by_owner: Sequence[Mapping[str, Totals]], reference: str, seed: int = 0) -> tuple[Result, ...]:
    """Rates of every way and what the reference gains over each, with intervals over owners.

    Rates are ratios of sums: over a long life the earnings of an hour are the sum of all profits
    over the sum of all hours. Owners are drawn again with replacement, all ways of an owner
    together, so that what all ways have in common falls out of the difference.

    Parameters
    ----------
    by_owner
        Totals by way, one mapping an owner.
    reference
        The way that the gains are of.
    seed
        Seed of the resampling.

    Returns
    -------
    tuple of Result
        One a way, in the order of the first owner's mapping.

    Raises
    ------
    BadEntry
        If there are fewer than two owners, or the reference was not played.

    References
    ----------
    own-reasoning, docs/method/simulate.md, the comparison; efron-tibshirani-1993.
    """
    if len(by_owner) < 2:
        raise BadEntry(
            "An interval needs two owners or more.", field="owners", value=len(by_owner), allowed="2 or more"
        )
    if reference not in by_owner[0]:
        raise BadEntry(f"{reference!r} was not played.", field="reference", value=reference)
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(len(by_owner), np.full(len(by_owner), 1.0 / len(by_owner)), RESAMPLES)
    found = []
    mine = _sums(by_owner, reference)
    for key in by_owner[0]:
        theirs = _sums(by_owner, key)
        rates, gains = {}, {}
        for measure, base in MEASURES.items():
            rates[measure] = _interval(_rate(theirs, base, None), _rate(theirs, base, weights))
            gains[measure] = _interval(
                _rate(mine, base, None) - _rate(theirs, base, None),
                _rate(mine, base, weights) - _rate(theirs, base, weights),
            )
        cars = max(float(theirs["cars"].sum()), 1.0)
        found.append(
            Result(
                key,
                rates,
                gains,
                float(theirs["losses"].sum()) / cars,
                float(theirs["hours"].sum()) / cars,
                float(theirs["days"].sum()) / cars,
                float(theirs["seen"].sum()) / cars,
                int(theirs["cars"].sum()),
            )
        )
    return tuple(found)


def _sums(by_owner: Sequence[Mapping[str, Totals]], key: str) -> dict[str, Floats]:
    names = ("profit", "hours", "days", "cars", "losses", "seen")
    return {name: np.array([float(getattr(one[key], name)) for one in by_owner]) for name in names}


def _rate(sums: Mapping[str, Floats], base: str, weights: npt.NDArray[np.int64] | None) -> Floats:
    profit, over = sums["profit"], sums[base]
    if weights is None:
        return np.asarray(profit.sum() / max(over.sum(), 1e-9))
    return np.asarray((weights @ profit) / np.maximum(weights @ over, 1e-9))


def _interval(value: Floats, resampled: Floats) -> Interval:
    low, high = np.quantile(resampled, [0.025, 0.975])
    return Interval(float(value), float(low), float(high))


def score(totals: Sequence[Totals]) -> float:
    """What constants are tuned for: log of profit per hour plus log of profit per day."""
    profit = sum(t.profit for t in totals)
    if profit <= 0:
        return -math.inf
    return math.log(profit / sum(t.hours for t in totals)) + math.log(profit / sum(t.days for t in totals))


def result_table(
    found: Sequence[Result], owners: int, cars: int, seed: int, world: str
) -> tuple[dict[str, object], list[str]]:
    """The comparison as plain data and as lines to read; amounts in USD."""
    data: dict[str, object] = {
        "owners": owners,
        "cars": cars,
        "seed": seed,
        "world": world,
        "currency": "USD",
        "ways": {
            row.key: {
                **{measure: rate.as_data() for measure, rate in row.rates.items()},
                "gain_of_driveout": {measure: gain.as_data() for measure, gain in row.gains.items()},
                "loss_share": round(row.loss_share, 4),
                "hours_per_car": round(row.hours_per_car, 1),
                "days_per_car": round(row.days_per_car, 1),
                "cars": row.cars,
            }
            for row in found
        },
    }
    lines = [
        f"{owners} invented owners with {cars} cars each, the same cars for every way; 95 % intervals over owners.",
        f"{'way':<18}{'USD an own hour':>26}{'USD a day':>26}{'USD a car':>11}{'losses':>9}",
    ]
    for row in found:
        hour, day = row.rates["per_hour"], row.rates["per_day"]
        lines.append(
            f"{row.key:<18}{f'{hour.value:.2f} ({hour.low:.2f} to {hour.high:.2f})':>26}"
            f"{f'{day.value:.2f} ({day.low:.2f} to {day.high:.2f})':>26}"
            f"{row.rates['per_car'].value:>11,.0f}{100 * row.loss_share:>7.0f} %"
        )
    for row in found[1:]:
        hour, day = row.gains["per_hour"], row.gains["per_day"]
        lines.append(
            f"driveout over {row.key}: {hour.value:+.2f} an hour ({hour.low:+.2f} to {hour.high:+.2f}), "
            f"{day.value:+.2f} a day ({day.low:+.2f} to {day.high:+.2f}){'' if hour.low > 0 else '; not sure to be better an hour'}."
        )
    return data, lines
