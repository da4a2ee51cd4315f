"""Recording, replacing and taking back findings; the trail and the probabilities follow."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car, change_stage, trail_of
from driveout.errors import BadEntry, Conflict
from driveout.faults import actions
from driveout.faults.records import Found
from driveout.outlook.actions import newest_point
from driveout.store import Store
from driveout.wear.actions import record_readings


def a_car(store: Store, **facts: object) -> int:
    with store.writing() as tx:
        return add_car(
            tx, name="Linnet 1.4", currency="USD", at=store.now(), mileage_km=148_000,
            facts={"runs": "sick", "gearbox": "manual", "drive": "fwd", **facts},
        ).id  # fmt: skip


def found(store: Store, car: int, finding: str, outcome: str, origin: str = "check") -> Found:
    with store.writing() as tx:
        return actions.record_finding(
            tx, car, finding=finding, outcome=outcome, origin=origin, at=store.now()
        )


def chance(store: Store, car: int, fault: str) -> float:
    with store.reading() as tx:
        return actions.posterior_of(tx, car).faults[fault]


def test_a_finding_moves_the_chances_and_stands_in_the_trail(either_store: Store) -> None:
    car = a_car(either_store)
    before = chance(either_store, car, "drv_clutch_worn")

    found(either_store, car, "d_clutch_hold", "yes")

    assert chance(either_store, car, "drv_clutch_worn") > before
    with either_store.reading() as tx:
        assert trail_of(tx, car)[0].summary == "Found: Revs rise without speed in third gear: yes"


def test_a_later_answer_replaces_the_earlier_one_and_both_stay_on_record(store: Store) -> None:
    car = a_car(store)
    found(store, car, "d_clutch_hold", "yes")

    found(store, car, "d_clutch_hold", "no")

    with store.reading() as tx:
        assert [f.outcome for f in actions.findings_of(tx, car)] == ["no"]
        history = actions.findings_of(tx, car, with_history=True)
    assert [(f.outcome, f.undone) for f in history] == [("yes", True), ("no", False)]


def test_the_same_answer_twice_is_recorded_once(store: Store) -> None:
    car = a_car(store)

    first = found(store, car, "d_clutch_hold", "yes")

    assert found(store, car, "d_clutch_hold", "yes") == first


def test_taking_back_brings_the_chances_back(store: Store) -> None:
    car = a_car(store)
    before = chance(store, car, "drv_clutch_worn")
    row = found(store, car, "d_clutch_hold", "yes")

    with store.writing() as tx:
        gone = actions.take_back_finding(tx, car, row.id, at=store.now(), version=row.version)

    assert gone.undone
    assert chance(store, car, "drv_clutch_worn") == pytest.approx(before)
    with store.reading() as tx:
        assert trail_of(tx, car)[0].summary.startswith("Taken back: Revs rise")


def test_two_windows_that_take_back_the_same_row_conflict(store: Store) -> None:
    car = a_car(store)
    row = found(store, car, "d_clutch_hold", "yes")
    found(store, car, "d_clutch_hold", "no")

    with pytest.raises(Conflict, match="another window"), store.writing() as tx:
        actions.take_back_finding(tx, car, row.id, at=store.now(), version=row.version)


def test_a_finding_of_another_car_cannot_be_taken_back(store: Store) -> None:
    car, other = a_car(store), a_car(store)
    row = found(store, car, "d_clutch_hold", "yes")

    with pytest.raises(BadEntry, match="another car"), store.writing() as tx:
        actions.take_back_finding(tx, other, row.id, at=store.now())
    with pytest.raises(BadEntry, match="no recorded finding"), store.writing() as tx:
        actions.take_back_finding(tx, other, 999, at=store.now())


def test_an_advert_that_was_read_counts_its_silence(store: Store) -> None:
    car = a_car(store)
    before = chance(store, car, "eng_head_gasket")

    found(store, car, "say_clutch", "yes", "advert")

    assert 0.5 * before < chance(store, car, "eng_head_gasket") < before
    with store.reading() as tx:
        assert actions.evidence_of(tx, car)["say_head_gasket"] == "silent"


@pytest.mark.parametrize(
    ("finding", "outcome", "origin", "words"),
    [
        ("d_clutch_hol", "yes", "check", "d_clutch_hold"),
        ("d_clutch_hold", "perhaps", "check", "no, yes, silent"),
        ("d_clutch_hold", "yes", "rumour", "not an origin"),
    ],
)
def test_what_cannot_be_recorded_is_refused_and_nothing_is_kept(
    store: Store, finding: str, outcome: str, origin: str, words: str
) -> None:
    car = a_car(store)

    with pytest.raises(BadEntry, match=words):
        found(store, car, finding, outcome, origin)

    with store.reading() as tx:
        assert actions.findings_of(tx, car, with_history=True) == []


def test_a_fault_proved_absent_by_taking_apart_stays_absent(store: Store) -> None:
    car = a_car(store)
    found(store, car, "d_clutch_hold", "yes")

    found(store, car, "drv_clutch_worn", "absent", "person")

    assert chance(store, car, "drv_clutch_worn") == 0


def test_the_own_pack_holds_for_every_car_until_it_is_taken_out(store: Store) -> None:
    car = a_car(store)
    before = chance(store, car, "drv_clutch_worn")
    own = "schema: driveout-pack/1\nfaults: {drv_clutch_worn: {prior: {runner: 0.5, sick: 0.5, dead: 0.5}}}\n"
    with store.writing() as tx:
        actions.keep_own_pack(tx, own, name="own.yaml", at=store.now())

    assert chance(store, car, "drv_clutch_worn") > 2 * before
    with store.reading() as tx:
        assert trail_of(tx, car)[0].summary == "Own knowledge of faults: own.yaml"
    with store.writing() as tx:
        actions.keep_own_pack(tx, "", name="", at=store.now())
    assert chance(store, car, "drv_clutch_worn") == pytest.approx(before)


def test_a_broken_own_pack_is_refused(store: Store) -> None:
    with pytest.raises(BadEntry, match="not a known key"), store.writing() as tx:
        actions.keep_own_pack(tx, "schema: driveout-pack/1\nrubbish: 1\n", name="own.yaml", at=store.now())

    with store.reading() as tx:
        assert actions.own_pack(tx) is None


def test_a_sold_car_with_proofs_teaches_the_next_one(store: Store) -> None:
    first, next_ = a_car(store), a_car(store)
    found(store, first, "d_clutch_hold", "yes")
    before = chance(store, next_, "drv_clutch_worn")
    with store.writing() as tx:
        actions.prove_fault(tx, first, fault="drv_clutch_worn", is_there=True, at=store.now())
    assert chance(store, next_, "drv_clutch_worn") == pytest.approx(before)

    with store.writing() as tx:
        for stage in ("bought", "sold"):
            change_stage(tx, first, stage, store.now())

    # a prior of .15 worth 5 cars becomes (5 * .15 + 1) / 6
    assert before == pytest.approx(0.15, abs=0.05)
    assert chance(store, next_, "drv_clutch_worn") > before + 0.1
    with store.reading() as tx:
        pack = actions.knowledge_of(tx)
    belief = pack.faults["drv_clutch_worn"].prior["sick"]
    assert belief.mean == pytest.approx((5 * 0.15 + 1) / 6)
    assert belief.origin == "common practice, no source; own finished cars"
    assert pack.signs["d_clutch_hold"].shows["drv_clutch_worn"][0].a > 5 * 0.85


def test_a_competing_fault_that_was_there_rules_its_rivals_out(store: Store) -> None:
    car = a_car(store)

    with store.writing() as tx:
        actions.prove_fault(tx, car, fault="eng_head_gasket", is_there=True, at=store.now())

    assert chance(store, car, "eng_head_gasket") == 1
    assert chance(store, car, "eng_coolant_leak") == 0


def test_a_competing_fault_cannot_be_absent_on_its_own(store: Store) -> None:
    car = a_car(store)

    with pytest.raises(BadEntry, match="competes with others"), store.writing() as tx:
        actions.prove_fault(tx, car, fault="eng_head_gasket", is_there=False, at=store.now())
    with pytest.raises(BadEntry, match="not a fault"), store.writing() as tx:
        actions.prove_fault(tx, car, fault="eng_head", is_there=True, at=store.now())


def measure_compression(store: Store, car: int, cylinders: str) -> None:
    with store.writing() as tx:
        record_readings(tx, car, "engine", {"engine": {"dry": cylinders}}, at=store.now())


def test_a_bad_compression_reading_moves_chances_and_outlook_at_once(store: Store) -> None:
    car = a_car(store, clean_value_minor=[520_000, 600_000, 680_000])
    before = chance(store, car, "eng_low_compression")
    with store.reading() as tx:
        worth = newest_point(tx, car)

    measure_compression(store, car, "1200 1190 1210 600 kPa")

    assert chance(store, car, "eng_low_compression") > 3 * before
    with store.reading() as tx:
        assert actions.evidence_of(tx, car)["b_compression"] == "very low"
        now = newest_point(tx, car)
    assert worth is not None
    assert now is not None
    assert (now.ceiling_minor or 0) < (worth.ceiling_minor or 0)


def test_what_was_recorded_outweighs_a_reading(store: Store) -> None:
    car = a_car(store)
    measure_compression(store, car, "1200 1190 1210 600 kPa")

    found(store, car, "b_compression", "even")

    with store.reading() as tx:
        assert actions.evidence_of(tx, car)["b_compression"] == "even"


def test_a_reading_that_an_own_pack_knows_nothing_of_says_nothing(store: Store) -> None:
    car = a_car(store)
    measure_compression(store, car, "1200 1190 1210 600 kPa")
    own = (
        "schema: driveout-pack/1\nfindings: {b_compression: {outcomes: [fine, poor], false_alarm: 0.05, "
        "shows: {eng_low_compression: 0.9}}}\n"
    )

    with store.writing() as tx:
        actions.keep_own_pack(tx, own, name="own.yaml", at=store.now())

    with store.reading() as tx:
        assert "b_compression" not in actions.evidence_of(tx, car)
        assert actions.posterior_of(tx, car).evidence_probability > 0
