"""What a car is worth, from similar cars: a robust line through log prices that starts from other models."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.market.comparables import (
    MOST_AGE_YEARS,
    MOST_KM,
    Comparable,
    Kind,
    TitleStatus,
    age_of_year,
    without_duplicates,
)
from driveout.market.prior import Prior, condition_steps, default_prior
from driveout.market.regression import Fits, Floats, fit_lines
from driveout.units import FACTORS, Money, minor_digits

MOST_USED = 300
TEN_THOUSAND_MILES_KM = 10_000 * FACTORS["km per mile"]
# With fewer the leave-one-out interval is the widest miss but one or two, which says little.
JACKKNIFE_FROM = 20
Z80 = 1.2815515655446004  # 90 % point of the normal law


@dataclass(frozen=True, slots=True)
class CarToValue:
    """The car whose value is asked.

    Attributes
    ----------
    on
        Day the value is for.
    mileage_km
        Distance on the clock. [km]
    made_year, age_years
        One of them.
    condition
        ``poor``, ``fair``, ``good``, ``very good``; empty when not said.
    title_status
        ``clean``, ``rebuilt``, ``salvage``, ``buyback``.
    options
        Words for equipment.
    specs
        Further numbers by name; only those that comparables give too are used.
    name
        For messages.
    """

    on: date
    mileage_km: float
    made_year: int | None = None
    age_years: float | None = None
    condition: str = ""
    title_status: TitleStatus = "clean"
    options: tuple[str, ...] = ()
    specs: Mapping[str, float] = field(default_factory=dict)
    name: str = "this car"

    def __post_init__(self) -> None:
        if not 0 <= self.mileage_km <= MOST_KM:
            raise BadEntry(
                f"The distance {self.mileage_km:,.0f} km is outside 0 to {MOST_KM:,} km.",
                field="mileage_km",
                value=self.mileage_km,
                allowed=f"0 to {MOST_KM:,} km",
            )
        if self.made_year is None and self.age_years is None:
            raise BadEntry(
                "Neither year nor age of the car is given. One of them is needed.",
                field="made_year",
                allowed="a year such as 2013, or an age in years",
            )
        if self.made_year is not None and not 1886 <= self.made_year <= self.on.year + 1:
            raise BadEntry(
                f"The year {self.made_year} is outside 1886 to {self.on.year + 1}.",
                field="made_year",
                value=self.made_year,
                allowed=f"1886 to {self.on.year + 1}",
            )
        if not 0 <= self.age <= MOST_AGE_YEARS:
            raise BadEntry(
                f"The age {self.age:g} years is outside 0 to {MOST_AGE_YEARS}.",
                field="age_years",
                value=self.age,
                allowed=f"0 to {MOST_AGE_YEARS} years",
            )

    @property
    def age(self) -> float:
        """Age in years on the day asked for."""
        return self.age_years if self.age_years is not None else age_of_year(self.made_year or 0, self.on)


@dataclass(frozen=True, slots=True)
class Pull:
    """What one comparable does to the value.

    Attributes
    ----------
    label, price
        Which comparable.
    fits_at
        What the others say a car like it costs, at its own kind of price.
    moves
        Value with it less value without it.
    weight
        1 for a car on the line, towards 0 for one far off.
    reason
        Why it counts little; empty when it counts in full.
    origin
        ``file:line`` of it.
    """

    label: str
    price: Money
    fits_at: Money
    moves: Money
    weight: float
    reason: str
    origin: str

    @property
    def is_outlier(self) -> bool:
        """Whether it was given little weight."""
        return bool(self.reason)


@dataclass(frozen=True, slots=True)
class Effect:
    """How one thing moves the price, with its 80 % interval, as a share of the price."""

    name: str
    per: str
    share: float
    low: float
    high: float
    learned: float


@dataclass(frozen=True)
class Appraisal:
    """Value of a car with its 80 % interval and how it came about.

    Attributes
    ----------
    value, low, high
        Price it is likely to change hands at: middle, and the interval that holds 8 of 10.
    asked, asked_low, asked_high
        The same for the price in the advert.
    log_mean, log_sd
        Normal law of the natural logarithm of the price that gives the same interval.
    level_sd
        Doubt of what buyers in general would pay for this car, as a standard deviation of the
        logarithm: the line's own doubt and half of the scatter between prices (the other half
        is taken to be the luck of single sellers; common practice, no source).
    used
        How many comparables were used.
    pulls
        One per used comparable, the strongest first.
    effects
        What age, distance and the rest do.
    warnings
        Sentences to read before trusting the number.
    out_of_range
        Whether the car lies outside what the comparables cover.
    by
        Which interval is shown: ``line`` or ``leave-one-out`` when that was wider.
    """

    name: str
    value: Money
    low: Money
    high: Money
    asked: Money
    asked_low: Money
    asked_high: Money
    log_mean: float
    log_sd: float
    level_sd: float
    used: int
    pulls: tuple[Pull, ...]
    effects: tuple[Effect, ...]
    warnings: tuple[str, ...]
    out_of_range: bool
    by: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text of major units."""
        return {
            "schema": "driveout-appraisal/1",
            "name": self.name,
            "currency": self.value.currency,
            **{
                k: str(getattr(self, k).major)
                for k in ("value", "low", "high", "asked", "asked_low", "asked_high")
            },
            "log_mean": self.log_mean,
            "log_sd": self.log_sd,
            "level_sd": self.level_sd,
            "used": self.used,
            "interval_by": self.by,
            "out_of_range": self.out_of_range,
            "warnings": list(self.warnings),
            "effects": [
                {
                    "name": e.name,
                    "per": e.per,
                    "share": e.share,
                    "low": e.low,
                    "high": e.high,
                    "learned": e.learned,
                }
                for e in self.effects
            ],
            "pulls": [
                {
                    "label": p.label,
                    "price": str(p.price.major),
                    "fits_at": str(p.fits_at.major),
                    "moves": str(p.moves.major),
                    "weight": p.weight,
                    "reason": p.reason,
                    "origin": p.origin,
                }
                for p in self.pulls
            ],
        }

    def sentences(self) -> list[str]:
        """The result in words."""
        return [
            f"Likely to sell at {self.value.text()}; 8 of 10 such cars between {self.low.text()} and {self.high.text()}.",
            f"Adverts for such a car ask about {self.asked.text()}.",
            f"From {self.used} comparable{'' if self.used == 1 else 's'}.",
            *self.warnings,
        ]


