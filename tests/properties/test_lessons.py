"""What holds for every history and every estimate."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.lessons import Job, Prior, actuals, fit, next_estimate, variance
from driveout.money import cost_of_car
from driveout.uncertain import ThreePoint
from tests.lessons import an_estimate
from tests.money.story import random_history

STILL = Prior(drift_sd=0.0)
brief = settings(max_examples=40, deadline=None)
sizes = st.floats(0.05, 200)
jobs = st.builds(Job, st.sampled_from(["clutch", "paint", "brakes"]), sizes, sizes, st.booleans())
ranges = st.builds(
    lambda low, up, more: ThreePoint(low, low + up, low + up + more),
    st.floats(0.01, 50),
    st.floats(0, 50),
    st.floats(0.01, 100),
)


@brief
@given(st.integers(0, 2**32 - 1), st.integers(0, 30), st.sampled_from(["0", "12.50", "33.33"]))
def test_variance_adds_up_to_the_cent_for_any_history(seed: int, steps: int, wage: str) -> None:
    history = random_history(np.random.default_rng(seed), steps)
    estimate = an_estimate(wage)
    for car in ("Car-1", "Car-2"):
        cost = cost_of_car(history, car, "USD")
        booked = actuals(history, car, estimate)
        result = variance(estimate, cost, booked)

        assert sum(line.effect.minor for line in result.lines) == result.total.minor
        assert sum(actual.cost.minor for actual in booked) == (cost.total_cost - cost.selling_fees).minor
        assert result.actual_minutes == cost.minutes


@brief
@given(st.sampled_from(["clutch", "paint", "wiring"]), ranges, st.lists(jobs, max_size=12))
def test_a_corrected_estimate_is_still_a_range_above_nothing(
    kind: str, said: ThreePoint, history: list[Job]
) -> None:
    after = next_estimate(kind, said, history)

    assert 0 <= after.low <= after.likely <= after.high < math.inf


@brief
@given(st.lists(jobs, min_size=1, max_size=12), st.randoms(use_true_random=False))
def test_without_a_drift_the_order_of_finished_jobs_does_not_matter(
    history: list[Job], order: object
) -> None:
    finished = [Job(job.kind, job.estimate, job.actual) for job in history]
    shuffled = list(finished)
    order.shuffle(shuffled)  # type: ignore[attr-defined]

    for kind in ("clutch", "paint", "brakes", "never"):
        assert math.isclose(
            fit(finished, STILL).forecast(kind).mean, fit(shuffled, STILL).forecast(kind).mean, rel_tol=1e-9
        )


@brief
@given(st.lists(jobs, min_size=1, max_size=8), st.floats(1.01, 4))
def test_longer_actuals_never_forecast_a_shorter_next_job(history: list[Job], longer: float) -> None:
    finished = [Job("clutch", job.estimate, job.actual) for job in history]
    stretched = [Job(job.kind, job.estimate, job.actual * longer) for job in finished]

    assert fit(stretched).level("clutch")[0] >= fit(finished).level("clutch")[0] - 1e-9
