from __future__ import annotations

import gzip
import math
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.market import CarToValue, Comparable, appraise, comparables_from_csv, repair_adds
from driveout.market.appraisal import refers_to
from driveout.market.prior import interval_factor
from driveout.market.steadiness import steadiness_words, survival_curve, weibull_fit
from driveout.market.time_to_sell import Stay, constant_rate, sale_rate, stays
from driveout.market.use_a_year import yearly_use
from driveout.units import Money

DAY = date(2026, 5, 4)
COROLLA = Path(__file__).parent.parent / "data" / "ToyotaCorolla.csv.gz"


def comparable(price: float, km: float = 100_000, year: int = 2013, **more: object) -> Comparable:
    return Comparable(Money(round(price * 100), "USD"), mileage_km=km, made_year=year, **more)  # type: ignore[arg-type]


def market(count: int = 12, seed: int = 3) -> list[Comparable]:
    rng = np.random.default_rng(seed)
    cars = []
    for _ in range(count):
        year, km = int(rng.integers(2010, 2017)), float(rng.uniform(60_000, 180_000))
        price = (
            6000
            * math.exp(-0.09 * (2013 - year) - 0.06 * (km - 100_000) / 16_093)
            * math.exp(rng.normal(0, 0.08))
        )
        cars.append(comparable(round(price), round(km), year))
    return cars


CAR = CarToValue(DAY, 110_000, made_year=2013)


def test_without_any_comparable_it_says_that_it_cannot_say() -> None:
    with pytest.raises(CannotSay, match="no comparable"):
        appraise(CAR, [])


def test_two_comparables_give_a_level_and_say_what_cannot_be_seen() -> None:
    found = appraise(CAR, [comparable(5000), comparable(5400, 90_000)])

    assert found.used == 2
    assert "cannot be seen from so few" in found.warnings[0]
    assert (found.high.minor / found.low.minor) > 1.3


def test_one_comparable_like_the_car_is_its_asked_value() -> None:
    found = appraise(CAR, [comparable(5000, 110_000)])

    assert found.asked == Money(500_000, "USD")
    assert found.value < found.asked


def test_comparables_of_one_model_year_are_said_to_teach_nothing_on_age() -> None:
    found = appraise(
        CarToValue(DAY, 100_000, made_year=2008),
        [comparable(5000 + 50 * i, 90_000 + 4000 * i) for i in range(6)],
    )

    assert any("one model year" in w and "5.0 years away" in w for w in found.warnings)
    assert found.out_of_range


def test_a_car_outside_the_distances_is_warned_of_and_gets_a_wider_interval() -> None:
    cars = market()
    near, far = appraise(CAR, cars), appraise(CarToValue(DAY, 320_000, made_year=2013), cars)

    assert not near.out_of_range
    assert far.out_of_range
    assert any("outside the comparables" in w for w in far.warnings)
    assert far.log_sd > 1.3 * near.log_sd


def test_a_price_with_a_digit_too_few_loses_its_vote_and_is_told_why() -> None:
    cars = [*market(), comparable(560)]
    clean, dirty = appraise(CAR, market()), appraise(CAR, cars)
    pull = next(p for p in dirty.pulls if p.price.minor == 56_000)

    assert "digit too few" in pull.reason
    assert pull.weight < 0.1
    assert abs(dirty.log_mean - clean.log_mean) < 0.03


def test_a_distance_in_the_other_unit_is_guessed() -> None:
    cars = [
        comparable(6000 * math.exp(-0.06 * (km - 100_000) / 16_093), km)
        for km in range(60_000, 240_000, 15_000)
    ]
    slip = comparable(6000 * math.exp(-0.06 * (300_000 - 100_000) / 16_093), round(300_000 / 1.609344))
    found = appraise(CAR, [*cars, slip])

    assert any("other unit" in p.reason for p in found.pulls)


def test_a_salvage_title_lowers_the_value_even_when_no_comparable_has_one() -> None:
    cars = market()
    salvage = CarToValue(DAY, 110_000, made_year=2013, title_status="salvage")
    found, clean = appraise(salvage, cars), appraise(CAR, cars)

    # 20 to 40 % below a clean title, read in a consumer guide.
    assert 0.6 <= found.value.minor / clean.value.minor <= 0.8
    assert any("consumer guide" in w for w in found.warnings)


def test_sold_prices_are_lower_than_asking_and_the_gap_is_learnt() -> None:
    cars = market(30)
    sold = [
        comparable(float(c.price.major) * 0.85, (c.mileage_km or 0) + 10, c.made_year or 0, kind="sold")
        for c in cars
    ]
    found = appraise(CAR, [*cars, *sold])

    assert found.value.minor / found.asked.minor == pytest.approx(0.85, abs=0.03)
    assert not any("asking prices" in w for w in found.warnings)


