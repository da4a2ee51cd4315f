"""Compression, leak-down, pressures, trouble codes."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.wear import FAILS, HOLDS, OPEN, maker_limit, shipped_limits
from driveout.wear.compression import (
    altitude_band,
    compression,
    cooling_pressure,
    leak_down,
    leak_percent,
    low_cylinders,
    oil_pressure,
    plug_hole_look,
)
from driveout.wear.trouble_codes import codes_from_reply, codes_verdict, is_generic, known_codes, read_codes

SHIPPED = shipped_limits()
PSI = 6.894757293168361


def psi(*values: float) -> list[float]:
    return [value * PSI for value in values]


def test_even_cylinders_hold_and_speak_against_the_fault() -> None:
    verdict = compression(psi(150, 148, 152, 147), SHIPPED)

    assert verdict.outcome == HOLDS
    assert not verdict.findings[0].positive


def test_the_two_makers_rules_differ_and_it_is_said() -> None:
    verdict = compression(psi(170, 165, 120, 168), SHIPPED)

    assert verdict.outcome == FAILS
    assert "compression-70" in [other.limit.key for other in verdict.others]


def test_the_makers_own_ratio_decides() -> None:
    maker = maker_limit("compression_ratio", "least", "0.70", "workshop manual")

    assert compression(psi(170, 165, 120, 168), (maker, *SHIPPED)).decided_by == maker


def test_a_rise_with_oil_means_rings_and_none_means_valves() -> None:
    dry = psi(170, 165, 110, 168)
    rings = compression(dry, SHIPPED, wet_kpa={3: 150 * PSI})
    valves = compression(dry, SHIPPED, wet_kpa={3: 112 * PSI})

    assert "rings" in rings.words
    assert rings.repairs == ("rep_engine_reman",)
    assert "valves" in valves.words
    assert valves.repairs == ("rep_head_valves",)
    assert "Repeat the low cylinder" in compression(dry, SHIPPED).words


def test_two_low_neighbours_mean_the_gasket() -> None:
    verdict = compression(psi(170, 90, 92, 168), SHIPPED)

    assert "neighbours" in verdict.words
    assert "rep_head_gasket" in verdict.repairs
    assert "neighbours" not in compression(psi(90, 170, 168, 92), SHIPPED).words


def test_low_cylinders_are_numbered_from_one() -> None:
    assert low_cylinders([10, 7, 10, 7.5], 0.75) == (2,)


def test_in_the_mountains_the_level_is_judged_at_both_ends() -> None:
    # 600 kPa at 2000 m: 600/.822 = 730 by density, 600/.785 = 765 by pressure, both above 690.
    assert compression([600, 610, 600, 605], SHIPPED, altitude_m=2000).outcome == HOLDS
    assert compression([600, 610, 600, 605], SHIPPED).outcome == FAILS
    # 560 kPa: 682 or 714; the ends disagree, so the level decides nothing and the ratio holds.
    between = compression([560, 565, 562, 560], SHIPPED, altitude_m=2000)
    assert between.outcome == HOLDS


@pytest.mark.parametrize(
    ("dry", "wet", "match"),
    [
        ([1000], None, "every cylinder"),
        ([0, 0], None, "reads 0"),
        ([1000, 990], {3: 1000}, "not measured dry"),
    ],
)
def test_a_compression_test_that_says_nothing_is_refused(
    dry: list[float], wet: dict[int, float] | None, match: str
) -> None:
    with pytest.raises(BadEntry, match=match):
        compression(dry, SHIPPED, wet_kpa=wet)


def test_no_car_stands_that_high() -> None:
    with pytest.raises(BadEntry, match="no height"):
        altitude_band(9000)


def test_where_the_air_leaves_names_the_part() -> None:
    verdict = leak_down(2, 40, "exhaust", SHIPPED)

    assert verdict.repairs == ("rep_head_valves",)
    assert verdict.findings[0].points_at == ("eng_low_compression",)
    # the bands are from memory: never decided by them
    assert verdict.outcome == OPEN
    assert not leak_down(1, 8, "", SHIPPED).findings[0].positive
    with pytest.raises(BadEntry, match="not on the list"):
        leak_down(1, 40, "ears", SHIPPED)
    with pytest.raises(BadEntry, match="swap the two gauges"):
        leak_percent(60, 80)


def test_oil_pressure_is_decided_by_the_maker_only() -> None:
    maker = maker_limit("oil_pressure_kpa", "least", "200 kPa", "manual, at 2000 /min")

    assert oil_pressure(100, 2000, SHIPPED).outcome == OPEN
    assert oil_pressure(100, 2000, SHIPPED).findings[0].positive
    assert oil_pressure(100, 2000, (maker, *SHIPPED)).outcome == FAILS
    assert not oil_pressure(160, 800, SHIPPED).findings[0].positive


def test_a_cooling_test_is_brought_to_ten_minutes() -> None:
    assert cooling_pressure(6, 5, SHIPPED).findings[0].positive
    assert not cooling_pressure(6, 10, SHIPPED).findings[0].positive
    with pytest.raises(BadEntry, match="longer than 0"):
        cooling_pressure(6, 0, SHIPPED)


def test_notes_from_the_plug_hole_name_what_speaks_for_a_fault() -> None:
    assert plug_hole_look("valve mark on piston 2").findings[0].positive
    assert not plug_hole_look("even grey carbon").findings[0].positive


def test_codes_are_found_in_any_text_once_each() -> None:
    assert [c.code for c in read_codes("DTC P0301 (stored) p 0420, P0301")] == ["P0301", "P0420"]


@pytest.mark.parametrize(
    ("code", "generic"),
    [
        ("P0301", True),
        ("P1301", False),
        ("P2187", True),
        ("P3100", False),
        ("P3400", True),
        ("U0100", True),
        ("U3001", True),
        ("B1000", False),
        ("C0035", True),
    ],
)
def test_generic_codes_are_told_from_makers(code: str, generic: bool) -> None:
    # SAE J2012 ranges, from memory.
    assert is_generic(code) is generic


def test_every_shipped_code_is_generic_and_answers_a_check() -> None:
    for code in known_codes():
        assert is_generic(code.code)
        assert code.points_at
        assert code.meaning
        assert len(code.checks) <= 1


def test_a_code_speaks_for_its_own_system_and_silence_against_the_others() -> None:
    said = {f.check: f.positive for f in codes_verdict(read_codes("P0303 C0035")).findings}

    assert said["s_codes_misfire"]
    assert said["s_codes_abs"]
    assert not said["s_codes_cat"]
    # a plain engine reader does not see the airbag unit
    assert "s_codes_srs" not in said


@pytest.mark.parametrize("text", ["PO301", "no code at all", "P9301"])
def test_what_is_no_code_is_refused(text: str) -> None:
    with pytest.raises(BadEntry, match="code"):
        read_codes(text)


def test_a_makers_code_says_to_look_it_up() -> None:
    code = read_codes("P1234")[0]

    assert not code.generic
    assert "manual" in code.meaning
    assert "not shipped" in read_codes("P0999")[0].meaning


@pytest.mark.parametrize(
    ("reply", "kind", "codes"),
    [
        ("43 01 33 00 00 00 00", "stored", ["P0133"]),
        ("47 03 00", "pending", ["P0300"]),
        ("4A 41 01", "permanent", ["C0101"]),
        ("43 02 81 00 C1 00", "stored", ["B0100", "U0100"]),
    ],
)
def test_an_adapters_bytes_are_decoded(reply: str, kind: str, codes: list[str]) -> None:
    # SAE J1979, from memory: two bits name the system, two the second character, 12 bits the digits.
    assert codes_from_reply(reply)[0] == kind
    assert [code.code for code in codes_from_reply(reply)[1]] == codes


def test_an_answer_to_another_question_is_refused() -> None:
    with pytest.raises(BadEntry, match="not an answer about codes"):
        codes_from_reply("41 00 BE")


def test_a_wiped_memory_is_a_finding_and_no_code_speaks_against() -> None:
    clean = codes_verdict((), cleared_recently=False)
    wiped = codes_verdict((), cleared_recently=True)

    assert clean.outcome == HOLDS
    assert not any(f.positive for f in clean.findings)
    assert {"s_not_ready", "s_codes_cat"} <= {f.check for f in clean.findings}
    assert wiped.outcome == OPEN
    assert "may come back" in wiped.words
