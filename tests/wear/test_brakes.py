"""Brakes: what a corner's readings amount to."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, maker_limit, shipped_limits
from driveout.wear.brakes import (
    Earlier,
    axle_pair,
    disc,
    drum,
    hoses,
    lining,
    pad_life,
    pedal,
    pedal_travel,
    runout,
    scoring,
    stopping_deceleration,
)
from driveout.wear.life import straight_line_life

SHIPPED = shipped_limits()
PAD = maker_limit("lining_mm", "least", "2 mm", "manual")
DISC = maker_limit("disc_mm", "least", "20 mm", "cast on the disc", "front")
DRUM = maker_limit("drum_mm", "most", "230 mm", "cast on the drum")


def test_the_thinner_pad_decides_and_the_axle_is_renewed() -> None:
    verdict = lining("front left", 6.0, 1.5, (PAD, *SHIPPED))

    assert verdict.outcome == FAILS
    assert "rep_brake_front" in verdict.repairs
    assert verdict.findings[0].check == "w_brake_visual"
    assert verdict.findings[0].positive


def test_unlike_pads_of_one_caliper_ask_for_the_slide_pins() -> None:
    assert "rep_caliper" in lining("rear left", 7.0, 4.5, SHIPPED).repairs
    assert "rep_caliper" not in lining("rear left", 7.0, 6.5, SHIPPED).repairs


def test_life_left_uses_the_deciding_limit() -> None:
    verdict = lining("front left", 7.0, 7.2, (PAD, *SHIPPED), earlier=Earlier(12.0, 40_000))

    # 40 000 x (7 - 2) / (12 - 7)
    assert verdict.life is not None
    assert verdict.life.km == pytest.approx(40_000)
    assert "give or take" in verdict.words


def test_a_guessed_first_thickness_makes_the_life_much_less_sure() -> None:
    known = lining("front left", 7.0, 7.2, (PAD,), earlier=Earlier(11.0, 40_000))
    guessed = lining("front left", 7.0, 7.2, (PAD,), earlier=Earlier(11.0, 40_000, 1.2))

    assert known.life is not None
    assert guessed.life is not None
    assert guessed.life.sd_km > 3 * known.life.sd_km
    assert "guess" in guessed.life.note


def test_pads_without_any_reading_are_refused() -> None:
    with pytest.raises(BadEntry, match="Neither pad"):
        lining("front left", None, None, SHIPPED)


def test_pads_thicker_than_before_are_refused() -> None:
    with pytest.raises(BadEntry, match="Wear only goes down"):
        pad_life(10_000, 7, 9, 1.5)


def test_wear_within_the_error_gives_no_rate() -> None:
    with pytest.raises(CannotSay, match="too early"):
        pad_life(1_000, 9.0, 8.9, 1.5)
    verdict = lining("front left", 8.9, 9.0, (PAD,), earlier=Earlier(9.0, 1_000))
    assert verdict.life is None
    assert "too early" in " ".join(verdict.steps)


def test_a_pad_at_its_limit_has_nothing_left() -> None:
    assert pad_life(40_000, 12, 1.5, 1.5).km == 0


def test_distance_must_be_above_zero() -> None:
    with pytest.raises(BadEntry, match="above 0"):
        straight_line_life(0, 12, 7, 2, sd_before=0.2, sd_now=0.2)


def test_a_disc_under_its_cast_figure_is_renewed() -> None:
    least, variation = disc("front left", [19.9, 19.91, 19.9, 19.905], (DISC, *SHIPPED), resolution_mm=0.001)

    assert least.outcome == FAILS
    assert "rep_brake_front" in least.repairs
    assert variation.outcome == HOLDS


def test_a_disc_with_no_cast_figure_is_left_open() -> None:
    least, _ = disc("front left", [22.0] * 4, SHIPPED)

    assert least.outcome == OPEN
    assert "cast on the disc" in least.words


def test_thickness_variation_needs_four_points_and_a_fine_micrometer() -> None:
    assert "at least 4 points" in disc("front left", [22.0, 22.01, 22.0], SHIPPED)[1].words
    coarse = disc("front left", [22.0, 22.01, 22.0, 22.02], SHIPPED, resolution_mm=0.01)[1]
    assert coarse.outcome == OPEN
    assert "too coarse" in coarse.words


def test_a_pulsing_disc_is_a_finding() -> None:
    variation = disc("front left", [22.0, 22.04, 22.0, 22.01], SHIPPED, resolution_mm=0.001)[1]

    assert variation.outcome == FAILS
    assert variation.findings[0].check == "d_brake_pull"


def test_a_disc_cannot_be_thicker_than_new() -> None:
    with pytest.raises(BadEntry, match="cannot have grown"):
        disc("front left", [25.0] * 4, SHIPPED, new_mm=22.0)
    with pytest.raises(BadEntry, match="no thickness reading"):
        disc("front left", [], SHIPPED)


def test_a_discs_life_follows_from_an_earlier_reading() -> None:
    least, _ = disc("front left", [21.0] * 4, (DISC,), earlier=Earlier(22.0, 30_000, 0.03))

    assert least.life is not None
    assert least.life.km == pytest.approx(30_000)


def test_runout_scores_and_drum_have_their_limits() -> None:
    assert runout("front left", 0.07, SHIPPED).outcome == FAILS
    assert runout("front left", 0.04, SHIPPED).outcome == CLOSE
    assert scoring("front left", 0.3, SHIPPED).outcome == HOLDS
    assert scoring("front left", 1.6, SHIPPED).outcome == FAILS
    assert drum("rear left", 230.5, (DRUM,)).outcome == FAILS
    assert "cast on the drum" in drum("rear left", 229.0, SHIPPED).words


def test_an_uneven_axle_points_at_the_harder_working_side() -> None:
    assert "left side works more" in axle_pair("front", 3.0, 6.0).words
    assert axle_pair("front", 5.0, 6.0).outcome == HOLDS


def test_a_sinking_pedal_fails_whatever_its_reserve() -> None:
    verdict = pedal(150, 100, True, None, SHIPPED)

    assert verdict.outcome == FAILS
    assert verdict.findings[0].positive


def test_a_dead_servo_fails() -> None:
    assert pedal(150, 100, False, False, SHIPPED).outcome == FAILS
    assert pedal(150, 100, False, True, SHIPPED, "us-wa").outcome == HOLDS


@pytest.mark.parametrize(("free", "pressed"), [(150, 160), (0, 0), (150, -1)])
def test_pedal_heights_that_cannot_be_are_refused(free: float, pressed: float) -> None:
    with pytest.raises(BadEntry, match="pressed"):
        pedal_travel(free, pressed)


def test_a_stop_needs_a_distance() -> None:
    with pytest.raises(BadEntry, match="above 0"):
        stopping_deceleration(20, 0)


def test_a_cracked_hose_fails_in_the_us_and_is_close_in_britain() -> None:
    assert hoses("front left", ["cracked"], False, "us").outcome == FAILS
    assert hoses("front left", ["cracked"], False, "gb").outcome == CLOSE
    assert hoses("front left", ["cracked"], True, "gb").outcome == FAILS
    assert hoses("front left", ["leaking"], False, "gb").outcome == FAILS
    assert hoses("front left", [], False).outcome == HOLDS
    with pytest.raises(BadEntry, match="not on the list"):
        hoses("front left", ["tired"], False)
