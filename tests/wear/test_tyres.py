"""Tyres: the code on the side, fit, tread, age, match, price."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.units import Money
from driveout.wear import CLOSE, FAILS, HOLDS, OPEN, maker_limit, read_tyre_size, shipped_limits
from driveout.wear.tyres import (
    Tread,
    TyreChoice,
    age_verdict,
    all_wheel_match,
    condition,
    cost_per_mm,
    fitment,
    grading_words,
    made_in_week_of,
    tread_verdict,
    wear_pattern,
)

SHIPPED = shipped_limits()
TODAY = date(2026, 10, 1)


@pytest.mark.parametrize(
    "text",
    [
        "205/55R16 91V",
        "205/55 R 16 91V",
        "p225/45r17 91w",
        "LT235/75R15 104/101R",
        "205/55ZR16 (91Y)",
        "225/45ZR17",
        "225/45R17 94W XL",
        "225/45R17 94W EXTRA LOAD M+S",
        "225/45RF17 91V",
        "195/65-15 91S",
        "225/70R15C 112/110R",
        "T125/70D15 95M",
        "205/55R16 91V SL",
        "LT265/70R17 121/118S LRE",
    ],
)
def test_a_code_is_read_and_written_back_the_same(text: str) -> None:
    size = read_tyre_size(text)
    again = read_tyre_size(size.text())

    # A load range letter is not written back.
    assert again.text() == size.text()
    assert again.diameter_mm == size.diameter_mm


def test_a_flotation_size_gives_diameter_and_width_in_inches() -> None:
    size = read_tyre_size("31x10.50R15LT 109S")

    assert size.service == "LT"
    assert size.diameter_mm == pytest.approx(31 * 25.4)
    assert size.width_mm == pytest.approx(10.5 * 25.4)


def test_what_stands_behind_the_size_is_told_apart() -> None:
    size = read_tyre_size("205/55ZR16 (91Y) XL")

    assert (size.load_index, size.speed_symbol, size.speed_km_h, size.extra_load) == (91, "(Y)", 300, True)
    assert read_tyre_size("205/55ZR16").speed_km_h == 240
    assert read_tyre_size("225/45R17 91W RFT").run_flat
    assert read_tyre_size("LT265/70R17 121/118S LRE").load_kg is None
    assert read_tyre_size("LT265/70R17 121/118S LRE").load_range == "E"


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("205/5516", "Did you mean 205/55R16"),
        ("2O5/55R16", "Did you mean 205/55R16"),
        ("205-55-16", "Did you mean 205/55R16"),
        ("206/55R16", "widths end in 5. Did you mean 195 or 205"),
        ("205/57R16", "steps of 5|runs in fives"),
        ("205/55R55", "is on no car"),
        ("205/55R16 19V", "load index of 19"),
        ("205/55R16 91Z", "not a speed symbol"),
        ("205/55R16 (91V)", "Brackets"),
        ("205/55R16 (91Y", "bracket is open"),
        ("LT235/75R15 101/104R", "in pairs a tyre carries less"),
        ("205/55R16 91V banana", "not understood"),
        ("tyre", "not a tyre size"),
        ("", "not a tyre size"),
        ("405/95R30", "would stand"),
        ("90x10.50R15LT", "no tyre has"),
    ],
)
def test_nonsense_is_refused_with_the_likely_slip(text: str, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        read_tyre_size(text)


def test_a_tyre_that_carries_too_little_does_not_fit() -> None:
    maker = read_tyre_size("205/55R16 94V")

    assert fitment(read_tyre_size("205/55R16 91V"), maker, SHIPPED).outcome == FAILS
    assert fitment(read_tyre_size("205/55R16 94V"), maker, SHIPPED).outcome == HOLDS
    assert fitment(read_tyre_size("225/65R16 99V"), maker, SHIPPED).outcome == CLOSE
    assert "rim 17" in " ".join(fitment(read_tyre_size("225/45R17 94V"), maker, SHIPPED).steps)


@pytest.mark.parametrize(
    ("places", "pattern"),
    [
        ((3, 5, 5), ("inner edge",)),
        ((5, 5, 3), ("outer edge",)),
        ((3, 5, 3), ("both edges",)),
        ((5, 3, 5), ("middle",)),
        ((5, 5, 5), ()),
    ],
)
def test_the_pattern_tells_the_cause(places: tuple[float, float, float], pattern: tuple[str, ...]) -> None:
    assert wear_pattern(Tread(*places)) == pattern


def test_cupping_speaks_for_the_damper() -> None:
    verdict = tread_verdict("front left", Tread(5, 5, 5, cupped=True, feathered=True), SHIPPED)

    assert "rep_struts" in verdict.repairs
    assert verdict.findings[0].positive


def test_the_lowest_place_decides_and_life_is_told_with_its_doubt() -> None:
    verdict = tread_verdict("front left", Tread(4, 5, 5), SHIPPED, place="eu", km_driven=20_000)

    assert verdict.outcome == HOLDS
    assert verdict.life is not None
    # 20 000 x (4 - 1.6) / (8 - 4)
    assert verdict.life.km == pytest.approx(12_000)
    assert "8 mm" in verdict.life.note


def test_tread_deeper_than_new_is_refused() -> None:
    with pytest.raises(BadEntry, match=r"10/32 in is 7.9 mm"):
        tread_verdict("front left", Tread(10, 10, 10), SHIPPED, new_mm=8)


def test_bald_tyres_fail_and_are_replaced() -> None:
    verdict = tread_verdict("front left", Tread(1.2, 1.2, 1.2), SHIPPED, place="gb")

    assert verdict.outcome in (FAILS, OPEN)
    assert any(finding.check == "w_tyre_age" and finding.positive for finding in verdict.findings)


@pytest.mark.parametrize(
    ("code", "match"),
    [
        ("5318", "no week 53"),
        ("0118x", "does not end"),
        ("4027", "future"),
        ("0018", "no week"),
        ("", "does not end"),
    ],
)
def test_a_date_code_that_cannot_be_is_refused(code: str, match: str) -> None:
    with pytest.raises(BadEntry, match=match):
        made_in_week_of(code, TODAY)


def test_week_53_exists_in_long_years_only() -> None:
    assert made_in_week_of("5320", TODAY) == date(2020, 12, 28)


def test_the_whole_code_may_be_typed() -> None:
    assert made_in_week_of("DOT 4B08 4DHR 3518", TODAY) == date(2018, 8, 27)


def test_three_digits_are_from_before_2000() -> None:
    with pytest.raises(CannotSay, match="before 2000"):
        made_in_week_of("358", TODAY)
    assert age_verdict("front left", "358", TODAY, SHIPPED).outcome == FAILS


def test_age_warns_at_six_and_strongly_at_ten_but_is_not_decided_by_memory() -> None:
    assert age_verdict("front left", "3518", TODAY, SHIPPED).outcome == OPEN
    assert age_verdict("front left", "0124", TODAY, SHIPPED).outcome == HOLDS
    old = age_verdict("front left", "0115", TODAY, SHIPPED)
    assert "rep_tyres" in old.repairs
    assert old.decided_by is None


def test_the_all_wheel_rules_conflict_and_all_are_shown() -> None:
    treads = {"front left": 6.0, "front right": 6.0, "rear left": 4.6, "rear right": 4.6}
    verdict = all_wheel_match(treads, SHIPPED)

    # 1.4 mm of tread is 8.8 mm of circumference: above 1/4 in, below 2/32 in of tread.
    assert verdict.outcome == FAILS
    assert {other.limit.key for other in verdict.others} >= {"match-tread", "match-tread-3"}


def test_the_makers_tread_rule_decides_for_all_wheel_drive() -> None:
    maker = maker_limit("tread_difference_mm", "most", "2/32 in", "owner's manual")
    treads = {"front left": 6.0, "front right": 6.0, "rear left": 4.6, "rear right": 4.6}

    assert all_wheel_match(treads, (maker, *SHIPPED)).outcome == HOLDS
    with pytest.raises(CannotSay, match="four"):
        all_wheel_match({"front left": 6.0}, SHIPPED)


def test_grading_is_said_in_words_and_promises_nothing() -> None:
    assert "4.0 times" in grading_words("400 AA A")
    assert "no promise" in grading_words("treadwear 320 traction A temperature B")
    with pytest.raises(BadEntry, match="not a grading"):
        grading_words("very good")


def test_a_worn_bargain_can_cost_more_per_millimetre_than_new() -> None:
    used = TyreChoice("used", Money.of(160, "USD"), 3.6)
    new = TyreChoice("new", Money.of(380, "USD"), 8.0)
    bald = TyreChoice("bald", Money.of(40, "USD"), 1.6)
    order = cost_per_mm([used, new, bald])

    # 160 / 2.0 = 80.00; 380 / 6.4 = 59.38; nothing usable comes last.
    assert [choice.name for choice, _ in order] == ["new", "used", "bald"]
    assert order[1][1] == Money.of("80.00", "USD")
    assert order[0][1] == Money.of("59.38", "USD")
    assert order[2][1] is None


def test_a_bulge_or_bare_cord_ends_a_tyre_and_cracks_are_asked_about() -> None:
    assert condition("front left", ["bulge"]).outcome == FAILS
    assert condition("front left", ["sides cracked"]).outcome == CLOSE
    assert condition("front left", []).outcome == HOLDS
    with pytest.raises(BadEntry, match="not on the list"):
        condition("front left", ["dirt"])
