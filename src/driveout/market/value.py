"""What a car is worth, from similar cars: a robust line through log prices that starts from other models."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.market.appraisal import Z80, Appraisal, CarToValue, Effect, Pull, refers_to
from driveout.market.cautions import cautions, outlier_reason
from driveout.market.columns import TEN_THOUSAND_MILES_KM, Table, beyond, columns_of, leverage
from driveout.market.comparables import Comparable, Kind
from driveout.market.doubles import without_duplicates
from driveout.market.prior import Prior, default_prior, interval_factor
from driveout.market.regression import Fits, Floats, fit_lines
from driveout.units import Money, minor_digits

MOST_USED = 300


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
    own-reasoning, docs/method/value.md; student-t-regression.
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
    table = columns_of(car, used, prior)
    everyone = np.ones((1, len(used))) * table.base
    alone = np.repeat(everyone, len(used), axis=0)
    np.fill_diagonal(alone, 0.0)
    fit = _fit(table, everyone, prior)
    without = _fit(table, alone, prior) if len(used) > 1 else None
    x, advert = table.at(price_kind), table.at("asking")
    outside = beyond(table, x)
    centre, half = _interval(fit, table, x, outside)
    asked, asked_half = _interval(fit, table, advert, outside)
    currency = currencies[0]
    columns = len(table.names)
    out_of_range = bool(outside.any()) or (
        len(used) > columns + 1 and leverage(table, x) > 3 * columns / len(used)
    )
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
        warnings=(*cautions(car, used, table, outside, out_of_range, price_kind), *too_many, *doubles),
        out_of_range=out_of_range,
        refers_to=refers_to(car.condition),
        own_models=prior.own_models,
    )


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


def _fit(table: Table, present: Floats, prior: Prior) -> Fits:
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


def _interval(fit: Fits, table: Table, x: Floats, outside: Floats) -> tuple[float, float]:
    """Middle and half-width of the 80 % interval in log price."""
    from scipy.special import stdtrit  # heavy: only when asked

    # Beyond the comparables the slope is only as sure as other models make it.
    extra = max(float(outside @ (np.diag(np.diag(table.covariance)) - fit.spread[0]) @ outside), 0.0)
    scale = math.sqrt(float(fit.variance_at(x)[0]) + extra)
    half = float(stdtrit(float(fit.freedom[0]), 0.9)) * scale * interval_factor(len(table.y))
    return float(fit.at(x)[0]), half


def _pulls(
    fit: Fits,
    without: Fits | None,
    table: Table,
    used: Sequence[Comparable],
    x: Floats,
    centre: float,
    currency: str,
) -> tuple[Pull, ...]:
    if without is None:
        only = used[0]
        nothing = Money(0, currency)
        return (
            Pull(
                *(only.label, only.price, only.price, nothing, 1.0, "", only.origin),
                *(only.mileage_km, only.kind == "sold"),
            ),
        )
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
                outlier_reason(comparable, off, float(scale[i]), float(without.slopes[i, 1])),
                comparable.origin,
                comparable.mileage_km,
                comparable.kind == "sold",
            )
        )
    return tuple(sorted(pulls, key=lambda pull: -abs(pull.moves.minor)))


def _effects(fit: Fits, table: Table, prior: Prior) -> tuple[Effect, ...]:
    per = {
        "age": "year older",
        "mileage": "10,000 miles (16,093 km) more",
        "sold": "paid against asked",
        "drift": "year later, all cars",
        "condition": "step of condition",
        "season": "today's time of year against half a year away",
        "season turn": "a quarter of a year later against a quarter earlier",
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


def _money(log_price: float, currency: str) -> Money:
    minor = math.exp(min(log_price, 40.0)) * 10 ** minor_digits(currency)
    return Money(round(minor), currency)
