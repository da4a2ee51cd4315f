import math

import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.uncertain import Bounded, Fixed, Floored, Gamma, Lognormal, Mixture, Scaled, maybe, on_lattice
from driveout.uncertain.laws import Law

LAWS: list[Law] = [
    Fixed(7.5),
    Lognormal(3.0, 0.6, 5.0),
    Gamma(2.5, 40.0, 10.0),
    Bounded(20.0, 90.0, 2.0, 4.0),
    Floored(Bounded(-20.0, 90.0, 2.0, 4.0), 0.0),
    Floored(Gamma(3.0, 20.0, -15.0), 0.0),
    Scaled(Gamma(2.5, 40.0), 1.4, 3.0),
    Mixture((0.3, 0.7), (Fixed(10.0), Gamma(4.0, 25.0))),
    maybe(0.2, Lognormal(4.0, 0.4)),
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_draws_have_the_mean_and_variance_that_the_law_states(law: Law) -> None:
    drawn = law.sample(np.random.default_rng(20), 200_000)
    error = math.sqrt(max(law.variance, 1e-12) / drawn.size)
    fourth = float(np.mean((drawn - drawn.mean()) ** 4))
    spread_error = math.sqrt(max(fourth - drawn.var() ** 2, 1e-12) / drawn.size)

    assert drawn.mean() == pytest.approx(law.mean, abs=4 * error)
    assert drawn.var() == pytest.approx(law.variance, abs=4 * spread_error)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_excess_over_a_bar_is_what_draws_show(law: Law) -> None:
    drawn = law.sample(np.random.default_rng(21), 200_000)
    bars = np.array([law.least - 3.0, law.mean, law.quantile(0.9)])
    over = np.maximum(drawn[None, :] - bars[:, None], 0.0)
    error = over.std(axis=1) / math.sqrt(drawn.size)

    assert np.all(np.abs(law.excess(bars) - over.mean(axis=1)) <= 4 * error + 1e-9)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_the_lattice_keeps_the_mean_and_adds_at_most_a_quarter_step_squared(law: Law) -> None:
    for step in (0.7, 10.0):
        grid = on_lattice(law, step)

        assert grid.mean == pytest.approx(law.mean, rel=1e-9)
        assert -1e-4 * law.variance <= grid.variance - law.variance <= step**2 / 4 + 1e-9


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_the_mean_of_the_exponential_is_what_the_lattice_shows(law: Law) -> None:
    rate = -0.004
    grid = on_lattice(law, 0.25)

    assert law.exponential_mean(rate) == pytest.approx(float(grid.pmf @ np.exp(rate * grid.points)), rel=1e-6)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_the_quantile_undoes_the_share(law: Law) -> None:
    for share in (0.05, 0.4, 0.5, 0.9):
        value = law.quantile(share)

        assert float(law.cdf(value)) >= share - 1e-9
        assert float(law.cdf(value - 1e-6 * max(abs(value), 1.0))) <= share + 1e-6


def test_a_positive_exponential_needs_a_light_tail() -> None:
    assert Gamma(2.0, 50.0).exponential_mean(0.02) == math.inf
    assert Lognormal(3.0, 0.2).exponential_mean(1e-9) == math.inf
    assert Bounded(0.0, 500.0, 2.0, 2.0).exponential_mean(0.01) < math.inf


def test_a_mixture_is_no_narrower_than_its_parts_allow() -> None:
    mix = Mixture((0.5, 0.5), (Fixed(0.0), Fixed(10.0)))

    assert mix.variance == 25.0
    assert (mix.quantile(0.4), mix.quantile(0.6)) == (0.0, 10.0)


@pytest.mark.parametrize("weights", [(0.5, 0.6), (-0.1, 1.1), (1.0,)])
def test_mixture_weights_must_be_chances(weights: tuple[float, ...]) -> None:
    with pytest.raises(BadEntry, match="adding up to 1"):
        Mixture(weights, (Fixed(1.0), Fixed(2.0)))


def test_laws_with_impossible_shapes_are_refused() -> None:
    with pytest.raises(BadEntry, match="sigma"):
        Lognormal(1.0, 0.0)
    with pytest.raises(BadEntry, match="shape"):
        Gamma(-1.0, 1.0)
    with pytest.raises(BadEntry, match="width"):
        Bounded(3.0, 3.0, 1.0, 1.0)
    with pytest.raises(BadEntry, match="factor"):
        Scaled(Fixed(1.0), 0.0)
    with pytest.raises(BadEntry, match="0 to 1"):
        Fixed(1.0).quantile(1.2)
    with pytest.raises(BadEntry, match="above 0"):
        on_lattice(Fixed(1.0), 0.0)
