"""Upper envelopes of lines, against taking the greatest line on a fine grid of prices."""

import numpy as np
import pytest

from driveout.viewing.price_curve import added, best_of, piece_at, value_at


def test_the_envelope_is_the_greatest_line_everywhere() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        lines = [(float(rng.normal(0, 50)), float(rng.uniform(0, 1)), n) for n in range(8)]
        curve = best_of(lines, 0.0, 200.0)
        for price in np.linspace(0.0, 200.0, 401):
            expected = max(a - b * price for a, b, _ in lines)
            assert value_at(curve, price) == pytest.approx(expected, abs=1e-9)


def test_equal_lines_keep_the_step_that_was_listed_first() -> None:
    assert [piece.step for piece in best_of([(10.0, 1.0, -1), (10.0, 1.0, 4)], 0.0, 20.0)] == [-1]


def test_three_lines_through_one_point_leave_out_the_middle_one() -> None:
    curve = best_of([(10.0, 1.0, 0), (5.0, 0.5, 1), (0.0, 0.0, 2)], 0.0, 20.0)

    assert [(piece.start, piece.step) for piece in curve] == [(0.0, 0), (10.0, 2)]


def test_a_line_that_only_leads_beyond_the_highest_price_is_left_out() -> None:
    assert len(best_of([(10.0, 1.0, 0), (0.0, 0.0, 1)], 0.0, 10.0)) == 1
    assert len(best_of([(10.0, 1.0, 0), (0.0, 0.0, 1)], 0.0, 10.1)) == 2


def test_curves_add_up_stretch_by_stretch() -> None:
    one = best_of([(10.0, 1.0, 0), (0.0, 0.0, 1)], 0.0, 100.0)
    two = best_of([(30.0, 1.0, 0), (0.0, 0.0, 1)], 0.0, 100.0)
    curve = best_of(added([one, two], 0.0, 0.5, -2.0, 7), 0.0, 100.0)

    for price in (0.0, 9.0, 11.0, 29.0, 31.0, 90.0):
        assert value_at(curve, price) == pytest.approx(0.5 * (max(10 - price, 0) + max(30 - price, 0)) - 2.0)
    assert piece_at(curve, 50.0).step == 7
