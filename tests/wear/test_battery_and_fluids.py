"""Battery, coolant and brake fluid."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, shipped_limits
from driveout.wear.battery import battery_verdict, cranking_norm, days_until, sleep_current, state_of_charge
from driveout.wear.brake_fluid import boiling_with_water_c, fluid_verdict, grade, may_mix
from driveout.wear.coolant import after_refills, coolant_verdict, freezing_c, litres_to_replace, share_for

SHIPPED = shipped_limits()


def test_charge_is_a_band_because_tables_differ() -> None:
    charge = state_of_charge(12.24)

    assert charge.low_percent == pytest.approx(50)
    assert charge.high_percent == pytest.approx(55)
    assert state_of_charge(12.24, glass_mat=True).low_percent < charge.low_percent


def test_a_battery_that_has_not_rested_is_not_judged() -> None:
    with pytest.raises(CannotSay, match="charged or driven"):
        state_of_charge(13.2)
    assert "reads too high" in state_of_charge(12.6, rested_hours=1).note
    assert battery_verdict(12.6, None, None, SHIPPED, rested_hours=1)[0].outcome == OPEN
    assert battery_verdict(13.2, None, None, SHIPPED)[0].outcome == OPEN


def test_no_twelve_volt_battery_reads_that() -> None:
    with pytest.raises(BadEntry, match="no 12 V battery"):
        state_of_charge(24)


def test_voltages_become_findings_and_repairs() -> None:
    rest, crank, charge = battery_verdict(11.5, 9.0, 15.2, SHIPPED)

    assert rest.outcome == FAILS
    assert rest.repairs == ("rep_battery",)
    assert crank.findings[0].positive
    assert "rep_starter" in crank.repairs
    assert charge.repairs == ("rep_alternator",)
    assert battery_verdict(12.1, None, 14.2, SHIPPED)[0].outcome == CLOSE


def test_a_sleeping_car_is_measured_after_it_sleeps() -> None:
    assert sleep_current(400, 5, 60, SHIPPED).outcome == OPEN
    assert sleep_current(400, 40, 60, SHIPPED).repairs == ("rep_drain_hunt",)
    assert sleep_current(30, 40, 60, SHIPPED).outcome == HOLDS
    assert sleep_current(60, 40, 60, SHIPPED).outcome == CLOSE
    with pytest.raises(BadEntry, match="above 0"):
        days_until(60, 0)


def test_a_cranking_figure_without_its_norm_says_nothing() -> None:
    assert cranking_norm("en")["seconds"] == 10
    with pytest.raises(BadEntry, match="no norm"):
        cranking_norm("")


def test_freezing_is_read_back_from_the_share() -> None:
    assert share_for(freezing_c(42)) == pytest.approx(42)
    assert share_for(-15.7) == pytest.approx(30)
    with pytest.raises(BadEntry, match="outside the tables"):
        share_for(5)


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"percent": 50, "glycol": "salt"}, "not a glycol"),
        ({"percent": 50, "by": "weight"}, "not a way"),
        ({"percent": -1}, "no share"),
        ({"percent": 101}, "no share"),
    ],
)
def test_a_mix_that_cannot_be_is_refused(given: dict, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        freezing_c(**given)


def test_beyond_sixty_per_cent_nothing_is_promised() -> None:
    with pytest.raises(CannotSay, match="freezes sooner"):
        freezing_c(65)
    verdict = coolant_verdict(75, -20, SHIPPED)
    assert verdict.outcome == FAILS
    assert "sooner" in verdict.words


def test_a_weak_mix_is_not_enough_for_the_winter() -> None:
    assert coolant_verdict(30, -20, SHIPPED).outcome == CLOSE
    assert coolant_verdict(50, -20, SHIPPED).outcome == HOLDS
    assert coolant_verdict(50, -20, SHIPPED, looks_bad=True).findings[0].positive


def test_mixing_that_cannot_get_there_is_refused() -> None:
    assert litres_to_replace(7, 50, 50) == 0
    with pytest.raises(BadEntry, match="cannot turn"):
        litres_to_replace(7, 30, 50, 40)
    with pytest.raises(BadEntry, match="cannot turn"):
        litres_to_replace(7, 30, 50, 30)
    with pytest.raises(BadEntry, match="hold something"):
        litres_to_replace(0, 30, 50)
    with pytest.raises(BadEntry, match="cannot drain"):
        after_refills(7, 30, 8, 50, 1)


def test_plain_water_thins_a_mix() -> None:
    # 7 l of 50 % with 1 l replaced by water: 50 x 6/7
    assert litres_to_replace(7, 50, 300 / 7, 0) == pytest.approx(1)


def test_brake_fluid_boils_lower_with_water() -> None:
    assert boiling_with_water_c("dot 4", 0) == 230
    assert boiling_with_water_c("DOT 4", 3.7) == pytest.approx(155)
    assert boiling_with_water_c("DOT4", 10) == 100
    with pytest.raises(BadEntry, match="no grade"):
        grade("DOT 6")
    with pytest.raises(BadEntry, match="no brake fluid"):
        boiling_with_water_c("DOT 4", 11)


def test_silicone_in_a_glycol_system_fails() -> None:
    assert fluid_verdict("DOT 5", None, False, False, SHIPPED, asked="DOT 4").outcome == FAILS
    assert fluid_verdict("DOT 3", None, False, False, SHIPPED, asked="DOT 4").outcome == CLOSE
    assert fluid_verdict("DOT 5.1", None, False, False, SHIPPED, asked="DOT 4").outcome == HOLDS
    assert may_mix("DOT 4", "DOT 4") == (True, "The same grade.")


def test_wet_or_black_fluid_is_named() -> None:
    assert fluid_verdict("DOT 4", 4.0, False, False, SHIPPED).outcome == FAILS
    assert fluid_verdict("DOT 4", 3.2, False, False, SHIPPED).outcome == CLOSE
    assert fluid_verdict("DOT 4", 1.0, False, False, SHIPPED).outcome == HOLDS
    assert fluid_verdict("DOT 4", None, False, True, SHIPPED).findings[0].positive
