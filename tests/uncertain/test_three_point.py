import pytest

from driveout.errors import BadEntry
from driveout.uncertain import ThreePoint


def test_a_range_out_of_order_is_refused_with_what_to_do() -> None:
    with pytest.raises(BadEntry, match="out of order"):
        ThreePoint(10, 5, 20)


def test_a_range_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(BadEntry, match="finite number"):
        ThreePoint(1, 2, float("inf"))


def test_one_number_stands_for_a_sure_value() -> None:
    assert ThreePoint.of(12).is_sure


@pytest.mark.parametrize("given", [[1, 2], "12", [1, "2", 3], [True, 2, 3], None])
def test_anything_else_than_one_or_three_numbers_is_refused(given: object) -> None:
    with pytest.raises(BadEntry, match="three numbers"):
        ThreePoint.of(given, "hours")


def test_a_negative_cost_is_refused_where_nothing_under_zero_is_possible() -> None:
    with pytest.raises(BadEntry, match="nothing under 0"):
        ThreePoint.of([-5, 10, 20], "cost", least=0.0)
    assert ThreePoint.of([0, 10, 20], "cost", least=0.0).low == 0


def test_scaling_moves_all_three_points() -> None:
    assert ThreePoint(1, 2, 4).times(2) == ThreePoint(2, 4, 8)
