"""Cars as columns of numbers: what sets the comparables and the car apart, with the prior slope of each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from driveout.market.appraisal import CarToValue
from driveout.market.comparables import Comparable
from driveout.market.prior import Prior, condition_steps
from driveout.market.regression import Floats
from driveout.units import FACTORS

TEN_THOUSAND_MILES_KM = 10_000 * FACTORS["km per mile"]


@dataclass(frozen=True)
class Table:
    """Columns of the comparables and of the car, with prior slopes."""

    names: tuple[str, ...]
    y: Floats
    x: Floats
    target: Floats
    base: Floats
    mean: Floats
    covariance: Floats

    @property
    def precision(self) -> Floats:
        """Inverse of the prior covariance of the slopes."""
        return np.asarray(np.linalg.inv(self.covariance))

    def at(self, kind: str) -> Floats:
        """The car's row at a price asked or paid."""
        x = self.target.copy()
        x[self.names.index("sold")] = float(kind == "sold")
        return x


def columns_of(car: CarToValue, used: Sequence[Comparable], prior: Prior) -> Table:
    """Turn cars into columns; a column nobody differs in is left out, except age, distance and sold."""
    km = np.array([math.nan if c.mileage_km is None else c.mileage_km for c in used])
    known = km[~np.isnan(km)]
    typical = float(known.mean()) if len(known) else car.mileage_km
    # A distance that is not given counts like a noisier price: the prior slope times the spread of distances.
    spread = (float(known.std()) if len(known) > 2 else 3 * TEN_THOUSAND_MILES_KM) / TEN_THOUSAND_MILES_KM
    doubt = prior.noise_scale**2 / (prior.noise_scale**2 + (prior.mileage_mean * spread) ** 2)
    base = np.where(np.isnan(km), doubt, 1.0)
    km = np.where(np.isnan(km), typical, km)
    steps = condition_steps()
    names = ["age", "mileage", "sold"]
    columns: list[list[float]] = [
        [c.age_on(car.on) for c in used],
        list(km / TEN_THOUSAND_MILES_KM),
        [float(c.kind == "sold") for c in used],
    ]
    target = [car.age, car.mileage_km / TEN_THOUSAND_MILES_KM, 1.0]

    def add(name: str, values: list[float], own: float) -> None:
        if any(value != own for value in values):
            names.append(name)
            columns.append(values)
            target.append(own)

    turn = [0.0 if c.seen is None else math.tau * (c.seen - car.on).days / 365.25 for c in used]
    add("drift", [0.0 if c.seen is None else (c.seen - car.on).days / 365.25 for c in used], 0.0)
    # The price swings once a year; both columns are 0 on the car's own day, so cars seen lately hardly tell.
    add("season", [(math.cos(angle) - 1) / 2 for angle in turn], 0.0)
    add("season turn", [math.sin(angle) / 2 for angle in turn], 0.0)
    add(
        "condition",
        [float(steps.get(c.condition.casefold(), 0)) for c in used],
        float(steps.get(car.condition.casefold(), 0)),
    )
    for status in ("rebuilt", "salvage", "buyback"):
        add(status, [float(c.title_status == status) for c in used], float(car.title_status == status))
    for option in _useful_options(car, used):
        add("with " + option, [float(option in c.options) for c in used], float(option in car.options))
    for spec in sorted(car.specs):
        given = [c.specs[spec] for c in used if spec in c.specs]
        if len(given) > 1 and len(set(given)) > 1:
            usual = float(np.mean(given))
            add(spec, [c.specs.get(spec, usual) for c in used], car.specs[spec])
    x = np.array(columns, dtype=float).T
    mean, sd = np.array([prior.of(name) for name in names]).T
    for i, name in enumerate(names):
        if name not in ("age", "mileage") and name not in prior.effects:
            sd[i] = prior.spec_sd / max(float(x[:, i].std()), 1e-9)
    covariance = np.diag(sd**2)
    covariance[0, 1] = covariance[1, 0] = prior.age_mileage_correlation * sd[0] * sd[1]
    y = np.array([math.log(float(c.price.major)) for c in used])
    return Table(tuple(names), y, x, np.array(target), base, mean, covariance)


def _useful_options(car: CarToValue, used: Sequence[Comparable]) -> list[str]:
    """Equipment that at least two comparables have and two have not."""
    counts: dict[str, int] = {}
    for comparable in used:
        for option in set(comparable.options):
            counts[option] = counts.get(option, 0) + 1
    return sorted(option for option, n in counts.items() if 2 <= n <= len(used) - 2)[:12]


def beyond(table: Table, x: Floats) -> Floats:
    """How far the car lies outside the comparables in age and distance, in the columns' own units."""
    away = np.zeros(len(x))
    low, high = table.x[:, :2].min(axis=0), table.x[:, :2].max(axis=0)
    away[:2] = np.maximum(np.maximum(low - x[:2], x[:2] - high), 0.0)
    away[away < 1e-9] = 0.0
    return away


def leverage(table: Table, x: Floats) -> float:
    """How far the car lies from the comparables' centre, by their own spread; 1 is one car's whole weight."""
    varied = table.x.std(axis=0) > 1e-12
    xc = table.x[:, varied] - table.x[:, varied].mean(axis=0)
    d = x[varied] - table.x[:, varied].mean(axis=0)
    return float(d @ np.linalg.pinv(xc.T @ xc) @ d)
