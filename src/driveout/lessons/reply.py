"""What the lessons say, as plain data and as lines a person reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from driveout.lessons.bias import MEASURES, PRIOR, Prior, fit
from driveout.lessons.calibration import LEAST_JOBS, Calibration, calibration
from driveout.lessons.drift import drift_share, local_level
from driveout.lessons.lesson_file import Asked
from driveout.lessons.next_job import corrected
from driveout.lessons.variance import Taught
from driveout.money.bookings import work_words

# Standard deviations on each side of a normal that hold 8 of 10.
_OF_TEN = 1.2816


@dataclass(frozen=True)
class KindSays:
    """What was learned about one kind of work or cost.

    Parameters
    ----------
    measure, kind
        Which.
    finished, unfinished
        Jobs behind it.
    factor
        Typical actual / estimate.
    low, high
        Band in which 8 of 10 next jobs should fall, as actual / estimate.
    others
        Jobs of other persons that were taken in.
    """

    measure: str
    kind: str
    finished: int
    unfinished: int
    factor: float
    low: float
    high: float
    others: int = 0

    @property
    def words(self) -> str:
        """The kind as a person reads it."""
        return work_words(self.kind)


@dataclass(frozen=True)
class Drift:
    """How the typical factor moved from the first jobs to the last, where it can be told.

    Parameters
    ----------
    measure
        Of what.
    first, last
        Factor after the first quarter of the jobs and after the last.
    jobs
        Finished jobs behind it.
    moved
        Whether a walking level explains their order better than a fixed one.
    path
        Factor after each job with the band that holds it in 8 of 10 cases: low, middle, high.
    """

    measure: str
    first: float
    last: float
    jobs: int
    moved: bool = True
    path: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Says:
    """All lessons together."""

    kinds: tuple[KindSays, ...]
    calibration: Calibration
    drifts: tuple[Drift, ...]


def what_was_learned(history: Sequence[Taught], prior: Prior = PRIOR) -> Says:
    """Sum up a history of comparisons.

    Parameters
    ----------
    history
        Comparisons that count, oldest first.
    prior
        Belief before the first job.

    Returns
    -------
    Says
        Factor and band per kind, calibration, and drift where 20 jobs or more allow a word on it.
    """
    kinds: list[KindSays] = []
    drifts: list[Drift] = []
    for measure in MEASURES:
        jobs = [t.job for t in history if t.job.measure == measure]
        if not jobs:
            continue
        bias = fit(jobs, prior)
        for kind, finished, unfinished in zip(bias.kinds, bias.counts, bias.unfinished, strict=True):
            ratio = bias.forecast(kind)
            kinds.append(
                KindSays(
                    measure,
                    kind,
                    finished,
                    unfinished,
                    math.exp(ratio.log_mean),
                    ratio.quantile(0.1),
                    ratio.quantile(0.9),
                    sum(job.kind == kind and not job.is_own for job in jobs),
                )
            )
        done = [job.log_ratio for job in jobs if job.finished and job.is_own]
        if len(done) >= LEAST_JOBS:
            mean = math.fsum(done) / len(done)
            noise = max(math.fsum((z - mean) ** 2 for z in done) / (len(done) - 1), 1e-6)
            step = drift_share(done, noise)
            level = local_level(done, noise, step)
            path = tuple(
                (math.exp(m - _OF_TEN * sd), math.exp(m), math.exp(m + _OF_TEN * sd))
                for m, sd in zip(level.means, map(math.sqrt, level.variances), strict=True)
            )
            first = path[len(done) // 4][1]
            drifts.append(Drift(measure, first, path[-1][1], len(done), step > 0, path))
    return Says(tuple(kinds), calibration([one for one in history if one.job.is_own]), tuple(drifts))


def plain(says: Says, history: Sequence[Taught], asked: Sequence[Asked] = ()) -> dict[str, Any]:
    """The same as plain data."""
    result: dict[str, Any] = {
        "kinds": [
            {
                "measure": k.measure,
                "kind": k.kind,
                "finished": k.finished,
                "unfinished": k.unfinished,
                "factor": round(k.factor, 4),
                "band80": [round(k.low, 4), round(k.high, 4)],
            }
            for k in says.kinds
        ],
        "calibration": {
            "jobs": says.calibration.jobs,
            "score": round(says.calibration.score, 5),
            "point_score": round(says.calibration.point_score, 5),
            "places": list(says.calibration.places),
            "coverage": [
                {
                    "promised": c.promised,
                    "inside": c.inside,
                    "jobs": c.jobs,
                    "band": [c.low, c.high],
                    "says": c.says,
                }
                for c in says.calibration.coverage
            ],
        },
        "drift": [
            {
                "measure": d.measure,
                "first": round(d.first, 4),
                "last": round(d.last, 4),
                "jobs": d.jobs,
                "moved": d.moved,
            }
            for d in says.drifts
        ],
    }
    if asked:
        result["next"] = []
        for one in asked:
            jobs = [t.job for t in history if t.job.measure == one.measure]
            points = corrected(one.kind, one.points, fit(jobs)) if jobs else one.points
            result["next"].append(
                {
                    "measure": one.measure,
                    "kind": one.kind,
                    "said": [one.points.low, one.points.likely, one.points.high],
                    "corrected": [round(value, 4) for value in (points.low, points.likely, points.high)],
                }
            )
    return result


def lines(data: dict[str, Any]) -> list[str]:
    """The same as lines for the terminal."""
    found = [
        f"{k['measure']:6} {k['kind']:24} x {k['factor']:.2f}  8 of 10 within {k['band80'][0]:.2f} to "
        f"{k['band80'][1]:.2f}  ({k['finished']} finished, {k['unfinished']} under way)"
        for k in data["kinds"]
    ] or ["No comparisons yet."]
    for cover in data["calibration"]["coverage"]:
        found.append(
            f"Ranges that promised {100 * cover['promised']:.0f} %: {cover['inside']} of {cover['jobs']} "
            f"(chance alone {cover['band'][0]} to {cover['band'][1]}): {cover['says']}"
        )
    for d in data["drift"]:
        said = (
            f"moved from {d['first']:.2f} to {d['last']:.2f}"
            if d["moved"]
            else f"stayed near {d['last']:.2f}"
        )
        found.append(f"{d['measure']}: over {d['jobs']} jobs the typical factor {said}")
    for one in data.get("next", ()):
        said, now = one["said"], one["corrected"]
        found.append(
            f"{one['kind']} ({one['measure']}): said {said[0]:g} / {said[1]:g} / {said[2]:g}, "
            f"in the light of the lessons {now[0]:.4g} / {now[1]:.4g} / {now[2]:.4g}"
        )
    return found
