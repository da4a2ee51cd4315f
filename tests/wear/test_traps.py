"""The traps that tables and web pages about readings and papers hold ready; the crowfoot wrench is the workshop's."""

from __future__ import annotations

import itertools

import pytest

from driveout.cars.papers import disclosure_duty
from driveout.cars.vin import check_digit, read_vin
from driveout.units import read_torque
from driveout.wear import FAILS, HOLDS, judge, read_tyre_size, shipped_limits
from driveout.wear.brakes import pad_life
from driveout.wear.compression import altitude_band
from driveout.wear.coolant import freezing_c
from driveout.wear.limits import limits_of
from driveout.wear.steering import lash
from driveout.wear.tyre_size import load_table, speed_table
from driveout.wear.tyres import fitment


def test_a_check_digit_is_taken_modulo_eleven_never_ten() -> None:
    # 49 CFR 565 Table V: the products add to 411; 411 mod 10 would be 1.
    assert check_digit("1G4AH59H45G118341") == "4"


def test_the_odometer_is_disclosed_for_twenty_years_from_model_year_2011_on() -> None:
    # 49 CFR 580.17(a)(4); older copies print ten years for all.
    assert disclosure_duty(2016, 2027).owed


def test_a_bus_does_not_tell_its_cycle_by_position_seven() -> None:
    # 1M8GDM9AX... is a bus: both cycles stay possible.
    assert read_vin("1M8GDM9AXKP042788", this_year=2026, light_vehicle=False).years == (1989, 2019)


def test_load_index_62_is_265_and_the_table_never_falls() -> None:
    # One printed table has 165 at 62.
    loads = [load_table()[index] for index in range(120)]

    assert load_table()[62] == 265
    assert all(later > sooner for sooner, later in itertools.pairwise(loads))


def test_h_is_faster_than_u_although_it_stands_before_it() -> None:
    assert speed_table()["H"] > speed_table()["U"]
    # A T tyre (190) where the maker asks for H (210) fails, though T stands behind H.
    verdict = fitment(read_tyre_size("195/65R15 91T"), read_tyre_size("195/65R15 91H"), shipped_limits())
    assert verdict.outcome == FAILS


def test_a_torque_without_unit_is_refused_because_103_and_76_are_the_same() -> None:
    assert read_torque("103 Nm").nm == pytest.approx(read_torque("76 lbf·ft").nm, rel=0.001)
    with pytest.raises(ValueError, match="unit"):
        read_torque("76")


def test_volume_and_mass_shares_of_glycol_freeze_at_different_points() -> None:
    # 50 % by volume is 52.7 % by mass; the two data sets differ by 2.7 K there.
    assert freezing_c(50) == -37.11
    assert freezing_c(50, by="mass") == -35.99
    assert freezing_c(52.7, by="mass") - freezing_c(50) == pytest.approx(-2.7, abs=0.3)


def test_the_truck_tables_never_decide_for_a_car() -> None:
    trucks = [
        limit
        for limit in shipped_limits()
        if limit.key in ("play-us-heavy", "lining-us-heavy", "tread-us-steer")
    ]
    assert len(trucks) == 3
    assert not any(limit.decides for limit in trucks)
    # 0.4 in of play fails for a car; Subpart B would let it pass on a large rim.
    assert judge("play", 10.16, "mm", limits_of("play_mm", shipped_limits()), place="us").outcome == FAILS
    # 3 in of lash at a 16-inch wheel fails for a car; power-assisted trucks may have 4.25 in.
    assert lash(76.2, 406.4).outcome == FAILS


def test_the_printed_altitude_table_is_density_and_a_gauge_feels_pressure() -> None:
    band = altitude_band(5000 * 0.3048)
    # 3.4 % between both ends at 5000 ft: .862 and .832.
    assert band.density / band.pressure - 1 == pytest.approx(0.0355, abs=0.001)


def test_the_present_pad_is_counted_once_in_the_error() -> None:
    # Adding relative errors as if independent gives 2959 km; the shared reading makes it 3793 km.
    life = pad_life(40_000, 12, 7, 1.5)
    strangers = 44_000 * ((0.2 / 5.5) ** 2 + 2 * (0.2 / 5.0) ** 2) ** 0.5

    assert life.sd_km == pytest.approx(3793, abs=1)
    assert life.sd_km > strangers * 1.2


def test_1_59_mm_of_tread_passes_in_the_us_and_fails_in_europe() -> None:
    # 2/32 in is 1.5875 mm: 1.59 mm passes in the US and fails in the EU.
    known = limits_of("tread_mm", shipped_limits())
    assert judge("tread", 1.59, "mm", known, place="us-md").outcome != FAILS
    assert judge("tread", 1.59, "mm", known, place="eu").outcome == FAILS
    assert judge("tread", 5.0, "mm", known, place="eu").outcome == HOLDS