def test_equipment_that_some_have_moves_the_price() -> None:
    rich = [
        comparable(float(c.price.major) * 1.2, (c.mileage_km or 0) + 7, c.made_year or 0, options=("hook",))
        for c in market(20)
    ]
    cars = [*market(20), *rich]
    with_hook = appraise(CarToValue(DAY, 110_000, made_year=2013, options=("hook",)), cars)

    assert with_hook.value.minor / appraise(CAR, cars).value.minor == pytest.approx(1.2, abs=0.05)


def test_a_missing_distance_counts_less_and_is_said() -> None:
    found = appraise(CAR, [*market(), Comparable(Money(500_000, "USD"), made_year=2013)])

    assert any("give no distance" in w for w in found.warnings)


def test_two_currencies_are_never_mixed() -> None:
    with pytest.raises(BadEntry, match="EUR and USD"):
        appraise(CAR, [comparable(5000), Comparable(Money(500_000, "EUR"), mileage_km=1, made_year=2013)])


def test_of_many_comparables_the_nearest_are_used() -> None:
    found = appraise(CAR, market(400))

    assert found.used == 300
    assert any("300 nearest" in w for w in found.warnings)


def test_the_car_to_value_must_be_possible() -> None:
    with pytest.raises(BadEntry, match="outside 0 to"):
        CarToValue(DAY, -5, made_year=2013)
    with pytest.raises(BadEntry, match="Neither year nor age"):
        CarToValue(DAY, 5)
    with pytest.raises(BadEntry, match="outside 1886 to 2027"):
        CarToValue(DAY, 5, made_year=2099)


def test_open_data_of_1436_cars_comes_in_by_the_public_path() -> None:
    data = gzip.decompress(COROLLA.read_bytes()).replace(b"Age_08_04", b"age months", 1)
    found = comparables_from_csv(data, "ToyotaCorolla.csv", currency="EUR", today=date(2004, 8, 31))
    target, rest = found[700], [c for i, c in enumerate(found) if i % 36 == 0 and i != 700]
    value = appraise(
        CarToValue(date(2004, 8, 31), target.mileage_km or 0, age_years=target.age_years),
        rest,
        price_kind="asking",
    )

    assert len(found) == 1436
    assert value.low <= target.price <= value.high


def test_what_a_repair_adds_has_a_doubt() -> None:
    found = appraise(CAR, market())
    typed = repair_adds(found, share=(0.1, 0.15, 0.25))
    steps = repair_adds(found, condition_steps_up=1)

    assert Money(50_000, "USD") < typed.mean < Money(150_000, "USD")
    assert typed.low < typed.mean < typed.high
    # A step of condition is worth about 7 %: common practice, no source.
    assert steps.mean.minor / found.value.minor == pytest.approx(0.07, abs=0.015)
    with pytest.raises(BadEntry, match="must rise"):
        repair_adds(found, share=(0.3, 0.2, 0.1))


def test_adverts_that_are_followed_become_stays() -> None:
    cars = [
        comparable(1, seen=date(2026, 4, 1), gone=date(2026, 4, 8)),
        comparable(1, listed=date(2026, 3, 1), seen=date(2026, 4, 1), last_seen=date(2026, 4, 20)),
        comparable(1, seen=date(2026, 4, 1)),
    ]

    assert stays(cars, DAY) == (Stay(0, 0, 7), Stay(31, 50, None))


def test_ignoring_that_adverts_were_up_already_would_bias_the_rate() -> None:
    rng = np.random.default_rng(8)
    life, start = rng.exponential(30, 4000), rng.uniform(0, 60, 4000)
    seen = [Stay(float(s), float(x), float(x)) for x, s in zip(life, start, strict=True) if x > s]

    assert constant_rate(seen) == pytest.approx(1 / 30, rel=0.06)
    assert constant_rate([Stay(0, s.least, s.most) for s in seen]) < 0.8 / 30


def test_the_sale_rate_starts_from_the_prior_and_counts_only_sales() -> None:
    nothing = sale_rate([])
    gone = sale_rate([Stay(0, 10, 10)] * 400)

    assert nothing.per_day == pytest.approx(1 / 45)
    assert gone.per_day == pytest.approx(0.08, rel=0.05)
    assert nothing.chance_unsold(nothing.days_until(0.5)) == pytest.approx(0.5)


def test_stays_that_cannot_be_are_refused() -> None:
    with pytest.raises(BadEntry, match="cannot enter"):
        Stay(5, 3, None)
    with pytest.raises(CannotSay, match="upper limit"):
        constant_rate([Stay(0, 3, None)])
    with pytest.raises(CannotSay, match="at least two"):
        weibull_fit([Stay(0, 3, 3)])
    with pytest.raises(BadEntry, match="exact days"):
        survival_curve([Stay(0, 3, 5)])