def appraise(
    car: CarToValue,
    comparables: Sequence[Comparable],
    prior: Prior | None = None,
    *,
    price_kind: Kind = "sold",
) -> Appraisal:
    """Value of a car from similar ones.

    A straight line through log prices on age, distance, asking or sold, title status, condition,
    time seen and equipment. The slopes start from what six other models showed and move with the
    evidence; a price far off the line loses weight. Holds for cars of one model; mixing models
    costs accuracy unless specs tell them apart.

    Parameters
    ----------
    car
        The car to value.
    comparables
        Similar cars; at least one. Doubles are left out once.
    prior
        What is believed before; None for the shipped one.
    price_kind
        ``sold``: the value is a price paid; ``asking``: a price asked.

    Returns
    -------
    Appraisal
        Value, 80 % interval, pulls, effects and warnings.

    Raises
    ------
    CannotSay
        Without any comparable.
    BadEntry
        If comparables are in different currencies.

    References
    ----------
    own-reasoning, docs/method/value.md; student-t-regression; jackknife-plus.
    """
    prior = prior or default_prior()
    if not comparables:
        raise CannotSay(
            "There is no comparable, so nothing can be said about the value. Add a similar car's price.",
            missing="comparables",
        )
    currencies = sorted({c.price.currency for c in comparables})
    if len(currencies) > 1:
        raise BadEntry(
            f"The comparables are in {' and '.join(currencies)}. Give all in one currency; driveout knows no rates.",
            field="currency",
            value=", ".join(currencies),
            allowed="one currency",
        )
    kept, doubles = without_duplicates(comparables)
    used, too_many = _nearest(car, kept, prior)
    table = _columns(car, used, prior)
    everyone = np.ones((1, len(used))) * table.base
    alone = np.repeat(everyone, len(used), axis=0)
    np.fill_diagonal(alone, 0.0)
    fit = _fit(table, everyone, prior)
    without = _fit(table, alone, prior) if len(used) > 1 else None
    at = {kind: table.at(kind) for kind in ("asking", "sold")}
    x = at[price_kind]
    outside = _beyond(table, x)
    centre, half, by = _interval(fit, without, table, x, outside)
    widths = {kind: _interval(fit, without, table, at[kind], outside) for kind in ("asking", "sold")}
    currency = currencies[0]
    leverage = _leverage(table, x)
    columns = len(table.names)
    out_of_range = bool(outside.any()) or (len(used) > columns + 1 and leverage > 3 * columns / len(used))
    asked, asked_half, _ = widths["asking"]
    return Appraisal(
        name=car.name,
        value=_money(centre, currency),
        low=_money(centre - half, currency),
        high=_money(centre + half, currency),
        asked=_money(asked, currency),
        asked_low=_money(asked - asked_half, currency),
        asked_high=_money(asked + asked_half, currency),
        log_mean=centre,
        log_sd=half / Z80,
        level_sd=math.sqrt(float(fit.variance_at(x)[0] - 0.5 * fit.noise[0])),
        used=len(used),
        pulls=_pulls(fit, without, table, used, x, centre, currency),
        effects=_effects(fit, table, prior),
        warnings=(*_warnings(car, used, table, outside, out_of_range, price_kind, by), *too_many, *doubles),
        out_of_range=out_of_range,
        by=by,
    )


