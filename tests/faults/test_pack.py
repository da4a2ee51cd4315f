"""The shipped pack is whole: enough of everything, nothing dangling, cautions where it can hurt."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.faults import infer, knowledge, shipped_network, with_silence
from driveout.faults.pack import SYSTEMS
from driveout.faults.shipped import reference_chance
from driveout.repairs import catalogue

PACK = knowledge()


def test_there_is_enough_of_everything() -> None:
    assert len(PACK.faults) >= 70
    assert len(PACK.signs) >= 120
    assert len(PACK.checks) >= 100
    assert {f.system for f in PACK.faults.values()} == set(SYSTEMS)


def test_every_fault_can_be_checked_and_most_can_be_read_from_an_advert() -> None:
    by_check = {f for s in PACK.signs.values() if s.check for f in s.shows}
    by_words = {f for s in PACK.signs.values() if s.words for f in s.shows}

    assert by_check == set(PACK.faults)
    assert len(by_words) > 0.9 * len(PACK.faults)


def test_words_lead_to_one_finding_each() -> None:
    words = [w.lower() for ws in PACK.words.values() for w in ws]

    assert len(words) == len(set(words))


@pytest.mark.parametrize(("needs", "word"), [("jack", "stands"), ("drives", "insurance"), ("cranks", "Fuel")])
def test_checks_that_can_hurt_carry_a_caution(needs: str, word: str) -> None:
    risky = [c for c in PACK.checks.values() if needs in c.needs and c.stage in ("under", "drive", "bonnet")]

    assert risky
    assert all(c.caution for c in risky)
    assert any(word in c.caution for c in risky)


@pytest.mark.parametrize(
    ("check", "word"),
    [
        ("b_coolant_look", "scalds"),
        ("b_cool_pressure", "scalds"),
        ("b_gas_in_coolant", "scalds"),
        ("s_knock_load", "exhaust gas"),
        ("b_battery_rest", "sparks"),
        ("w_airbag_trim", "airbag"),
        ("s_cyl_cut", "voltage"),
        ("u_rock_12_6", "stands"),
        ("u_fuel_wet", "flame"),
        ("d_clutch_hold", "brakes"),
        ("b_leakdown", "spanner"),
    ],
)
def test_the_caution_names_what_can_hurt(check: str, word: str) -> None:
    assert word in PACK.checks[check].caution


def test_every_number_says_where_it_comes_from() -> None:
    beliefs = [b for f in PACK.faults.values() for b in f.prior.values()]
    beliefs += [b for s in PACK.signs.values() for row in s.shows.values() for b in row]
    beliefs += [b for s in PACK.signs.values() for b in s.false_alarm]

    assert all(b.origin for b in beliefs)


@pytest.mark.parametrize("advert_class", ["runner", "sick", "dead"])
def test_starting_chances_are_those_of_the_pack_when_nothing_is_known(advert_class: str) -> None:
    """Care is averaged out, open traits count with their share, one arc adds to one fault."""
    answer = infer(shipped_network(advert_class), {})

    for fault in PACK.faults.values():
        share = min(1.0, sum(PACK.background.traits[t] for t in fault.applies)) if fault.applies else 1.0
        expected = fault.prior[advert_class].mean * share
        if fault.id == "exh_cat_weak":
            assert answer.faults[fault.id] > expected
        else:
            assert answer.faults[fault.id] == pytest.approx(expected, rel=1e-9)


def test_known_traits_and_mileage_move_the_starting_chances() -> None:
    manual = infer(shipped_network("runner", None, {"gearbox": "manual"}), {}).faults
    worn = infer(shipped_network("runner", None, {"gearbox": "manual", "mileage_km": 290_000}), {}).faults

    assert manual["drv_clutch_worn"] == pytest.approx(PACK.faults["drv_clutch_worn"].prior["runner"].mean)
    assert manual["drv_auto_slip"] == 0
    odds = worn["drv_clutch_worn"] / (1 - worn["drv_clutch_worn"])
    assert odds == pytest.approx(
        PACK.faults["drv_clutch_worn"].wear * manual["drv_clutch_worn"] / (1 - manual["drv_clutch_worn"])
    )


def test_unknown_class_and_trait_are_refused() -> None:
    with pytest.raises(BadEntry, match="runner, sick, dead"):
        shipped_network("fine")
    with pytest.raises(BadEntry, match="manual, auto, cvt, dct"):
        shipped_network("runner", None, {"gearbox": "stick"})


def test_silence_is_added_for_the_advert_only() -> None:
    network = shipped_network("runner")

    evidence = with_silence(network, {"say_clutch": "yes"})

    assert evidence["say_clutch"] == "yes"
    assert evidence["say_overheats"] == "silent"
    assert not any(network.finding[f].kind == "check" for f in evidence)


@pytest.mark.parametrize(("average", "ratio", "share"), [(0.1, 3.0, 0.35), (0.4, 0.2, 0.35), (0.9, 8.0, 0.2)])
def test_the_average_over_care_comes_back(average: float, ratio: float, share: float) -> None:
    x = reference_chance(average, ratio, share)

    neglected = ratio * x / (1 - x + ratio * x)
    assert (1 - share) * x + share * neglected == pytest.approx(average)


def test_faults_that_repairs_cure_are_faults_of_the_pack() -> None:
    cured = {f for repair in catalogue().repairs.values() for f in repair.cures}

    assert cured <= set(PACK.faults)


def test_signs_of_neglect_raise_faults_that_no_sign_of_theirs_speaks_for() -> None:
    network = shipped_network("runner", None, {"mileage_km": 190_000})
    start = infer(network, {}).faults
    neglected = infer(network, {"care": "neglected"}).faults
    sludge = infer(network, {"b_sludge_view": "yes"}).faults

    assert neglected["sus_damper"] > start["sus_damper"]
    assert start["sus_damper"] < sludge["sus_damper"] < neglected["sus_damper"]


def test_how_deep_a_scratch_goes_is_one_cause_with_a_mild_and_a_deep_state() -> None:
    network = shipped_network("runner")
    answer = infer(network, {"w_nail_scratch": "catches"})

    scratch = answer.marginals["worst_scratch"]
    assert len(scratch) == 3
    assert sum(scratch.values()) == pytest.approx(1.0)
    assert answer.faults["bod_scratch_deep"] > answer.faults["bod_scratch_light"]
