from __future__ import annotations

import math
from contextlib import suppress
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.errors import BadEntry
from driveout.market import CarToValue, Comparable, appraise, comparables_from_csv
from driveout.market.steadiness import survival_curve
from driveout.market.time_to_sell import Stay, sale_rate
from driveout.units import Money

DAY = date(2026, 5, 4)
CARS = st.lists(
    st.builds(
        lambda price, km, year: Comparable(Money(price, "USD"), mileage_km=km, made_year=year),
        st.integers(50_000, 2_000_000),
        st.integers(1_000, 400_000),
        st.integers(1995, 2026),
    ),
    min_size=1,
    max_size=25,
)
TARGET = CarToValue(DAY, 120_000, made_year=2013)


@given(CARS)
@settings(max_examples=40, deadline=None)
def test_the_interval_holds_the_value_and_every_number_is_finite(cars: list[Comparable]) -> None:
    found = appraise(TARGET, cars)

    assert Money(0, "USD") <= found.low <= found.value <= found.high
    assert math.isfinite(found.log_sd)
    assert len(found.pulls) == found.used


@given(CARS, st.integers(2, 9))
@settings(max_examples=30, deadline=None)
def test_prices_in_another_coin_give_the_same_value_in_that_coin(cars: list[Comparable], factor: int) -> None:
    def times(c: Comparable) -> Comparable:
        return Comparable(c.price.times(factor), mileage_km=c.mileage_km, made_year=c.made_year)

    one, many = appraise(TARGET, cars), appraise(TARGET, [times(c) for c in cars])

    assert math.isclose(many.log_mean, one.log_mean + math.log(factor), abs_tol=1e-6)
    assert math.isclose(many.log_sd, one.log_sd, rel_tol=1e-5)


@given(CARS)
@settings(max_examples=30, deadline=None)
def test_the_order_of_the_comparables_does_not_matter(cars: list[Comparable]) -> None:
    unlike = {(c.mileage_km, c.made_year): c for c in cars}
    ordered = list(unlike.values())

    assert math.isclose(
        appraise(TARGET, ordered).log_mean, appraise(TARGET, ordered[::-1]).log_mean, abs_tol=1e-9
    )


@given(st.binary(max_size=400))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_read_or_refused_in_words(data: bytes) -> None:
    with suppress(BadEntry):
        found = comparables_from_csv(b"price,km,year\n" + data, "x.csv", currency="USD", today=DAY)
        assert all(c.price.minor > 0 for c in found)


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 60), st.booleans()), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_shares_fall_and_rates_are_above_nought(rows: list[tuple[int, int, bool]]) -> None:
    followed = [Stay(e, e + d, e + d if gone else None) for e, d, gone in rows]
    curve = survival_curve([s for s in followed if s.least > s.entered] or [Stay(0, 1, 1)])
    rate = sale_rate(followed)

    assert all(b <= a + 1e-12 for a, b in zip(curve.share, curve.share[1:], strict=False))
    assert 0 < rate.per_day < 10