@dataclass(frozen=True)
class _Table:
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
        return np.asarray(np.linalg.inv(self.covariance))

    def at(self, kind: str) -> Floats:
        x = self.target.copy()
        x[self.names.index("sold")] = float(kind == "sold")
        return x


def _columns(car: CarToValue, used: Sequence[Comparable], prior: Prior) -> _Table:
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

    add("drift", [0.0 if c.seen is None else (c.seen - car.on).days / 365.25 for c in used], 0.0)
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
    return _Table(tuple(names), y, x, np.array(target), base, mean, covariance)


def _useful_options(car: CarToValue, used: Sequence[Comparable]) -> list[str]:
    """Equipment that at least two comparables have and two have not."""
    counts: dict[str, int] = {}
    for comparable in used:
        for option in set(comparable.options):
            counts[option] = counts.get(option, 0) + 1
    return sorted(option for option, n in counts.items() if 2 <= n <= len(used) - 2)[:12]


def _nearest(
    car: CarToValue, kept: Sequence[Comparable], prior: Prior
) -> tuple[Sequence[Comparable], tuple[str, ...]]:
    if len(kept) <= MOST_USED:
        return kept, ()
    km = np.array([car.mileage_km if c.mileage_km is None else c.mileage_km for c in kept])
    age = np.array([c.age_on(car.on) for c in kept])
    away = np.abs(age - car.age) * -prior.age_mean
    away += np.abs(km - car.mileage_km) / TEN_THOUSAND_MILES_KM * -prior.mileage_mean
    order = np.sort(np.argsort(away, kind="stable")[:MOST_USED])
    return [kept[i] for i in order], (
        f"Of {len(kept):,} comparables the {MOST_USED} nearest in age and distance were used.",
    )


def _fit(table: _Table, present: Floats, prior: Prior) -> Fits:
    return fit_lines(
        table.y,
        table.x,
        present,
        table.mean,
        table.precision,
        noise_scale=prior.noise_scale,
        noise_freedom=prior.noise_freedom,
        tail_freedom=prior.tail_freedom,
    )


def _beyond(table: _Table, x: Floats) -> Floats:
    """How far the car lies outside the comparables in age and distance, in the columns' own units."""
    away = np.zeros(len(x))
    low, high = table.x[:, :2].min(axis=0), table.x[:, :2].max(axis=0)
    away[:2] = np.maximum(np.maximum(low - x[:2], x[:2] - high), 0.0)
    away[away < 1e-9] = 0.0
    return away


