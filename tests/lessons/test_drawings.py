"""Every word of a drawing stays inside it and is large enough on a phone."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from driveout.lessons import Job, Taught, actuals, variance, what_was_learned
from driveout.lessons.drift import drift_svg
from driveout.lessons.waterfall import waterfall_svg
from driveout.money import bookings as book
from driveout.money import cost_of_car
from driveout.uncertain import ThreePoint
from tests.lessons import an_estimate
from tests.money.story import CAR, car_story, day, usd

# Width of the page's column on a phone of 390 px, less its margins.
PHONE_PX = 350


def words_inside(drawn: str) -> list[str]:
    svg = ET.fromstring(drawn)
    wide = float(svg.attrib["viewBox"].split()[2])
    found = []
    for text in svg.iter("text"):
        size = float(text.attrib["font-size"])
        said = text.text or ""
        # A letter of this face is at most 0.62 of its size wide on average.
        length, left = 0.62 * size * len(said), float(text.attrib["x"])
        left -= {"end": length, "middle": length / 2}.get(text.attrib.get("text-anchor", ""), 0)
        assert left >= 0, said
        assert left + length <= wide, said
        assert size * PHONE_PX / wide >= 12, said
        found.append(said)
    return found


def test_the_bridge_shortens_long_words_and_names_each_amount() -> None:
    story = [
        *car_story(),
        book.receipt(CAR, "outside", usd("12345.67"), "Straightened the subframe, twice" * 3, day(2)),
    ]
    said = an_estimate()
    result = variance(said, cost_of_car(story, CAR, "USD"), actuals(story, CAR, said))
    words = words_inside(waterfall_svg(result))

    assert words[0] == "Estimated"
    assert words[-1] == result.actual.text()
    assert any(word.endswith("…") for word in words)


def jobs(factors: list[float]) -> list[Taught]:
    return [Taught(Job("clutch", 4.0, 4 * factor), ThreePoint(3, 4, 7)) for factor in factors]


def test_a_habit_that_wears_off_is_named_and_drawn() -> None:
    (drift,) = what_was_learned(jobs([1.8 - 0.03 * i + 0.1 * (i % 2) for i in range(24)])).drifts

    assert drift.moved
    assert drift.last < drift.first
    assert len(drift.path) == drift.jobs == 24
    assert all(low < middle < high for low, middle, high in drift.path)
    assert "from job 5" in words_inside(drift_svg(drift.path, "hours"))


def test_a_steady_habit_is_said_to_stay() -> None:
    (drift,) = what_was_learned(jobs([1.3 + 0.2 * (-1) ** i for i in range(24)])).drifts

    assert not drift.moved
    assert drift.last == pytest.approx(1.3, rel=0.05)


def test_below_twenty_jobs_nothing_is_said_of_drift() -> None:
    assert what_was_learned(jobs([1.8 - 0.05 * i for i in range(19)])).drifts == ()
