"""Do the person's ranges hold what they promise? Claims nothing below 20 jobs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from driveout.errors import BadEntry
from driveout.lessons.variance import Taught
from driveout.uncertain import Law, ThreePoint, fitted

LEAST_JOBS = 20
# A person's ranges of years ago say little about today's.
NEWEST = 200
_BINS = 5


@dataclass(frozen=True)
class Coverage:
    """How many actuals fell inside ranges that promised a share.

    Parameters
    ----------
    promised
        Share the ranges promised.
    inside, jobs
        How many fell inside, of how many.
    low, high
        Counts that chance alone would give in 95 of 100 histories, were the promise true.
    """

    promised: float
    inside: int
    jobs: int
    low: int
    high: int

    @property
    def says(self) -> str:
        """What can be said, in words."""
        if self.jobs < LEAST_JOBS:
            return f"{self.jobs} of the {LEAST_JOBS} jobs needed before anything can be said"
        if self.inside < self.low:
            return "ranges too narrow"
        return "ranges too wide" if self.inside > self.high else "ranges hold"


@dataclass(frozen=True)
class Calibration:
    """How the person's ranges compare with what happened.

    Parameters
    ----------
    jobs
        Finished jobs compared.
    coverage
        For promised shares of 50, 80 and 95 %.
    score
        Mean continuous ranked probability score, relative to each estimate; less is better.
    point_score
        The same for the bare middle of each estimate, without a range.
    places
        How many actuals fell into each fifth of their range's law; even when the ranges hold.
    """

    jobs: int
    coverage: tuple[Coverage, ...]
    score: float
    point_score: float
    places: tuple[int, ...]


def binomial_band(jobs: int, share: float, level: float = 0.95) -> tuple[int, int]:
    """Least and most hits that chance gives in ``level`` of histories of that length.

    Parameters
    ----------
    jobs
        Number of trials.
    share
        Chance of a hit.
    level
        Share of histories inside the band.

    Returns
    -------
    tuple of int
        Least and most hits; each tail outside holds at most ``(1 - level) / 2``.

    References
    ----------
    binomial-band, tables of 30, 50 and 100 trials.
    """
    chances = [math.comb(jobs, k) * share**k * (1 - share) ** (jobs - k) for k in range(jobs + 1)]
    sums = np.cumsum(chances)
    tail = (1 - level) / 2
    return int(np.searchsorted(sums, tail, side="left")), int(np.searchsorted(sums, 1 - tail, side="left"))


def crps_lognormal(actual: float, mean: float, sd: float) -> float:
    """Continuous ranked probability score of a lognormal forecast.

    ``y (2 Phi(w) - 1) - 2 exp(mean + sd^2/2) [Phi(w - sd) + Phi(sd / sqrt 2) - 1]`` with
    ``w = (ln y - mean) / sd``.

    Parameters
    ----------
    actual
        What happened, above 0.
    mean
        Mean of the logarithm.
    sd
        Standard deviation of the logarithm, above 0.

    Returns
    -------
    float
        In the unit of ``actual``; less is better.

    Raises
    ------
    BadEntry
        If ``actual`` or ``sd`` is not above 0.

    References
    ----------
    scoring-rules-crps, lognormal.
    """
    if actual <= 0 or sd <= 0:
        raise BadEntry(
            f"A lognormal score needs an actual ({actual}) and a spread ({sd}) above 0.",
            field="actual" if actual <= 0 else "sd",
            value=actual if actual <= 0 else sd,
            allowed="above 0",
        )
    w = (math.log(actual) - mean) / sd
    lift = 2 * math.exp(mean + 0.5 * sd * sd)
    return actual * (2 * _normal_share(w) - 1) - lift * (
        _normal_share(w - sd) + _normal_share(sd / math.sqrt(2)) - 1
    )


def _normal_share(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def crps_of(law: Law, actual: float) -> float:
    """Continuous ranked probability score of any law: ``E|X - y| - E|X - X'| / 2``.

    Parameters
    ----------
    law
        The forecast.
    actual
        What happened, in the law's unit.

    Returns
    -------
    float
        In the law's unit; less is better.

    References
    ----------
    scoring-rules-crps, kernel form.
    """
    to_actual = 2 * float(law.excess(actual)) - law.mean + actual
    low, high = law.quantile(1e-6), law.quantile(1 - 1e-6)
    if high <= low:
        return abs(actual - law.mean)
    x = np.linspace(low, high, 2001)
    share = law.cdf(x)
    return to_actual - float(np.trapezoid(share * (1 - share), x))


@lru_cache(maxsize=4096)
def _score(points: ThreePoint, actual: float) -> float:
    return crps_of(fitted(points), actual)


def calibration(history: Sequence[Taught]) -> Calibration:
    """Compare frozen ranges with what happened.

    Parameters
    ----------
    history
        Comparisons from closed cars; unfinished jobs and estimates without a range are left out.

    Returns
    -------
    Calibration
        Counts, bands, scores of the newest 200. With fewer than 20 jobs the words claim nothing.
    """
    ranged = [t for t in history if t.job.finished and not t.points.is_sure][-NEWEST:]
    rows = [(fitted(t.points), t.job) for t in ranged]
    shares = [float(law.cdf(job.actual)) for law, job in rows]
    jobs = len(rows)
    coverage = []
    for promised in (0.5, 0.8, 0.95):
        edge = (1 - promised) / 2
        inside = sum(edge <= share <= 1 - edge for share in shares)
        coverage.append(Coverage(promised, inside, jobs, *binomial_band(jobs, promised)))
    scores = [_score(t.points, t.job.actual) / t.job.estimate for t in ranged]
    points = [abs(job.actual - job.estimate) / job.estimate for _, job in rows]
    places = [0] * _BINS
    for share in shares:
        places[min(int(share * _BINS), _BINS - 1)] += 1
    return Calibration(
        jobs=jobs,
        coverage=tuple(coverage),
        score=math.fsum(scores) / jobs if jobs else 0.0,
        point_score=math.fsum(points) / jobs if jobs else 0.0,
        places=tuple(places),
    )