def _leverage(table: _Table, x: Floats) -> float:
    varied = table.x.std(axis=0) > 1e-12
    xc = table.x[:, varied] - table.x[:, varied].mean(axis=0)
    d = x[varied] - table.x[:, varied].mean(axis=0)
    return float(d @ np.linalg.pinv(xc.T @ xc) @ d)


def _interval(
    fit: Fits, without: Fits | None, table: _Table, x: Floats, outside: Floats
) -> tuple[float, float, str]:
    """Middle and half-width of the 80 % interval in log price, and which route gave the width."""
    from scipy.special import stdtrit  # heavy: only when asked

    centre = float(fit.at(x)[0])
    freedom = float(fit.freedom[0])
    # Beyond the comparables the slope is only as sure as other models make it.
    extra = max(float(outside @ (np.diag(np.diag(table.covariance)) - fit.spread[0]) @ outside), 0.0)
    scale = math.sqrt(float(fit.variance_at(x)[0]) + extra)
    half = float(stdtrit(freedom, 0.9)) * scale
    if without is None or len(table.y) < JACKKNIFE_FROM:
        return centre, half, "line"
    n = len(table.y)
    own = np.abs(table.y - without.at(table.x))
    forecasts = without.at(x)
    rank = math.ceil(0.8 * (n + 1)) - 1
    high = np.sort(forecasts + own)[min(rank, n - 1)]
    low = np.sort(forecasts - own)[max(n - 1 - rank, 0)]
    other = max(float(high) - centre, centre - float(low))
    return (centre, other, "leave-one-out") if other > half else (centre, half, "line")


def _pulls(
    fit: Fits,
    without: Fits | None,
    table: _Table,
    used: Sequence[Comparable],
    x: Floats,
    centre: float,
    currency: str,
) -> tuple[Pull, ...]:
    if without is None:
        only = used[0]
        return (Pull(only.label, only.price, only.price, Money(0, currency), 1.0, "", only.origin),)
    expected = without.at(table.x)
    value_without = without.at(x)
    scale = np.sqrt(without.variance_at(table.x))
    here = _money(centre, currency)
    weights = fit.weights[0] / table.base
    pulls = []
    for i, comparable in enumerate(used):
        off = float(table.y[i] - expected[i])
        pulls.append(
            Pull(
                comparable.label,
                comparable.price,
                _money(float(expected[i]), currency),
                here - _money(float(value_without[i]), currency),
                min(float(weights[i]), 1.0),
                _reason(comparable, off, float(scale[i]), float(without.slopes[i, 1])),
                comparable.origin,
            )
        )
    return tuple(sorted(pulls, key=lambda pull: -abs(pull.moves.minor)))


def _reason(comparable: Comparable, off: float, scale: float, mileage_slope: float) -> str:
    """Why a price far from what the others say counts little; empty for an ordinary one."""
    if abs(off) < 2.24 * scale:
        return ""
    side = "below" if off < 0 else "above"
    share = abs(math.expm1(off))
    said = f"{share:.0%} {side} what the others say for its age and distance"
    ideas = []
    for factor, slip in ((10.0, "a digit too few"), (0.1, "a digit too many")):
        if abs(off + math.log(factor)) < 0.3:
            ideas.append(f"the price may have {slip}")
    if comparable.mileage_km is not None:
        for factor in (FACTORS["km per mile"], 1 / FACTORS["km per mile"]):
            shift = mileage_slope * comparable.mileage_km * (factor - 1) / TEN_THOUSAND_MILES_KM
            if abs(off - shift) < 0.5 * scale:
                ideas.append("its distance may be in the other unit (km or miles)")
                break
    if not ideas:
        ideas.append(
            "a branded title, a fault or a slip of the pen is likely"
            if off < 0
            else "rare equipment, a dealer's warranty or a slip of the pen is likely"
        )
    return f"{said}: {' or '.join(ideas)}. Look at the advert again."


