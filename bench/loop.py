"""Many owners play their cars by driveout's way and by rules of thumb; all meet the same cars and buyers."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
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


Player = Callable[[Sequence[Job]], list[dict[str, Totals]]]


@contextmanager
def _players(workers: int) -> Iterator[Player]:
    """Processes that keep the plans they made from one comparison to the next."""
    if workers == 1:
        yield lambda jobs: [_one(job) for job in jobs]
        return
    with ProcessPoolExecutor(workers) as pool:
        yield lambda jobs: list(pool.map(_one, jobs))


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
        {"wage": (22.0, 30.0, 40.0, 50.0, 65.0)},
        {"day_cost": (0.0, 6.0, 12.0, 20.0, 30.0)},
        {"wage": (22.0, 30.0, 40.0, 50.0)},
    ],
    "half-of-resale": [
        {"share": (0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7), "checks": ("all", "quick")},
        {"first_ask": (0.95, 1.0, 1.05, 1.1), "cut": (0.03, 0.05, 0.07), "take": (0.90, 0.93, 0.96)},
    ],
    "fixed-margin": [
        {"margin": (1000.0, 1500.0, 2000.0, 2300.0, 2700.0, 3200.0, 3800.0), "checks": ("all", "quick")},
        {"first_ask": (0.95, 1.0, 1.05, 1.1), "cut": (0.03, 0.05, 0.07), "take": (0.90, 0.93, 0.96)},
    ],
}


def tuned(
    keys: Sequence[str], owners: int, cars: int, play: Player, seed: int = TUNING_SEED
) -> dict[str, Any]:
    """Best constants of each way by the same score on owners of their own, stage after stage."""
    found: dict[str, Any] = {}
    for key, stages in GRIDS.items():
        if key not in keys:
            continue
        way = WAYS[key]
        for stage in stages:
            tried = _grid(way, **stage)
            rows = play([(WORLDS["ordinary"], tried, seed, o, cars) for o in range(owners)])
            scores = {name: score([row[name] for row in rows]) for name in tried}
            best = max(scores, key=scores.__getitem__)
            way = tried[best]
            found[f"{key}: {', '.join(stage)}"] = {"best": best, "scores": scores}
            sys.stderr.write(f"{key}: {best}, score {scores[best]:.4f}\n")
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
    with _players(given.workers) as play:
        if given.tune:
            result: dict[str, Any] = {"tuned": tuned(given.ways.split(","), given.owners, given.cars, play)}
        else:
            result = _measured(given, play)
    result["seconds"] = round(time.perf_counter() - begun, 1)
    return result


def _measured(given: argparse.Namespace, play: Player) -> dict[str, Any]:
    ways = {key: WAYS[key] for key in given.ways.split(",")}
    worlds = list(WORLDS) if given.world == "every" else [given.world]
    result: dict[str, Any] = {"owners": given.owners, "cars": given.cars, "seed": given.seed}
    for name in worlds:
        jobs: list[Job] = [
            (WORLDS[name], ways, given.seed, owner, given.cars) for owner in range(given.owners)
        ]
        rows = compared(play(jobs), REFERENCE)
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
