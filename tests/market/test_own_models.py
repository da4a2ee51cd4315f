"""Other models of one's own move the slopes a value starts from."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from driveout.market import Comparable, default_prior
from driveout.market.own_models import ModelEvidence, evidence_of, with_own_models
from driveout.units import Money

DAY = date(2026, 5, 4)


def model(age_slope: float, km_slope: float, n: int = 40, seed: int = 1) -> list[Comparable]:
    rng = np.random.default_rng(seed)
    ages, km = rng.uniform(2, 16, n), rng.uniform(20_000, 250_000, n)
    logs = 9.5 + age_slope * ages + km_slope * km / 16_093.44 + rng.normal(0, 0.05, n)
    return [
        Comparable(Money(round(100 * math.exp(v)), "USD"), mileage_km=float(k), age_years=float(a))
        for v, k, a in zip(logs, km, ages, strict=True)
    ]


def test_without_own_models_the_shipped_slopes_stand() -> None:
    found = with_own_models(default_prior(), [])

    assert found.age_mean == pytest.approx(default_prior().age_mean)
    assert found.own_models == 0


def test_an_own_model_that_says_much_counts_as_a_seventh() -> None:
    base = default_prior()
    found = evidence_of(model(-0.15, -0.03), DAY, base)
    assert found is not None
    after = with_own_models(base, [found])

    # A mean of seven where six stood: (6 * before + own) / 7, for a model known almost exactly.
    assert after.age_mean == pytest.approx((6 * base.age_mean - 0.15) / 7, abs=0.002)
    assert after.mileage_mean == pytest.approx((6 * base.mileage_mean - 0.03) / 7, abs=0.002)
    assert after.own_models == 1
    assert (after.age_sd, after.mileage_sd) == (base.age_sd, base.mileage_sd)


def test_cars_of_one_year_say_nothing_on_age_and_do_no_harm() -> None:
    base = default_prior()
    cars = [Comparable(c.price, mileage_km=100_000.0, age_years=8.0) for c in model(-0.15, -0.03)]
    found = evidence_of(cars, DAY, base)
    assert found is not None

    assert with_own_models(base, [found]).age_mean == pytest.approx(base.age_mean, abs=1e-9)


def test_too_few_cars_and_branded_titles_are_no_evidence() -> None:
    cars = model(-0.1, -0.05)
    salvage = [
        Comparable(c.price, mileage_km=c.mileage_km, age_years=c.age_years, title_status="salvage")
        for c in cars
    ]

    assert evidence_of(cars[:4], DAY, default_prior()) is None
    assert evidence_of(salvage, DAY, default_prior()) is None


def test_the_moved_mean_is_generalised_least_squares() -> None:
    """Six models at the shipped mean, and two own ones with their own sampling covariance."""
    base = default_prior()
    both = base.age_mileage_correlation * base.age_sd * base.mileage_sd
    between = np.array([[base.age_sd**2, both], [both, base.mileage_sd**2]])
    slopes = [np.array([-0.12, -0.02]), np.array([-0.05, -0.11])]
    own = [np.array([[9e-4, 2e-4], [2e-4, 4e-4]]), np.array([[1e-2, -3e-3], [-3e-3, 5e-3]])]
    evidence = [
        ModelEvidence(np.linalg.inv(v), np.linalg.inv(v) @ b) for v, b in zip(own, slopes, strict=True)
    ]
    means = [np.array([base.age_mean, base.mileage_mean]), *slopes]
    covariances = [between / 6, *(between + v for v in own)]
    weights = [np.linalg.inv(c) for c in covariances]
    expected = np.linalg.solve(
        np.sum(weights, axis=0), np.sum([w @ m for w, m in zip(weights, means, strict=True)], axis=0)
    )
    found = with_own_models(base, evidence)

    assert [found.age_mean, found.mileage_mean] == pytest.approx(list(expected), rel=1e-9)
