"""The picture of prices against distance."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from driveout.market.chart import Dot, chart_words, price_chart, round_steps
from driveout.units import Money


def usd(amount: float) -> Money:
    return Money(round(100 * amount), "USD")


DOTS = [
    Dot(90_000, usd(4800)),
    Dot(120_000, usd(4200), is_sold=True),
    Dot(130_000, usd(900), is_outlier=True),
]


def test_the_picture_is_sound_markup_with_a_name_and_words() -> None:
    root = ElementTree.fromstring(price_chart(DOTS, 110_000, usd(3800), usd(4300), usd(4900)))
    said = " ".join(root.itertext())

    assert "3 comparables from 900.00 USD to 4,800.00 USD" in said
    assert "likely 4,300.00 USD" in said
    assert "counts little" in said


def test_every_mark_lies_inside_the_frame() -> None:
    drawn = price_chart(DOTS, 310_000, usd(100), usd(200), usd(90_000))

    assert all(
        56 <= float(x) <= 346 for x in re.findall(r'<circle cx="([\d.]+)" cy="[\d.]+" r="4"', drawn)[:2]
    )
    assert "-" not in "".join(re.findall(r'c[xy]="([^"]+)"', drawn))


def test_one_car_at_one_price_can_be_drawn() -> None:
    assert "<svg" in price_chart([Dot(1, usd(1))], 1, usd(1), usd(1), usd(1))
    assert chart_words([], 5, usd(1), usd(2), usd(3)).startswith("No comparable")


def test_steps_are_round_and_few() -> None:
    assert round_steps(3_120, 9_870) == [4000, 6000, 8000]
    assert round_steps(0, 1) == [0, 1]
