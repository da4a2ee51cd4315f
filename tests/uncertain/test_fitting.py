"""The fitted law must have exactly the P10, the mode and the P90 that were typed in."""

import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.uncertain import Fixed, ThreePoint, fitted
from driveout.uncertain.laws import Law

RIGHT = ThreePoint(300, 850, 1800)
TIGHT = ThreePoint(110, 120, 160)
LEFT = ThreePoint(2, 9, 10)


def mode_of(law: Law) -> float:
    low, high = law.quantile(0.0005), law.quantile(0.995)
    x = np.linspace(low, high, 200_001)
    return float(x[1:-1][np.argmax(np.diff(law.cdf(x), 2) < 0)])


@pytest.mark.parametrize("kind", ["lognormal", "gamma", "bounded"])
@pytest.mark.parametrize("points", [RIGHT, TIGHT])
def test_each_law_meets_low_likely_and_high(kind: str, points: ThreePoint) -> None:
    law = fitted(points, kind, floor=None)

    assert law.quantile(0.1) == pytest.approx(points.low, abs=1e-6)
    assert law.quantile(0.9) == pytest.approx(points.high, abs=1e-6)
    assert mode_of(law) == pytest.approx(points.likely, rel=2e-3)


def test_a_range_that_leans_to_high_is_met_by_the_bounded_law() -> None:
    law = fitted(LEFT, "bounded", floor=None)

    assert (law.quantile(0.1), law.quantile(0.9)) == pytest.approx((2, 10))
    assert mode_of(law) == pytest.approx(9, abs=0.01)


@pytest.mark.parametrize("kind", ["lognormal", "gamma"])
def test_a_right_tailed_law_refuses_a_range_that_leans_to_high(kind: str) -> None:
    with pytest.raises(BadEntry, match="bounded law"):
        fitted(LEFT, kind)


def test_tail_takes_gamma_or_bounded_as_the_range_leans() -> None:
    assert type(fitted(RIGHT, "tail", None)).__name__ == "Gamma"
    assert type(fitted(LEFT, "tail", None)).__name__ == "Bounded"


def test_an_unknown_law_is_named_with_the_ones_there_are() -> None:
    with pytest.raises(BadEntry, match="lognormal, gamma, bounded, tail"):
        fitted(RIGHT, "triangle")


def test_three_equal_points_are_a_sure_value() -> None:
    assert fitted(ThreePoint(5, 5, 5)) == Fixed(5)


def test_likely_on_low_and_likely_on_high_are_still_met() -> None:
    early, late = fitted(ThreePoint(10, 10, 30), "bounded"), fitted(ThreePoint(10, 30, 30), "bounded")

    assert early.quantile(0.1) == pytest.approx(10)
    assert late.quantile(0.9) == pytest.approx(30)
    assert fitted(ThreePoint(10, 10, 30), "lognormal", None).quantile(0.9) == pytest.approx(30)


def test_a_cost_that_may_be_nothing_never_falls_under_nothing() -> None:
    law = fitted(ThreePoint(0, 180, 380))

    assert law.least == 0
    assert law.quantile(0.9) == pytest.approx(380)
    assert float(law.cdf(-0.01)) == 0
