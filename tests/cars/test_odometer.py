"""The odometer through the years."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.cars.odometer import (
    OdometerReading,
    against_others,
    miles_to_next_step,
    odometer_series,
    use_against_others,
)
from driveout.errors import BadEntry

TODAY = date(2026, 10, 1)


def read(year: int, km: float, month: int = 5) -> OdometerReading:
    return OdometerReading(date(year, month, 4), km, "inspection")


def test_a_rising_series_is_not_doubtful_and_gives_the_yearly_use() -> None:
    series = odometer_series([read(2020, 90_000), read(2018, 61_000), read(2019, 75_000)], TODAY)

    assert not series.doubtful
    assert series.km_a_year == pytest.approx(29_000 / (731 / 365.25))


def test_a_fall_is_doubtful_and_asked_about() -> None:
    series = odometer_series([read(2018, 90_000), read(2020, 75_000)], TODAY)

    assert series.doubtful
    assert "fell from 90,000 km" in series.lines[0]
    assert "walk away" in series.lines[0]
    assert series.km_a_year is None


def test_a_fall_by_the_factor_of_a_mile_is_asked_about_as_such() -> None:
    series = odometer_series([read(2018, 100_000), read(2019, 66_000)], TODAY)

    assert "miles written as kilometres" in series.lines[0]


def test_a_five_figure_odometer_may_have_turned_over() -> None:
    assert "turned over" in odometer_series([read(2018, 95_000), read(2019, 4_000)], TODAY).lines[0]


def test_a_gap_of_more_than_three_years_is_doubtful() -> None:
    assert odometer_series([read(2015, 60_000), read(2019, 90_000)], TODAY).doubtful
    assert not odometer_series([read(2015, 60_000), read(2018, 90_000)], TODAY).doubtful


def test_a_use_that_is_hardly_possible_is_named() -> None:
    assert "hardly possible" in odometer_series([read(2018, 60_000), read(2019, 260_000)], TODAY).lines[0]


def test_little_and_much_use_are_said_without_doubt() -> None:
    little = odometer_series([read(2018, 60_000), read(2020, 64_000)], TODAY)
    much = odometer_series([read(2018, 60_000), read(2020, 160_000)], TODAY)

    assert "little" in little.lines[0]
    assert "much" in much.lines[0]
    assert not much.doubtful


def test_no_reading_and_one_reading_say_nothing() -> None:
    assert odometer_series([], TODAY).km_a_year is None
    assert odometer_series([read(2020, 10)], TODAY).intervals == ()


@pytest.mark.parametrize(
    ("reading", "match"),
    [(read(2027, 10), "future"), (read(2020, -5), "no odometer"), (read(2020, 9e6), "no odometer")],
)
def test_a_reading_that_cannot_be_is_refused(reading: OdometerReading, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        odometer_series([reading], TODAY)


def test_a_car_is_compared_with_others_by_use_per_year() -> None:
    assert against_others(150_000, 10, [(100_000, 10), (90_000, 5), (140_000, 10), (160_000, 10)]) == 0.5
    with pytest.raises(BadEntry, match="above 0"):
        against_others(150_000, 0, [(1, 1)])


def test_yearly_use_is_set_beside_the_middle_of_the_others_and_the_unusual_is_asked() -> None:
    others = [(100_000.0, 10.0), (120_000.0, 8.0), (150_000.0, 10.0), (80_000.0, 5.0), (90_000.0, 9.0)]
    # 10, 15, 15, 16 and 10 thousand a year: the middle one is 15.
    little, usual, much = (use_against_others(km, 10.0, others) for km in (20_000, 120_000, 300_000))

    assert little.others_km_a_year == 15_000
    assert (little.share_below, usual.share_below, much.share_below) == (0.0, 0.4, 1.0)
    assert "is every odometer value there" in little.words
    assert "Ask for the receipts" in much.words
    assert (
        usual.words == "12,000 km a year; 5 comparable cars have 15,000 km in the middle, 40% of them less."
    )
    assert "?" not in use_against_others(20_000, 10, others[:4]).words  # four are too few to call it unusual


def test_the_next_step_of_ten_thousand_miles_is_told() -> None:
    assert miles_to_next_step(79_900 * 1.609344) == pytest.approx(100)
    assert (
        miles_to_next_step(80_000 * 1.609344) == pytest.approx(10_000, abs=1e-6)
        or miles_to_next_step(80_000 * 1.609344) < 1e-6
    )
