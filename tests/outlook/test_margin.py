import math

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.outlook import Margin, Resale
from driveout.uncertain import Gamma, Lattice, Lognormal, on_lattice

COST = on_lattice(Gamma(2.0, 400.0, 200.0), 5.0)
RESALE = Resale.between(3000.0, 4200.0, 0.05)


def drawn(salvage: float | None = None, count: int = 400_000) -> np.ndarray:
    rng = np.random.default_rng(12)
    left = RESALE.median * np.exp(RESALE.sigma * rng.standard_normal(count)) - Gamma(
        2.0, 400.0, 200.0
    ).sample(rng, count)
    return left if salvage is None else np.maximum(left, salvage)


@pytest.mark.parametrize("salvage", [None, 1500.0])
def test_mean_quantile_loss_and_tail_are_what_draws_show(salvage: float | None) -> None:
    margin, left = Margin(RESALE, COST, salvage), drawn(salvage)
    error = left.std() / math.sqrt(left.size)

    assert margin.mean == pytest.approx(left.mean(), abs=4 * error)
    assert margin.quantile(0.5) == pytest.approx(np.quantile(left, 0.5), abs=10)
    assert margin.share_below(2000.0) == pytest.approx((left < 2000.0).mean(), abs=0.004)
    worst = np.sort(left)[: left.size // 10]
    assert margin.mean_of_lowest(0.1) == pytest.approx(worst.mean(), abs=12)
    assert math.sqrt(margin.variance) == pytest.approx(left.std(), rel=0.01)


def test_a_way_out_is_the_floor() -> None:
    margin = Margin(RESALE, COST, 1500.0)

    assert margin.quantile(0.001) == 1500.0
    assert margin.share_below(1499.0) == 0.0
    assert 0.0 < margin.let_go_share < 0.2
    assert margin.mean > margin.mended_mean


@pytest.mark.parametrize("salvage", [None, 1500.0])
def test_the_certainty_equivalent_is_what_draws_show(salvage: float | None) -> None:
    left = drawn(salvage)
    inner = np.exp(-left / 2000.0)
    by_draws = -2000.0 * math.log(inner.mean())
    error = 2000.0 * inner.std() / inner.mean() / math.sqrt(left.size)

    assert Margin(RESALE, COST, salvage).certainty_equivalent(2000.0) == pytest.approx(
        by_draws, abs=4 * error + 1
    )


def test_a_heavy_tail_is_bounded_by_a_way_out_but_refused_without_one() -> None:
    def heavy(rate: float) -> float:
        return math.inf

    with pytest.raises(CannotSay, match="infinite"):
        Margin(RESALE, COST, None, heavy).certainty_equivalent(2000.0)
    assert math.isfinite(Margin(RESALE, COST, 500.0, heavy).certainty_equivalent(2000.0))


def test_resale_keeps_the_two_points_that_were_typed() -> None:
    resale = Resale.between(3000.0, 4200.0)

    assert (resale.quantile(0.1), resale.quantile(0.9)) == pytest.approx((3000.0, 4200.0))
    assert resale.mean == pytest.approx(Lognormal(math.log(resale.median), resale.sigma).mean)


def test_a_sale_that_is_agreed_has_no_spread() -> None:
    margin = Margin(Resale(3000.0, 0.0), Lattice.at(1000.0, 10.0))

    assert margin.mean == pytest.approx(2000.0)
    assert margin.share_below(1999.0) == 0.0
    assert margin.share_below(2001.0) == pytest.approx(1.0)


@pytest.mark.parametrize("ends", [(0.0, 10.0), (20.0, 10.0), (-5.0, 10.0)])
def test_an_impossible_value_is_refused(ends: tuple[float, float]) -> None:
    with pytest.raises(BadEntry, match="lower first"):
        Resale.between(*ends)


def test_shares_and_tolerances_have_limits() -> None:
    with pytest.raises(BadEntry, match="share from 0"):
        Resale.between(1.0, 2.0, 1.0)
    with pytest.raises(BadEntry, match="above 0"):
        Resale(0.0, 0.1)
    with pytest.raises(BadEntry, match="above 0 and below 1"):
        Margin(RESALE, COST).quantile(1.0)
    with pytest.raises(BadEntry, match="tolerance"):
        Margin(RESALE, COST).certainty_equivalent(-1.0)
