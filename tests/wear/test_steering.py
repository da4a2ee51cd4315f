"""Steering, suspension, wheels and the drives."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, maker_limit, shipped_limits
from driveout.wear.drive_sheets import drive_verdicts, sheet
from driveout.wear.steering import free_turn, lash, lash_limit_mm, play, ride_height, suspension, toe
from driveout.wear.wheels import nuts, rim_runout

SHIPPED = shipped_limits()


def test_lash_is_judged_by_the_wheel_and_with_the_engine_on() -> None:
    assert lash(60, 406.4).outcome == FAILS
    assert "rep_tie_rod" in lash(60, 406.4).repairs
    assert lash(45, 406.4).outcome == CLOSE
    assert lash(20, 380).outcome == HOLDS
    assert lash(60, 406.4, engine_on=False).outcome == OPEN
    assert lash(60, 406.4, engine_on=False, power_assisted=False).outcome == FAILS
    with pytest.raises(BadEntry, match="Measure across the rim"):
        lash_limit_mm(100)


def test_the_tables_of_trucks_and_of_utah_are_shown_beside_the_lash_and_never_decide() -> None:
    judged = lash(60, 406.4)
    said = {other.limit.key: other.outcome for other in judged.others}

    assert judged.decided_by is not None
    assert judged.decided_by.key == "lash-us"
    assert said["lash-us-heavy-power"] == HOLDS
    assert said["lash-us-ut"] == HOLDS
    assert lash(60, 406.4, place="gb").outcome == OPEN  # no such rule there
    own = maker_limit("lash_mm", "most", "30 mm", "workshop manual, page 4-2")
    assert lash(35, 406.4, limits=[own], place="gb").outcome == FAILS


def test_play_names_the_joint_that_moved() -> None:
    verdict = play("front left", 9, "ball joint", SHIPPED, "us")

    assert verdict.outcome == FAILS
    assert verdict.repairs == ("rep_ball_joint",)
    assert verdict.findings[0].check == "u_rock_12_6"
    assert play("front left", 2, "", SHIPPED, "us").outcome == HOLDS
    with pytest.raises(BadEntry, match="not on the list"):
        play("front left", 9, "knee", SHIPPED)


def test_toe_of_zero_cannot_be_multiplied() -> None:
    assert toe(0.2, 0.0, SHIPPED).outcome == OPEN
    assert toe(0.31, 0.2, SHIPPED, "us").outcome == FAILS
    assert toe(0.30, 0.2, SHIPPED, "us").outcome == HOLDS


def test_what_is_seen_in_the_suspension_fails_without_a_number() -> None:
    verdict = suspension("rear left", ["spring broken or with a spacer", "bush torn"])

    assert verdict.outcome == FAILS
    assert set(verdict.repairs) == {"rep_struts", "rep_control_arm"}
    assert suspension("rear left", []).outcome == HOLDS
    with pytest.raises(BadEntry, match="not on the list"):
        suspension("rear left", ["rust"])


def test_a_leaning_car_is_a_finding() -> None:
    assert ride_height(650, 630, "front", None).findings[0].positive
    assert ride_height(650, 645, "front", 1.0).outcome == HOLDS
    assert ride_height(650, 645, "front", 2.0).outcome == CLOSE


def test_binding_between_the_locks_fails() -> None:
    assert free_turn(True).outcome == FAILS
    assert free_turn(False).outcome == HOLDS


def test_a_rim_is_judged_by_the_worse_of_both_runouts() -> None:
    assert rim_runout("front left", 1.0, 3.3, SHIPPED, "us").outcome == FAILS
    assert rim_runout("front left", 1.0, None, SHIPPED, "us").outcome == HOLDS


def test_a_missing_nut_stops_the_drive() -> None:
    assert nuts("front left", 1, 0).outcome == FAILS
    assert nuts("front left", 0, 0).outcome == HOLDS


def test_answers_of_a_drive_become_graded_findings() -> None:
    got = {
        v.findings[0].check: (v.outcome, v.findings[0].positive)
        for v in drive_verdicts(
            "test_drive", {"clutch_slip": "plain", "hum": "none", "centre": "slight", "boost": "not done"}
        )
    }

    assert got == {
        "d_clutch_hold": (FAILS, True),
        "d_hum_load": (HOLDS, False),
        "d_steer_center": (CLOSE, False),
    }


def test_a_first_drive_is_stopped_by_what_is_dangerous() -> None:
    assert "Stop here" in drive_verdicts("first_drive", {"oil_lamp": "slight"})[0].words


@pytest.mark.parametrize(
    ("name", "answers", "match"),
    [
        ("ride", {}, "not a sheet"),
        ("test_drive", {"paint": "none"}, "not on the sheet"),
        ("test_drive", {"hum": "loud"}, "not a grade"),
    ],
)
def test_answers_that_belong_nowhere_are_refused(name: str, answers: dict[str, str], match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        drive_verdicts(name, answers)


def test_every_leg_names_a_check_once() -> None:
    keys = [leg.key for leg in sheet("test_drive")]

    assert len(keys) == len(set(keys))
    assert all(leg.check.startswith(("s_", "d_", "b_", "u_")) for leg in sheet("first_drive"))
