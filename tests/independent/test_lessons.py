"""The bias model against prior draws, and scores against another library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scoringrules
from scipy.special import log_ndtr
from scipy.stats import binom

from driveout.lessons import PRIOR, Job, Prior, crps_lognormal, fit
from driveout.lessons.calibration import binomial_band, crps_of
from driveout.uncertain import Gamma, Lognormal

HISTORY = [
    Job("clutch", 10, 12),
    Job("clutch", 8, 13),
    Job("cooling", 5, 4.6),
    Job("paint", 6, 7),
    Job("clutch", 10, 24, finished=False),
    Job("wiring", 3, 5, finished=False),
]


def by_prior_draws(jobs: list[Job], kinds: list[str]) -> dict[str, tuple[float, float]]:
    """Mean and standard deviation of each kind's level: draw everything from the prior, weigh by likelihood."""
    rng = np.random.default_rng(11)
    count = 1_500_000
    job_sd, kind_sd = (np.abs(rng.normal(0, scale, count)) for scale in (PRIOR.job_spread, PRIOR.kind_spread))
    inside = (job_sd > 0.08) & (job_sd < 1.2) & (kind_sd > 0.01) & (kind_sd < 1.0)
    job_sd, kind_sd = job_sd[inside], kind_sd[inside]
    centre = rng.normal(PRIOR.mean, PRIOR.sd, len(job_sd))
    levels = {kind: centre + kind_sd * rng.normal(size=len(job_sd)) for kind in kinds}
    log_weight = np.zeros(len(job_sd))
    for job in jobs:
        z = (job.log_ratio - levels[job.kind]) / job_sd
        log_weight += -0.5 * z * z - np.log(job_sd) if job.finished else log_ndtr(-z)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    found = {}
    for kind, level in levels.items():
        mean = float(weight @ level)
        found[kind] = (mean, math.sqrt(float(weight @ (level - mean) ** 2)))
    return found


@pytest.mark.parametrize("jobs", [HISTORY[:4], HISTORY], ids=["finished", "with unfinished"])
def test_levels_agree_with_draws_from_the_prior(jobs: list[Job]) -> None:
    kinds = sorted({job.kind for job in jobs})
    drawn = by_prior_draws(jobs, [*kinds, "never done"])
    bias = fit(jobs)

    # About 1e5 effective draws: one standard error is below 0.002; the grid's cells add as much again.
    for kind, (mean, sd) in drawn.items():
        assert bias.level(kind) == pytest.approx((mean, sd), abs=0.008)


@pytest.mark.parametrize(
    ("actual", "mean", "sd"), [(3.0, 0.1, 0.9), (1.0, 0.0, 1.0), (0.2, -1.0, 0.3), (9.0, 2.0, 1.1)]
)
def test_lognormal_scores_agree_with_another_library(actual: float, mean: float, sd: float) -> None:
    theirs = float(scoringrules.crps_lognormal(actual, mean, sd))

    assert crps_lognormal(actual, mean, sd) == pytest.approx(theirs, rel=1e-9)
    assert crps_of(Lognormal(mean, sd), actual) == pytest.approx(theirs, rel=2e-3)


def test_gamma_scores_agree_with_another_library() -> None:
    for actual in (0.5, 3.0, 12.0):
        theirs = float(scoringrules.crps_gamma(actual, 2.5, scale=1.7))

        assert crps_of(Gamma(2.5, 1.7), actual) == pytest.approx(theirs, rel=1e-4)


def test_the_score_of_a_mixture_agrees_with_a_large_sample() -> None:
    ratio = fit(HISTORY).forecast("clutch")
    rng = np.random.default_rng(4)
    pick = rng.choice(len(ratio.weights), size=400_000, p=ratio.weights)
    draws = np.sort(np.exp(rng.normal(ratio.means[pick], ratio.sds[pick])))
    theirs = float(scoringrules.crps_ensemble(1.3, draws, sorted_ensemble=True))

    assert ratio.crps(1.3) == pytest.approx(theirs, rel=0.01)


@pytest.mark.parametrize("jobs", [1, 20, 37, 250])
def test_bands_agree_with_another_library(jobs: int) -> None:
    for share in (0.5, 0.8, 0.95):
        low, high = binom.ppf([0.025, 0.975], jobs, share)

        assert binomial_band(jobs, share) == (int(low), int(high))


def test_the_drift_is_the_slope_of_least_squares_with_one_level_a_kind_drawn_to_nothing() -> None:
    rng = np.random.default_rng(3)
    kinds = rng.integers(0, 4, 40)
    ratios = 0.2 * kinds - 0.02 * np.arange(40) + 0.1 * rng.normal(size=40)
    history = [Job(str(kind), 1.0, math.exp(z)) for kind, z in zip(kinds, ratios, strict=True)]

    columns = np.column_stack([kinds[:, None] == np.arange(4), np.arange(40.0)])
    found, rest, *_ = np.linalg.lstsq(columns, ratios, rcond=None)
    scatter = float(rest[0]) / (40 - 5)
    inverse = np.linalg.inv(columns.T @ columns)[4, 4]
    weight = 0.004**2 / (0.004**2 + scatter * inverse)
    assert math.isclose(fit(history).drift, weight * found[4], rel_tol=1e-6)


def test_one_sided_errors_make_a_one_sided_forecast() -> None:
    rng = np.random.default_rng(8)
    history = [Job("clutch", 1.0, math.exp(0.3 * (rng.exponential() - 1))) for _ in range(60)]

    ratio = fit(history).forecast("clutch")
    up = math.log(ratio.quantile(0.95)) - math.log(ratio.quantile(0.5))
    down = math.log(ratio.quantile(0.5)) - math.log(ratio.quantile(0.05))
    # An exponential law: ln 10 = 2.30 above the middle against ln 1.9 = 0.64 below.
    assert up > 1.5 * down
    assert math.isclose(ratio.log_mean, fit(history, Prior(shape_jobs=math.inf)).forecast("clutch").log_mean)
