"""One car's readings judged together, from plain values and from a file."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
import yaml

from driveout.errors import BadEntry
from driveout.faults.shipped import shipped_network
from driveout.files import shipped
from driveout.wear import FAILS, HOLDS, OPEN, CarFacts, Reading, Report, judge_file, report
from driveout.wear.paint_plan import OwnPasses, measured_removal, own_removal
from driveout.wear.trouble_codes import known_codes
from driveout.wear.verdict import GRADES

TODAY = date(2026, 10, 1)
FACTS = CarFacts(TODAY, 141_000, 2013)


def at(topic: str, spot: str, day: date = TODAY, km: float | None = 141_000, **entries: str) -> Reading:
    return Reading(topic, spot, entries, day, km)


def test_an_earlier_reading_gives_the_life_left() -> None:
    first = at("corner", "front left", date(2025, 10, 1), 121_000, pad_inner="9", pad_outer="9")
    second = at("corner", "front left", pad_inner="6", pad_outer="6.2")
    (verdict,) = report([second, first], FACTS, use_shipped=True).of("corner", "front left")

    # 20 000 km x (6 - 1.5) / (9 - 6), by the British 1.5 mm, the strictest read rule
    assert verdict.life is not None
    assert verdict.life.km == pytest.approx(30_000)


def test_pads_that_grew_are_asked_about_unless_renewed() -> None:
    first = at("corner", "front left", date(2025, 10, 1), 121_000, pad_inner="4", pad_outer="4")
    with pytest.raises(BadEntry, match="Tick that parts were renewed"):
        report([first, at("corner", "front left", pad_inner="11", pad_outer="11")], FACTS)
    renewed = at("corner", "front left", pad_inner="11", pad_outer="11", renewed="yes")
    assert report([first, renewed], FACTS).of("corner", "front left")[0].outcome == HOLDS


def test_a_disc_that_grew_is_asked_about() -> None:
    first = at("corner", "front left", date(2025, 10, 1), 121_000, disc="21.0 21.0 21.0 21.0")
    with pytest.raises(BadEntry, match=r"cannot have\s+grown"):
        report([first, at("corner", "front left", disc="22.0 22.0 22.0 22.0")], FACTS)


def test_pads_thicker_than_new_are_refused() -> None:
    with pytest.raises(BadEntry, match="backing plate"):
        report([at("corner", "front left", pad_inner="14", pad_km="20000", pad_new="11")], FACTS)


def test_one_place_of_tread_is_not_enough() -> None:
    with pytest.raises(BadEntry, match="hides edge wear"):
        report([at("corner", "front left", tread_inner="5")], FACTS)


def test_a_good_corner_alone_does_not_speak_against_worn_brakes() -> None:
    one = report([at("corner", "front left", pad_inner="9")], FACTS)
    four = report(
        [
            at("corner", spot, pad_inner="9")
            for spot in ("front left", "front right", "rear left", "rear right")
        ],
        FACTS,
    )

    assert "w_brake_visual" not in one.findings
    assert not four.findings["w_brake_visual"].positive


def test_one_bad_corner_speaks_for_worn_brakes() -> None:
    judged = report([at("corner", "rear left", pad_inner="2")], FACTS)

    assert judged.findings["w_brake_visual"].positive
    assert "rep_brake_rear" in judged.repairs


def test_unlike_sizes_on_an_axle_fail() -> None:
    corners = [
        at("corner", "front left", tyre_size="195/65R15 91H"),
        at("corner", "front right", tyre_size="205/60R15 91H"),
    ]

    assert report(corners, FACTS).of("corner", "axles")[0].outcome == FAILS


def test_four_wheel_drive_asks_for_matching_tyres() -> None:
    treads = {"front left": "6", "front right": "6", "rear left": "4", "rear right": "4"}
    corners = [at("corner", spot, tread_inner=t, tread_middle=t, tread_outer=t) for spot, t in treads.items()]

    assert not [v for v in report(corners, FACTS).of("corner", "axles") if "match" in v.what]
    driven = report([*corners, at("setup", "car", drive="all")], FACTS)
    assert [v.outcome for v in driven.of("corner", "axles") if "match" in v.what] == [FAILS]


def test_the_place_chooses_the_rule() -> None:
    tread = at("corner", "front left", tread_inner="1.59 mm", tread_middle="3", tread_outer="3")
    in_eu = report([tread, at("setup", "car", place="eu")], FACTS).of("corner", "front left")[0]
    in_us = report([tread, at("setup", "car", place="us")], FACTS).of("corner", "front left")[0]

    assert in_eu.outcome == FAILS
    assert in_us.outcome != FAILS


def test_a_later_reading_replaces_field_by_field() -> None:
    earlier = at("battery", "battery", date(2026, 9, 1), rest="11.5", charge="14.2")
    judged = report([earlier, at("battery", "battery", rest="12.6")], FACTS)

    assert [v.outcome for v in judged.of("battery")] == [HOLDS, OPEN]


def test_swirls_get_a_plan_and_deep_ones_are_left() -> None:
    films = [at("paint", panel, film="110 112 111") for panel in ("roof", "bonnet", "tailgate")]
    light = report([*films, at("paint", "roof", flaw="swirls", nail="no", wet="yes")], FACTS).of(
        "paint", "roof"
    )[1]
    deep = report([*films, at("paint", "roof", flaw="scratch", nail="no", wet="yes", depth="9")], FACTS).of(
        "paint", "roof"
    )[1]

    assert light.outcome == HOLDS
    assert "striking through" in light.words
    assert deep.outcome == FAILS
    assert "leave it and disclose it" in deep.words


def test_ones_own_passes_are_calibrated_and_grown_paint_is_doubted() -> None:
    own = report(
        [at("passes", "own", step="polish", passes="4", before="112 112 112", after="107 107 108")], FACTS
    )
    odd = report([at("passes", "own", step="P3000", before="112", after="115")], FACTS)

    assert "a pass" in own.of("passes")[0].words
    assert odd.of("passes")[0].outcome == OPEN


def test_ones_own_passes_turn_a_plan_into_passes_and_what_came_off_counts() -> None:
    films = [at("paint", panel, film="110 112 111") for panel in ("roof", "bonnet", "tailgate")]
    flaw = at("paint", "roof", flaw="swirls", nail="no", wet="yes", depth="2")
    # 5 um in 5 passes, three presses: 1 um a pass with sd sqrt(2) 1.5 / sqrt(3) / 5 = 0.245 against
    # the general 2.75 with sd 1: (2.75 + 1 / 0.06) / (1 + 1 / 0.06) = 1.099
    elsewhere = at("passes", "own", passes="5", before="112 112 112", after="107 107 107")
    here = Reading("passes", "own", elsewhere.entries | {"panel": "roof"}, TODAY)
    general = report([*films, flaw], FACTS).of("paint", "roof")[1]
    own = report([*films, flaw], FACTS, passes=[elsewhere]).of("paint", "roof")[1]
    again = report([*films, flaw, here], FACTS).of("paint", "roof")[1]

    assert "polish: 2.0 um, about 0.7 passes at 2.75 um by the general figure" in general.steps
    assert "polish: 2.0 um, about 1.8 passes at 1.10 um by your 3 presses" in own.steps
    assert "left of the budget for polish: about 5.5 passes at 1.10 um by your 3 presses" in own.steps
    # 8 um are the budget and 5 are gone: 2 more leave 1.
    assert "sum 2.0 um and 5.0 um gone before" in again.steps
    assert "left of the budget for polish: about 0.9 passes at 1.10 um by your 3 presses" in again.steps


def test_a_makers_grade_is_known_by_ones_own_readings_only() -> None:
    assert own_removal("P3000", []) is None
    grade = OwnPasses("P3000", "", measured_removal([112, 112], [110, 110]), 4)
    own = own_removal("P3000", [grade])
    assert own is not None
    # 2 um in 4 passes; sd sqrt(2) 1.5 / sqrt(2) / 4
    assert own.mean_um == pytest.approx(0.5)
    assert own.sd_um == pytest.approx(0.375)


def test_the_papers_speak() -> None:
    lines = "2015-05-04 60000 km inspection\n2018-06-01 90000 km receipt\n2021-06-01 85000 km advert"
    judged = report(
        [
            at(
                "papers",
                "papers",
                odometer=lines,
                brand="rebuilt",
                paper_lien="not true",
                paper_id_match="true",
            )
        ],
        FACTS,
    )

    assert judged.findings["p_odo_series"].positive
    assert judged.findings["p_lien_lookup"].positive
    assert not judged.findings["p_seller_id"].positive
    assert "70%" in judged.findings["p_brand_lookup"].why


@pytest.mark.parametrize(
    ("line", "match"),
    [
        ("last year 60000 km", "Line 1"),
        ("2015-05-04 60000", "Kilometres or miles"),
        ("2015-13-04 60000 km", "no day"),
        ("2030-05-04 60000 km", "future"),
    ],
)
def test_an_odometer_line_that_cannot_be_read_is_named(line: str, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        report([at("papers", "papers", odometer=line)], FACTS)


def test_a_reading_of_tomorrow_is_refused() -> None:
    with pytest.raises(BadEntry, match="in the future"):
        report([at("battery", "battery", date(2026, 10, 2), rest="12.6")], FACTS)


def test_toe_needs_the_makers_value() -> None:
    with pytest.raises(BadEntry, match="maker's value"):
        report([at("steering", "steering", toe="0.2")], FACTS)


def test_every_finding_fault_and_repair_named_here_exists_in_the_knowledge_that_ships() -> None:
    network = shipped_network("runner")
    repairs = set(yaml.safe_load(shipped("driveout.repairs", "data/repairs.yaml"))["repairs"])
    folder = Path(__file__).parents[2] / "src/driveout/wear"
    source = "".join(path.read_text() for path in folder.rglob("*") if path.suffix in (".py", ".yaml"))
    quoted = {
        a or b for a, b in re.findall(r'"([qpwbsdu]_[a-z0-9_]+)"|check: ([qpwbsdu]_[a-z0-9_]+)', source)
    }
    coded = {check for code in known_codes() for check in code.checks}
    faults = {fault for code in known_codes() for fault in code.points_at}

    assert set(re.findall(r"\brep_\w+", source)) - {"rep_"} <= repairs
    assert (quoted | coded) - set(network.finding) <= {"p_recall_lookup"}  # a gain, not a fault
    states = {state.id for cause in network.causes for state in cause.states}
    assert faults <= set(network.cause) | states
    assert all(network.finding[name].labels[: len(labels)] == labels for name, labels in GRADES.items())


def test_findings_carry_the_grades_of_the_network() -> None:
    corners = [at("corner", "front left", pad_inner="0.4 mm"), at("corner", "rear left", pad_inner="3")]
    films = [at("paint", p, film="110 112") for p in ("roof", "bonnet", "tailgate")]
    judged = report(
        [
            *corners,
            *films,
            at("paint", "left wing", film="200 210"),
            at("paint", "roof", flaw="scratch", nail="no", wet="yes"),
            at("engine", "engine", dry="170 80 165 168 psi"),
        ],
        FACTS,
    )

    said = {check: finding.outcome for check, finding in judged.findings.items()}
    assert said["w_brake_visual"] == "metal on metal"
    assert said["w_paint_gauge"] == "repainted"
    assert said["w_nail_scratch"] == "smooth"
    assert said["w_wet_scratch"] == "vanishes"
    assert said["b_compression"] == "very low"


FILE = """
schema: driveout-limits/1
car: {on: 2026-10-01, mileage_km: 141000, made_year: 2013}
limits:
  - {quantity: disc_mm, least: "20.0 mm", origin: "cast on the disc", place: front}
