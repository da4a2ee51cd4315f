"""A person's bias is learned gently, and without history nothing changes."""

from __future__ import annotations

import math

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.lessons import DAYS, MONEY, Job, Prior, fit, next_estimate, trust_in_own_average
from driveout.uncertain import ThreePoint

SAID = ThreePoint(8, 10, 15)


def test_without_history_the_estimate_is_what_the_person_said() -> None:
    assert next_estimate("clutch", SAID, []) == SAID
    assert next_estimate("clutch", SAID, [Job("clutch", 10, 20, measure=MONEY)]) == SAID


def test_a_first_job_that_came_out_as_estimated_moves_nothing() -> None:
    assert next_estimate("clutch", SAID, [Job("clutch", 10, 10)]).likely == pytest.approx(10)


def test_one_overrun_moves_the_next_estimate_less_than_all_the_way() -> None:
    after = next_estimate("clutch", SAID, [Job("clutch", 10, 20)])

    assert 10 < after.likely < 15


def test_many_equal_overruns_move_it_nearly_all_the_way() -> None:
    after = next_estimate("clutch", SAID, [Job("clutch", 10, 15)] * 30)

    assert after.likely == pytest.approx(15, rel=0.05)


def test_a_kind_never_done_learns_from_the_other_kinds_but_less() -> None:
    history = [Job("clutch", 10, 15)] * 4
    same, other = next_estimate("clutch", SAID, history), next_estimate("paint", SAID, history)

    assert 10 < other.likely < same.likely


def test_an_unfinished_overrun_teaches_in_the_right_direction_and_at_least_as_finished() -> None:
    base = [Job("clutch", 10, 11), Job("brakes", 10, 9)]
    without = fit(base).forecast("clutch").log_mean
    under_way = fit([*base, Job("clutch", 10, 20, finished=False)]).forecast("clutch").log_mean
    finished = fit([*base, Job("clutch", 10, 20)]).forecast("clutch").log_mean

    assert without < finished < under_way


def test_an_unfinished_job_that_has_hardly_begun_teaches_almost_nothing() -> None:
    base = [Job("clutch", 10, 11), Job("brakes", 10, 9)]
    begun = fit([*base, Job("clutch", 10, 0.2, finished=False)]).forecast("clutch").log_mean

    assert begun == pytest.approx(fit(base).forecast("clutch").log_mean, abs=1e-3)


def test_a_single_number_gets_a_range_from_experience() -> None:
    after = next_estimate("clutch", ThreePoint(10, 10, 10), [Job("clutch", 10, 12), Job("clutch", 10, 7)])

    assert after.low < after.likely < after.high


def test_a_range_that_begins_at_nothing_is_scaled() -> None:
    after = next_estimate("clutch", ThreePoint(0, 10, 15), [Job("clutch", 10, 20)])

    assert after.low == 0
    assert after.high / after.likely == pytest.approx(1.5)


def test_the_mean_of_a_forecast_is_finite_even_after_one_wild_job() -> None:
    ratio = fit([Job("clutch", 1, 1000)]).forecast("clutch")

    assert math.isfinite(ratio.mean)


def test_quantiles_and_shares_are_each_others_inverse() -> None:
    ratio = fit([Job("clutch", 10, 14), Job("paint", 3, 8), Job("clutch", 6, 5)]).forecast("paint")
    for share in (0.001, 0.1, 0.5, 0.9, 0.999):
        assert ratio.cdf(ratio.quantile(share)) == pytest.approx(share, abs=1e-9)
    assert ratio.cdf(0) == 0
    with pytest.raises(BadEntry, match="share"):
        ratio.quantile(1.0)


def test_a_prior_overrun_can_be_stated_and_fades() -> None:
    stated = Prior(mean=0.2)
    few, many = [Job("clutch", 10, 10)], [Job("clutch", 10, 10)] * 40

    assert fit(few, stated).level("clutch")[0] > 0.05
    assert fit(many, stated).level("clutch")[0] == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_job_without_size_cannot_be_compared(value: float) -> None:
    with pytest.raises(BadEntry, match="must be above 0"):
        Job("clutch", value, 1.0)
    with pytest.raises(BadEntry, match="must be above 0"):
        Job("clutch", 1.0, value)


def test_an_unknown_measure_is_named() -> None:
    assert Job("clutch", 1, 1, measure=DAYS).measure == "days"
    with pytest.raises(BadEntry, match="not a measure"):
        Job("clutch", 1, 1, measure="miles")


def test_trust_needs_four_values_and_a_variance() -> None:
    assert trust_in_own_average([1, 1, 1, 1], 2.0) == 0.0
    with pytest.raises(CannotSay, match="too few"):
        trust_in_own_average([1, 2, 3], 1.0)
    with pytest.raises(BadEntry, match="below 0"):
        trust_in_own_average([1, 2, 3, 4], -1.0)
