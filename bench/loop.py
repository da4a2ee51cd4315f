"""Many owners play their cars by driveout's way and by rules of thumb; all meet the same cars and buyers."""

from __future__ import annotations

import argparse
import multiprocessing
import os
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import product
from typing import Any

from driveout.simulate.compare import Totals, compared, one_owner, score
from driveout.simulate.ways import WAYS, Way
from driveout.simulate.world import WORLDS, World

REFERENCE = "driveout"
FIXED = ("half-of-resale", "fixed-margin")
#: seeds of tuning and of measuring differ
TUNING_SEED, SEED = 41, 2026
Job = tuple[World, dict[str, Way], int, int, int]


def _one(job: Job) -> dict[str, Totals]:
    return one_owner(*job)


def _played(jobs: Sequence[Job], workers: int) -> list[dict[str, Totals]]:
    if workers == 1:
        return [_one(job) for job in jobs]
    # Each worker keeps the plans it made, so neighbouring owners go to the same one.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        return list(pool.map(_one, jobs, chunksize=max(1, len(jobs) // (2 * workers))))


def _grid(way: Way, **values: Iterable[Any]) -> dict[str, Way]:
    names = list(values)
    return {
        ", ".join(f"{n}={v}" for n, v in zip(names, combination, strict=True)): replace(
            way, **dict(zip(names, combination, strict=True))
        )
        for combination in product(*values.values())
    }


GRIDS: dict[str, list[dict[str, tuple[Any, ...]]]] = {
    "driveout": [
        {"wage": (16.0, 22.0, 30.0, 40.0)},
        {"day_cost": (0.0, 6.0, 12.0, 20.0)},
    ],
    "half-of-resale": [
        {"share": (0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7), "checks": ("all", "quick")},
        {"first_ask": (0.95, 1.0, 1.05, 1.1), "cut": (0.03, 0.05, 0.07), "take": (0.90, 0.93, 0.96)},
    ],
    "fixed-margin": [
        {"margin": (800.0, 1100.0, 1400.0, 1700.0, 2000.0, 2300.0), "checks": ("all", "quick")},
        {"first_ask": (0.95, 1.0, 1.05, 1.1), "cut": (0.03, 0.05, 0.07), "take": (0.90, 0.93, 0.96)},
    ],
}


def tuned(owners: int, cars: int, workers: int, seed: int = TUNING_SEED) -> dict[str, Any]:
    """Best constants of each way by the same score on owners of their own; stage after stage, then once more."""
    found: dict[str, Any] = {}
    for key, stages in GRIDS.items():
        way, best = WAYS[key], ""
        for stage in (*stages, *stages[:-1]):
            tried = _grid(way, **stage)
            rows = _played([(WORLDS["ordinary"], tried, seed, o, cars) for o in range(owners)], workers)
            best = max(tried, key=lambda name: score([row[name] for row in rows]))
            way = tried[best]
            found[f"{key}: {', '.join(stage)}"] = {
                "best": best,
                "score": round(score([row[best] for row in rows]), 4),
            }
    return found


def run(argv: list[str]) -> dict[str, Any]:
    """Compare all ways on owners unseen in tuning."""
    options = argparse.ArgumentParser(prog="bench loop")
    options.add_argument("--owners", type=int, default=100)
    options.add_argument("--cars", type=int, default=12)
    options.add_argument("--seed", type=int, default=SEED)
    options.add_argument("--ways", default=",".join(WAYS))
    options.add_argument("--world", default="ordinary", choices=[*WORLDS, "every"])
    options.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options.add_argument("--tune", action="store_true", help="look for the best constants instead")
    given = options.parse_args(argv)
    begun = time.perf_counter()
    if given.tune:
        return {
            "tuned": tuned(given.owners, given.cars, given.workers),
            "seconds": round(time.perf_counter() - begun, 1),
        }
    ways = {key: WAYS[key] for key in given.ways.split(",")}
    worlds = list(WORLDS) if given.world == "every" else [given.world]
    result: dict[str, Any] = {"owners": given.owners, "cars": given.cars, "seed": given.seed}
    for name in worlds:
        jobs: list[Job] = [
            (WORLDS[name], ways, given.seed, owner, given.cars) for owner in range(given.owners)
        ]
        rows = compared(_played(jobs, given.workers), REFERENCE)
        shown = {
            row.key: {
                **{measure: rate.as_data() for measure, rate in row.rates.items()},
                "gain": {measure: gain.as_data() for measure, gain in row.gains.items()},
                "loss_share": round(row.loss_share, 4),
                "hours_per_car": round(row.hours_per_car, 1),
                "days_per_car": round(row.days_per_car, 1),
                "seen_per_car": round(row.seen_per_car, 2),
                "cars": row.cars,
            }
            for row in rows
        }
        if name == worlds[0]:
            result |= _against_fixed(shown)
        result.setdefault("worlds", {})[name] = shown
    result["seconds"] = round(time.perf_counter() - begun, 1)
    return result


def _against_fixed(shown: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """The smallest gain over the fixed rules: what is promised is promised against the best of them."""
    fixed = [key for key in FIXED if key in shown]
    if not fixed:
        return {}
    hardest = min(fixed, key=lambda key: shown[key]["gain"]["per_hour"]["value"])
    slowest = min(fixed, key=lambda key: shown[key]["gain"]["per_day"]["value"])
    return {
        "against": hardest,
        "per_hour_gain": shown[hardest]["gain"]["per_hour"]["value"],
        "per_hour_gain_low": shown[hardest]["gain"]["per_hour"]["low"],
        "per_hour_gain_share": round(
            shown[hardest]["gain"]["per_hour"]["value"] / shown[hardest]["per_hour"]["value"], 4
        ),
        "per_day_gain": shown[slowest]["gain"]["per_day"]["value"],
        "per_day_gain_low": shown[slowest]["gain"]["per_day"]["low"],
    }
