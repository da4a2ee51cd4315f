"""The calibration page claims nothing below 20 jobs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.lessons import Job, Taught, calibration, crps_lognormal, drift_share, local_level
from driveout.uncertain import ThreePoint, fitted

POINTS = ThreePoint(8, 10, 15)


def jobs(count: int, stretch: float = 1.0) -> list[Taught]:
    """Jobs drawn from the stated range itself, their distance from the middle stretched."""
    law = fitted(POINTS)
    middle = law.quantile(0.5)
    drawn = law.sample(np.random.default_rng(3), count)
    return [Taught(Job("clutch", middle, max(0.1, middle + stretch * (x - middle))), POINTS) for x in drawn]


def test_nineteen_jobs_claim_nothing_and_twenty_may() -> None:
    assert {cover.says for cover in calibration(jobs(19)).coverage} == {
        "19 of the 20 jobs needed before anything can be said"
    }
    assert all("needed" not in cover.says for cover in calibration(jobs(20)).coverage)


def test_no_history_gives_zeros_and_no_claim() -> None:
    result = calibration([])

    assert (result.jobs, result.score, result.point_score) == (0, 0.0, 0.0)


def test_honest_ranges_hold_and_narrow_ones_are_called_narrow() -> None:
    assert calibration(jobs(100)).coverage[1].says == "ranges hold"
    assert calibration(jobs(100, 3.0)).coverage[1].says == "ranges too narrow"
    assert calibration(jobs(100, 0.1)).coverage[1].says == "ranges too wide"


def test_a_range_scores_better_than_its_bare_middle() -> None:
    result = calibration(jobs(200))

    assert result.score < result.point_score
    assert sum(result.places) == 200


def test_unfinished_jobs_and_single_numbers_are_left_out() -> None:
    sure = Taught(Job("a", 1, 2), ThreePoint(1, 1, 1))
    under_way = Taught(Job("a", 10, 2, finished=False), POINTS)

    assert calibration([sure, under_way]).jobs == 0


def test_a_lognormal_score_needs_something_above_zero() -> None:
    with pytest.raises(BadEntry, match="above 0"):
        crps_lognormal(0.0, 0.0, 1.0)
    with pytest.raises(BadEntry, match="above 0"):
        crps_lognormal(1.0, 0.0, 0.0)


def test_without_drift_the_level_is_the_plain_normal_average() -> None:
    values = [0.3, -0.1, 0.25, 0.4]
    level = local_level(values, 0.04, 0.0, start=(0.1, 0.09))
    precision = 1 / 0.09 + 4 / 0.04

    assert level.means[-1] == pytest.approx((0.1 / 0.09 + sum(values) / 0.04) / precision)
    assert level.variances[-1] == pytest.approx(1 / precision)


def test_a_level_needs_values_and_variances() -> None:
    with pytest.raises(BadEntry, match="no value"):
        local_level([], 1.0, 1.0)
    with pytest.raises(BadEntry, match="above 0"):
        local_level([1.0], 0.0, 1.0)


def test_drift_is_seen_where_it_is_and_not_where_it_is_not() -> None:
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.2, 60)

    assert drift_share([0.6 - 0.02 * i + noise[i] for i in range(60)], 0.04) > 0
    assert drift_share(list(noise), float(np.var(noise))) <= 0.003 * math.ceil(float(np.var(noise)))
