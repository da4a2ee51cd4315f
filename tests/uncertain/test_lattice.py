import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.uncertain import Fixed, Gamma, Lattice, from_spectrum, mixed, on_lattice, sum_of

DIE = Lattice(1.0, 1.0, np.full(6, 1 / 6))


def test_two_dice_add_up_as_counting_shows() -> None:
    both = DIE.plus(DIE)

    assert both.origin == 2
    assert both.pmf * 36 == pytest.approx([1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1])
    assert both.share_below(4) == pytest.approx(6 / 36)
    assert both.quantile(0.5) == 7


def test_twenty_dice_by_transform_equal_twenty_dice_one_by_one() -> None:
    by_hand = np.ones(1)
    for _ in range(20):
        by_hand = np.convolve(by_hand, DIE.pmf)

    length = 128
    at_once = from_spectrum(DIE.spectrum(length) ** 20, length, 20.0, 1.0)

    assert at_once.pmf[:101] == pytest.approx(by_hand, abs=1e-14)
    assert sum_of([DIE] * 20).pmf == pytest.approx(by_hand, abs=1e-14)


def test_the_mean_of_the_worst_part_splits_the_border_point() -> None:
    assert DIE.mean_of_lowest(0.25) == pytest.approx((1 / 6 * 1 + (0.25 - 1 / 6) * 2) / 0.25)
    assert DIE.mean_of_lowest(1.0) == pytest.approx(3.5)
    with pytest.raises(BadEntry, match="above 0"):
        DIE.mean_of_lowest(0.0)


def test_shifting_scaling_and_turning_round() -> None:
    assert DIE.shifted(0.25).mean == pytest.approx(3.75)
    assert DIE.scaled(-2.0).points[0] == -12
    assert DIE.scaled(2.0).variance == pytest.approx(4 * 35 / 12)
    assert DIE.scaled(0.0).mean == 0


def test_mixing_keeps_places() -> None:
    mix = mixed([0.25, 0.75], [Lattice.at(3.0, 1.0), DIE])

    assert mix.mean == pytest.approx(0.75 + 0.75 * 3.5)
    with pytest.raises(BadEntry, match="broken number of steps"):
        mixed([0.5, 0.5], [DIE, DIE.shifted(0.3)])
    with pytest.raises(BadEntry, match="2 weights for 1"):
        mixed([0.5, 0.5], [DIE])


def test_grids_of_different_steps_do_not_add() -> None:
    with pytest.raises(BadEntry, match="put both on one grid"):
        DIE.plus(Lattice.at(1.0, 0.5))


def test_a_value_between_two_points_is_shared_so_that_the_mean_is_kept() -> None:
    assert Lattice.at(12.3, 5.0).mean == pytest.approx(12.3)
    assert on_lattice(Fixed(-3.0), 10.0).mean == pytest.approx(-3.0)


def test_a_spectrum_shorter_than_the_lattice_wraps_round_and_loses_nothing() -> None:
    grid = on_lattice(Gamma(2.0, 30.0), 1.0)

    assert grid.spectrum(64)[0].real == pytest.approx(1.0)


def test_wrong_chances_and_steps_are_refused() -> None:
    with pytest.raises(BadEntry, match=r"add up to 0\.9"):
        Lattice(0.0, 1.0, np.array([0.5, 0.4]))
    with pytest.raises(BadEntry, match="step"):
        Lattice(0.0, 0.0, np.ones(1))
    with pytest.raises(BadEntry, match="0 to 1"):
        DIE.quantile(-0.1)
    with pytest.raises(BadEntry, match="at least one"):
        sum_of([])


def test_excess_over_a_bar_is_counted() -> None:
    assert float(DIE.excess(4.0)) == pytest.approx((1 + 2) / 6)
