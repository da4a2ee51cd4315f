"""Sales held against the values told before them."""

from __future__ import annotations

import math

import pytest

from driveout.errors import BadEntry
from driveout.market.hindsight import SoldAfter, hindsight
from driveout.units import Money


def sale(price: float, value: float = 4000, sd: float = 0.12) -> SoldAfter:
    return SoldAfter(math.log(value), sd, Money(round(100 * price), "USD"))


def test_a_sale_at_the_value_lies_in_the_middle() -> None:
    assert sale(4000).off == pytest.approx(0)
    assert sale(4000).share_below == pytest.approx(0.5)
    # 90 % point of the normal law.
    assert sale(4000 * math.exp(1.2815515655 * 0.12)).share_below == pytest.approx(0.9, abs=1e-5)
    assert sale(4600).is_inside
    assert not sale(4800).is_inside


def test_without_sales_nothing_is_said_and_nothing_is_corrected() -> None:
    found = hindsight([])

    assert (found.n, found.off_share, found.width_factor) == (0, 0, 1)
    assert "nothing can be said" in found.lines[0]


def test_one_sale_hardly_moves_anything() -> None:
    found = hindsight([sale(3400)])

    assert -0.03 < found.off_share < 0
    assert "may be chance" in found.lines[1]


def test_many_cheap_sales_show_that_values_lean_high() -> None:
    found = hindsight([sale(3600)] * 30)

    assert found.off_share == pytest.approx(-0.085, abs=0.015)
    assert found.off_high < 0
    assert "leans one way" in found.lines[1]


def test_intervals_that_miss_too_often_are_called_too_narrow() -> None:
    found = hindsight([sale(5500), sale(2900)] * 10)

    assert found.inside == 0
    assert found.width_factor > 1.5
    assert any("too narrow" in line for line in found.lines)


def test_a_sale_for_nothing_is_no_evidence() -> None:
    with pytest.raises(BadEntry, match="above 0"):
        sale(0)
