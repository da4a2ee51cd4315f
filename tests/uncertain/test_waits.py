"""The wait for an event of unsure rate, held to draws and to SciPy's Lomax law."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import lomax

from driveout.errors import BadEntry
from driveout.uncertain import Wait, on_lattice

LAWS = (Wait(2.0, 90.0, 180.0), Wait(1.0, 45.0, 120.0), Wait(0.6, 20.0, 365.0), Wait(12.0, 400.0, 1000.0))


@pytest.mark.parametrize("law", LAWS)
def test_share_quantile_and_mean_are_those_of_the_lomax_law_cut_off(law: Wait) -> None:
    # scipy.stats.lomax: expect() integrates min(x, most) numerically, a route of its own
    other = lomax(law.shape, scale=law.scale)
    days = np.array([0.0, 1.0, 10.0, 60.0, law.most - 1.0])

    assert law.cdf(days) == pytest.approx(other.cdf(days), abs=1e-12)
    assert law.cdf(law.most) == 1.0
    assert law.quantile(0.3) == pytest.approx(min(other.ppf(0.3), law.most))
    inside = other.expect(lambda x: x, lb=0.0, ub=law.most)
    assert law.mean == pytest.approx(inside + law.most * other.sf(law.most), rel=1e-7)


@pytest.mark.parametrize("law", LAWS)
def test_moments_excess_and_exponential_mean_are_those_of_draws(law: Wait) -> None:
    drawn = law.sample(np.random.default_rng(3), 400_000)
    error = 4.0 * drawn.std() / math.sqrt(drawn.size)

    assert law.mean == pytest.approx(drawn.mean(), abs=error)
    assert law.variance == pytest.approx(drawn.var(), rel=0.02)
    assert float(law.excess(30.0)) == pytest.approx(np.maximum(drawn - 30.0, 0.0).mean(), abs=error)
    assert float(law.excess(-5.0)) == pytest.approx(law.mean + 5.0)
    assert law.exponential_mean(0.01) == pytest.approx(np.exp(0.01 * drawn).mean(), rel=0.02)


@pytest.mark.parametrize("law", LAWS)
def test_its_lattice_keeps_the_mean(law: Wait) -> None:
    assert on_lattice(law, 2.0).mean == pytest.approx(law.mean, rel=1e-6)


@pytest.mark.parametrize("wrong", [(0.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, math.inf)])
def test_a_wait_without_sense_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(BadEntry, match="above 0"):
        Wait(*wrong)


def test_a_share_outside_0_to_1_is_refused() -> None:
    with pytest.raises(BadEntry, match="from 0 to 1"):
        LAWS[0].quantile(1.5)
    assert LAWS[0].quantile(1.0) == 180.0
