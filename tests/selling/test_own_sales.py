"""The next car's demand learns from finished sales; forecasts are laid beside what came."""

from __future__ import annotations

import math

import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.money.sale_forecast import SaleForecast, forecast_from, sale_errors, sale_lesson
from driveout.selling.own_sales import FinishedSale, own_demand
from driveout.selling.situation import Spell
from driveout.units import Money


def usd(amount: float) -> Money:
    return Money(round(amount * 100), "USD")


def stood(days: float, sold: bool = True, ask: float = 4000, enquiries: int = 0) -> FinishedSale:
    return FinishedSale(usd(4000), (Spell(usd(ask), days, enquiries),), sold)


def test_without_own_sales_common_practice_stands() -> None:
    prior = own_demand([])

    assert (prior.shape, prior.days, prior.counts) == (2.0, 90.0, 0.0)
    assert "common practice" in prior.in_words()


def test_a_first_sale_of_the_usual_length_moves_little() -> None:
    prior = own_demand([stood(45)])

    assert prior.days / prior.shape == pytest.approx(45, rel=0.15)
    assert 0 < prior.counts < 0.2


def test_quick_sales_make_the_next_forecast_quicker_and_unsold_cars_slower() -> None:
    quick, slow = own_demand([stood(8)] * 6), own_demand([stood(60, sold=False)] * 6)

    assert quick.days / quick.shape < 30 < 60 < slow.days / slow.shape
    assert "6 finished sales (6 sold)" in quick.in_words()


def test_a_high_price_explains_a_long_stay() -> None:
    dear, fair = own_demand([stood(40, ask=4400)] * 5), own_demand([stood(40)] * 5)

    assert dear.days / dear.shape < fair.days / fair.shape


def gone(rng: np.random.Generator, level: float, deadline: float = 60) -> FinishedSale:
    days = float(rng.exponential(1 / level))
    return stood(min(days, deadline), sold=days < deadline)


def test_many_sales_find_the_true_speed() -> None:
    rng = np.random.default_rng(20261)
    found = []
    for _ in range(6):
        prior = own_demand([gone(rng, level) for level in rng.gamma(3, 1 / 60, 300)])
        found.append(prior.shape / prior.days)

    # Standard error of the mean of six worlds of 300 cars: about 2.7 % of the true 1/20 a day.
    assert np.mean(found) == pytest.approx(1 / 20, rel=0.081)
    assert prior.counts > 0.9


def test_the_chance_of_a_quick_sale_is_kept_on_average_by_the_next_car() -> None:
    """Owners drawn from the doubt of common practice itself: what is promised comes as often as promised."""
    rng = np.random.default_rng(41)
    promised, came = [], []
    for _ in range(500):
        mean = math.exp(math.log(1 / 45) - 0.08 + 0.4 * rng.standard_normal())
        shape = math.exp(math.log(4.07) + 0.5 * rng.standard_normal())
        levels = rng.gamma(shape, mean / shape, 7)
        prior = own_demand([gone(rng, level) for level in levels[:6]])
        promised.append(1 - (prior.days / (prior.days + 30)) ** prior.shape)
        came.append(rng.exponential(1 / levels[6]) < 30)

    # Three standard errors of a share near 0.45 among 500.
    assert np.mean(promised) == pytest.approx(np.mean(came), abs=3 * 0.022)


def test_enquiries_at_two_prices_teach_the_sensitivity() -> None:
    def both(dear: int, cheap: int) -> FinishedSale:
        return FinishedSale(usd(4000), (Spell(usd(4600), 20, dear), Spell(usd(4000), 20, cheap)), True)

    steep, flat = own_demand([both(2, 12)] * 3), own_demand([both(7, 7)] * 3)

    assert flat.sensitivity < 6.9 < steep.sensitivity
    assert steep.sensitivity_sd < 2.5


def a_forecast() -> SaleForecast:
    return SaleForecast(
        ((0, 0.0), (7, 0.4), (14, 0.7), (21, 0.8)),
        ((usd(4400), 0.4), (usd(4200), 0.3), (usd(4000), 0.1), (usd(2900), 0.2)),
    )


def test_a_sale_is_laid_beside_its_forecast() -> None:
    forecast = a_forecast()
    lesson = sale_lesson(forecast, 7, usd(4200))

    # 0.4*4400 + 0.3*4200 + 0.1*4000 + 0.2*2900 = 4000; even odds at 7 + 7/3 days; ln 1.05.
    assert forecast.expected_price == usd(4000)
    assert forecast.median_days == pytest.approx(7 + 7 / 3)
    assert lesson.rank == pytest.approx(0.4)
    assert lesson.log_error == pytest.approx(math.log(1.05))
    assert forecast_from(forecast.as_dict()) == forecast


def test_ranks_of_a_right_forecast_are_spread_evenly() -> None:
    rng = np.random.default_rng(7)
    law = SaleForecast(
        tuple((float(day), 1 - math.exp(-day / 20)) for day in range(0, 400, 2)),
        ((usd(4000), 1.0),),
    )
    lessons = [sale_lesson(law, float(rng.exponential(20)), usd(4000)) for _ in range(1000)]
    errors = sale_errors(lessons)

    # Standard error of a share of 0.1 among 1000 is 0.0095.
    assert errors.sooner == pytest.approx(0.1, abs=0.03)
    assert errors.later == pytest.approx(0.1, abs=0.03)
    assert errors.enough
    assert not sale_errors(lessons[:19]).enough


def test_what_cannot_be_laid_beside_a_forecast_is_refused() -> None:
    with pytest.raises(BadEntry, match="before the advert"):
        sale_lesson(a_forecast(), -1, usd(4000))
    with pytest.raises(BadEntry, match="cannot be laid beside"):
        sale_lesson(a_forecast(), 1, Money(400_000, "EUR"))
    with pytest.raises(BadEntry, match="rises"):
        SaleForecast(((0, 0.5), (7, 0.4)), ((usd(1), 1.0),))
    with pytest.raises(BadEntry, match="add up"):
        SaleForecast(((0, 0.0), (7, 0.4)), ((usd(1), 0.9),))
    with pytest.raises(BadEntry, match="No sold car"):
        sale_errors([])
