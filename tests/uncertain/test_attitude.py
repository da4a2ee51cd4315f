import math

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain import Gamma, Lognormal, certainty_equivalent, worth_after_cost, worth_of_noisy_look


def test_a_lognormal_cost_has_no_certainty_equivalent() -> None:
    with pytest.raises(CannotSay, match="infinite"):
        worth_after_cost(3000.0, Lognormal(math.log(800.0), 0.8), 300.0)


def test_a_gamma_cost_has_one_while_its_scale_is_under_the_tolerance() -> None:
    drawn = Gamma(3.0, 100.0).sample(np.random.default_rng(4), 400_000)
    inner = np.exp(drawn / 900.0)
    by_draws = -900.0 * math.log(inner.mean())
    error = 900.0 * inner.std() / inner.mean() / math.sqrt(drawn.size)

    assert worth_after_cost(0.0, Gamma(3.0, 100.0), 900.0) == pytest.approx(by_draws, abs=4 * error)
    with pytest.raises(CannotSay, match="larger tolerance"):
        worth_after_cost(0.0, Gamma(3.0, 100.0), 100.0)


def test_a_tolerance_must_be_money_above_nothing() -> None:
    with pytest.raises(BadEntry, match="tolerance"):
        certainty_equivalent([1.0], [1.0], 0.0)
    with pytest.raises(BadEntry, match="chances"):
        certainty_equivalent([1.0, 2.0], [1.0], 5.0)


def test_a_perfect_look_is_worth_at_least_a_noisy_one() -> None:
    assert worth_of_noisy_look(-100, 300, 0) > worth_of_noisy_look(-100, 300, 150) > 0