def test_a_value_is_that_of_an_average_car_unless_more_was_said() -> None:
    sound = appraise(CarToValue(DAY, 110_000, made_year=2013, condition="very good"), market())
    worn = appraise(CarToValue(DAY, 110_000, made_year=2013, condition="poor"), market())

    assert [refers_to(word) for word in ("", "good", "very good", "poor")] == [
        "average",
        "average",
        "sound",
        "average",
    ]
    assert (sound.refers_to, sound.as_dict()["refers_to"]) == ("sound", "sound")
    assert "faults usual at that age" in " ".join(worn.sentences())
    assert any("count twice" in w for w in worn.warnings)


def test_intervals_widen_with_comparables_towards_the_tails_of_one_price() -> None:
    # 90 % points: Student-t with 4 degrees 1.5332, normal 1.2816 (tables).
    assert interval_factor(10**9) == pytest.approx(1.5332 / 1.2816, abs=0.001)
    assert interval_factor(1) == interval_factor(5) == 1
    assert 1 < interval_factor(8) < interval_factor(10) < interval_factor(60)


def over_two_years(swing: float) -> list[Comparable]:
    """Same car seen every nine days; a price that swings with the year, highest on the day of the value."""
    cars = []
    for i in range(80):
        seen = DAY - timedelta(days=9 * i)
        price = 5000 * math.exp(swing / 2 * math.cos(math.tau * 9 * i / 365.25))
        cars.append(comparable(price, 100_000 + 137 * i, age_years=10.0, year=None, seen=seen))  # type: ignore[arg-type]
    return cars


def test_the_time_of_year_is_learnt_when_prices_swing_with_it_and_else_is_nothing() -> None:
    car = CarToValue(DAY, 104_000, age_years=10.0)
    swinging, flat = appraise(car, over_two_years(0.10)), appraise(car, over_two_years(0.0))
    effect = {
        name: next(e.share for e in found.effects if e.name == "season")
        for name, found in (("swinging", swinging), ("flat", flat))
    }

    assert effect["swinging"] == pytest.approx(math.expm1(0.10), abs=0.02)
    assert abs(effect["flat"]) < 0.005
    assert swinging.asked.minor / flat.asked.minor == pytest.approx(math.exp(0.05), abs=0.01)


def test_comparables_of_one_month_say_nothing_on_the_time_of_year() -> None:
    cars = [replace(c, seen=DAY - timedelta(days=2 * i)) for i, c in enumerate(market())]
    found = appraise(CAR, cars)

    assert next(e.learned for e in found.effects if e.name == "season") < 0.05
    assert found.log_sd == pytest.approx(appraise(CAR, market()).log_sd, rel=0.1)


def test_prices_that_rose_since_are_followed_by_the_drift() -> None:
    rng = np.random.default_rng(1)
    cars = [
        comparable(
            5000 * math.exp(-0.10 * days / 365.25 + rng.normal(0, 0.03)),
            100_000 + days,
            age_years=10.0,
            year=None,  # type: ignore[arg-type]
            seen=DAY - timedelta(days=days),
        )
        for days in range(0, 720, 9)
    ]
    found = appraise(CarToValue(DAY, 100_000, age_years=10.0), cars)

    assert next(e.share for e in found.effects if e.name == "drift") == pytest.approx(
        math.expm1(0.10), abs=0.03
    )


def test_a_car_driven_little_is_held_against_the_comparables() -> None:
    cars = [comparable(5000, 100_000 + 3000 * i) for i in range(12)]
    little = yearly_use(CarToValue(DAY, 30_000, made_year=2013), cars)

    assert little is not None
    assert little.share_below == 0
    assert "driven so little" in little.words
    assert yearly_use(CAR, [Comparable(Money(1, "USD"), made_year=2013)]) is None
    assert yearly_use(CarToValue(DAY, 10, age_years=0.1), cars) is None


def test_a_rate_that_is_not_steady_is_said_only_when_it_can_be_seen() -> None:
    rng = np.random.default_rng(4)

    def of_shape(shape: float, n: int = 150) -> list[Stay]:
        return [Stay(0, float(d), float(d)) for d in 30 * rng.weibull(shape, n)]

    assert steadiness_words(of_shape(0.5)[:7]) == ""
    assert "cannot be seen" in steadiness_words(of_shape(1.0))
    assert "the slower it goes" in steadiness_words(of_shape(0.5))
    assert "then faster" in steadiness_words(of_shape(2.0))