def _effects(fit: Fits, table: _Table, prior: Prior) -> tuple[Effect, ...]:
    per = {
        "age": "year older",
        "mileage": "10,000 miles (16,093 km) more",
        "sold": "paid against asked",
        "drift": "year later, all cars",
        "condition": "step of condition",
    }
    rows = []
    for i, name in enumerate(table.names):
        mean, sd = float(fit.slopes[0, i]), math.sqrt(float(fit.spread[0, i, i]))
        before = math.sqrt(float(table.covariance[i, i]))
        words = per.get(name) or (f"{name} title" if name in prior.effects else f"one more {name}")
        rows.append(
            Effect(
                name,
                words.replace("one more with", "with"),
                math.expm1(mean),
                math.expm1(mean - Z80 * sd),
                math.expm1(mean + Z80 * sd),
                max(0.0, 1 - (sd / before) ** 2),
            )
        )
    return tuple(rows)


def _warnings(
    car: CarToValue,
    used: Sequence[Comparable],
    table: _Table,
    outside: Floats,
    out_of_range: bool,
    price_kind: Kind,
    by: str,
) -> list[str]:
    said = []
    n = len(used)
    if n <= 2:
        said.append(
            f"Only {n} comparable{'' if n == 1 else 's'}: {'it sets' if n == 1 else 'they set'} the level of the value. "
            "How fast this model loses value with age and distance, and how much prices scatter, cannot be seen from "
            "so few; both are taken from six other models. Five comparables or more make it this model's own value."
        )
    elif n < 5:
        said.append(
            f"Only {n} comparables: the value leans on what other models showed. Five or more are better."
        )
    ages, kms = table.x[:, 0], table.x[:, 1]
    if n > 1 and float(np.ptp(ages)) < 0.5:
        gap = abs(car.age - float(ages.mean()))
        tail = (
            f" Your car is {gap:.1f} years away from them, so that step is taken from other models."
            if gap > 0.5
            else " Your car is of the same age, so that does no harm."
        )
        said.append(
            "All comparables are of one model year: what a year costs cannot be seen from them." + tail
        )
    if outside[0] > 0:
        said.append(
            f"Your car's age, {car.age:.1f} years, lies outside the comparables ({ages.min():.1f} to {ages.max():.1f}). "
            "The interval was widened."
        )
    if outside[1] > 0:
        low, high = (kms.min() * TEN_THOUSAND_MILES_KM, kms.max() * TEN_THOUSAND_MILES_KM)
        said.append(
            f"Your car's {car.mileage_km:,.0f} km lie outside the comparables ({low:,.0f} to {high:,.0f} km). "
            "The interval was widened."
        )
    if out_of_range and not outside.any():
        said.append(
            "Your car combines age, distance and equipment as none of the comparables does; read the value with care."
        )
    if price_kind == "sold" and not any(c.kind == "sold" for c in used):
        said.append(
            "All comparables are asking prices. The step to the price paid is common practice (about 6 % less, "
            "between 1 and 11 %), not measured here."
        )
    missing = sum(c.mileage_km is None for c in used)
    if missing:
        said.append(
            f"{missing} of {n} comparables give no distance; the mean of the others was assumed and they count less."
        )
    if car.title_status != "clean" and not any(c.title_status == car.title_status for c in used):
        said.append(
            f"No comparable has a {car.title_status} title; the discount is taken from a consumer guide, not from this market."
        )
    words = condition_steps()
    strange = sorted(
        {w for w in (*(c.condition for c in used), car.condition) if w and w.casefold() not in words}
    )
    if strange:
        said.append(
            f"Condition {', '.join(repr(w) for w in strange[:3])} is not one of {', '.join(words)}; taken as ordinary."
        )
    if by == "leave-one-out":
        said.append(
            "Leaving each comparable out in turn gave a wider interval than the line; the wider one is shown."
        )
    return said


def _money(log_price: float, currency: str) -> Money:
    minor = math.exp(min(log_price, 40.0)) * 10 ** minor_digits(currency)
    return Money(round(minor), currency)