readings:
  - {topic: corner, spot: front left, disc: [19.8, 19.9, 19.85, 19.9], pad_inner: 4/32, pad_outer: 4 mm}
  - {topic: engine, dry: "170 165 120 168 psi", wet: {3: "150 psi"}}
"""


def test_a_file_of_ones_own_is_judged() -> None:
    judged = judge_file(FILE, "own.yaml", TODAY)

    assert judged.of("corner", "front left")[1].outcome == FAILS
    assert "rings" in judged.of("engine")[0].words
    assert judged.as_dict()["verdicts"][0]["decided_by"]["key"]


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("4/32", "0.157", r"own.yaml:7 readings.0.pad_inner: Inner pad: 0.157 mm is doubtful"),
        ("topic: engine", "topic: motor", r"own.yaml:8 readings.1.topic"),
        ("mileage_km: 141000", "mileage_km: nine", r"own.yaml:3 car.mileage_km"),
        ("on: 2026-10-01", "on: soon", r"own.yaml:3 car.on"),
        ("limits:", "bounds:", r"own.yaml:4 bounds"),
        ("spot: front left", "spot: nose", r"own.yaml:7 readings.0.spot"),
        ("driveout-limits/1", "driveout-limits/9", r"own.yaml:2 schema"),
    ],
)
def test_a_bad_file_is_named_by_line_and_key(old: str, new: str, match: str) -> None:
    with pytest.raises(BadEntry) as caught:
        judge_file(FILE.replace(old, new), "own.yaml", TODAY)
    assert match in str(caught.value)


PANEL = {"film": "110 112 111", "flaw": "swirls", "nail": "no", "wet": "yes"}


def test_polishing_painting_and_leaving_are_compared_in_money() -> None:
    films = [at("paint", panel, film="110 112 111") for panel in ("bonnet", "tailgate")]
    terms = {"supplies": "20", "hour_worth": "15", "painter": "250", "level_hours": "3", "paint_hours": "6"}

    def roof(**money: str) -> Report:
        return report([*films, Reading("paint", "roof", PANEL | money, TODAY)], FACTS)

    rich, poor = roof(**terms, uplift="200", discount="100"), roof(**terms, uplift="10", discount="5")

    assert "polish it" in rich.of("paint", "roof")[2].words
    assert "leave it and disclose it" in poor.of("paint", "roof")[2].words
    with pytest.raises(BadEntry, match="in USD"):
        roof(uplift="200 EUR")
    with pytest.raises(BadEntry, match="not a number"):
        roof(uplift="much")


def test_used_and_new_tyres_are_compared_per_millimetre() -> None:
    sets = at("tyre_sets", "tyres", used_price="160", used_tread="3.6", new_price="380", new_tread="8")
    words = report([sets], FACTS).of("tyre_sets")[0].words

    # 380 / 6.4 = 59.38 and 160 / 2 = 80.00
    assert "59.38 USD a millimetre" in words
    assert "80.00 USD a millimetre" in words
    assert "The new set costs less to wear" in words


def test_a_testers_print_is_judged_by_the_rules_of_the_place() -> None:
    printed = at("steering", "steering", difference="35", efficiency="55", parking="20")
    judged = report([printed, at("setup", "car", place="gb")], FACTS).of("steering")

    assert [v.outcome for v in judged] == [FAILS, FAILS, HOLDS]


def test_a_rusted_pipe_is_a_finding() -> None:
    judged = report([at("corner", "rear left", pipe_loss="0.3 mm")], FACTS)

    assert judged.findings["u_brake_lines"].positive
    assert "rep_brake_line" in judged.repairs


def test_a_pipe_with_its_wall_is_no_finding() -> None:
    assert "u_brake_lines" not in report([at("corner", "rear left", pipe_loss="0.1 mm")], FACTS).findings


def test_the_currency_of_a_file_is_checked() -> None:
    with pytest.raises(BadEntry, match="currency"):
        judge_file(FILE.replace("made_year: 2013", "currency: dollars"), "own.yaml", TODAY)
