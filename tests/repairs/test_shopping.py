"""What a chosen repair puts on the list of parts, and what finishing it teaches."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car
from driveout.errors import BadEntry
from driveout.faults.actions import findings_of, knowledge_of, posterior_of, record_finding
from driveout.parts.actions import parts_of, set_state
from driveout.repairs import catalogue
from driveout.repairs.actions import choose_repair, drop_repair, finish_repair, was_it_answers
from driveout.store import Store
from tests.conftest import Clock

CLUTCH, SEAL = "rep_clutch_fwd", "rep_rear_main"


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    facts = {"drive": "fwd", "gearbox": "manual", "runs": "runner"}
    with store.writing() as tx:
        return add_car(
            tx, name="Tarnwick Linnet 1.4", currency="USD", at=clock(), stage="bought", facts=facts
        ).id


def needed(store: Store, car: int) -> dict[str, float]:
    with store.reading() as tx:
        return {p.line.what: float(p.line.quantity) for p in parts_of(tx, car) if p.state == "needed"}


def test_a_clutch_brings_its_kit_and_what_the_way_in_uses_up(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=clock())

    listed = needed(store, car)
    assert listed["clutch kit"] == 1
    assert listed["gearbox oil [l]"] == 2, "as the strip plan drains it"
    assert "gearbox output seal, left" in listed


def test_what_two_repairs_share_is_bought_once_and_stays_while_one_needs_it(
    store: Store, clock: Clock, car: int
) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=clock())
        alone = set(needed_in(tx, car))
        choose_repair(tx, car, SEAL, "new", at=clock())
        both = needed_in(tx, car)
        drop_repair(tx, car, CLUTCH, at=clock())
        left = set(needed_in(tx, car))

    assert len(both) == len(set(both)), "nothing twice"
    assert set(both) - alone == {"rear main seal", "new bolt for flywheel: 6 bolts to engine"}
    assert "clutch kit" not in left
    assert {"gearbox oil [l]", "rear main seal"} <= left


def needed_in(tx: object, car: int) -> list[str]:
    return [p.line.what for p in parts_of(tx, car) if p.state == "needed"]  # type: ignore[arg-type]


def test_choosing_again_asks_for_the_parts_again_and_another_kind_for_other_parts(
    store: Store, clock: Clock, car: int
) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, "rep_alternator", "new", at=clock())
        drop_repair(tx, car, "rep_alternator", at=clock())
        assert needed_in(tx, car) == []
        choose_repair(tx, car, "rep_alternator", "new", at=clock())
        assert "alternator" in needed_in(tx, car)
        choose_repair(tx, car, "rep_alternator", "used", at=clock())

        assert set(needed_in(tx, car)) == {"alternator (used)", "accessory belt"}


def test_a_used_gearbox_is_itself_on_the_list_though_the_plan_only_takes_the_old_one_out(
    store: Store, clock: Clock, car: int
) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, "rep_gearbox_used", "used", at=clock())

        assert any(words.endswith("(used)") for words in needed_in(tx, car))


def test_work_done_outside_needs_no_parts(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, "rep_exhaust", "outside", at=clock())

        assert needed_in(tx, car) == []


def test_what_the_person_has_on_the_shelf_stays_off_the_list(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=clock())
        oil = next(p for p in parts_of(tx, car) if p.line.what == "gearbox oil [l]")
        set_state(tx, car, oil.id, "not needed", at=clock())
        choose_repair(tx, car, "rep_battery", "new", at=clock())

        assert "gearbox oil [l]" not in needed_in(tx, car)


def test_a_fault_that_was_there_is_certain_afterwards_and_one_that_was_not_is_gone(
    store: Store, clock: Clock, car: int
) -> None:
    with store.writing() as tx:
        record_finding(tx, car, finding="d_clutch_hold", outcome="yes", at=clock())
        choose_repair(tx, car, CLUTCH, "new", at=clock())
        finish_repair(tx, car, CLUTCH, was_it="yes:drv_clutch_worn", at=clock())
        assert posterior_of(tx, car).faults["drv_clutch_worn"] == pytest.approx(1.0)
        finish_repair(tx, car, CLUTCH, was_it="no", at=clock())

        assert posterior_of(tx, car).faults["drv_clutch_worn"] == pytest.approx(0.0, abs=1e-12)
        assert needed_in(tx, car) == [], "nothing is needed for work that is done"


def test_nobody_has_to_say_what_it_was(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=clock())
        finish_repair(tx, car, CLUTCH, at=clock())

        assert findings_of(tx, car) == []


def test_a_fault_with_rivals_is_ruled_out_only_by_naming_the_rival(
    store: Store, clock: Clock, car: int
) -> None:
    with store.writing() as tx:
        repair = catalogue().repairs["rep_water_pump"]
        answers = dict(was_it_answers(knowledge_of(tx), repair))
        assert "no" not in answers
        assert answers["yes:eng_head_gasket"].startswith("No, it was")
        choose_repair(tx, car, "rep_water_pump", "new", at=clock())
        finish_repair(tx, car, "rep_water_pump", was_it="yes:eng_head_gasket", at=clock())
        chances = posterior_of(tx, car).faults

    assert chances["eng_head_gasket"] == pytest.approx(1.0)
    assert chances["eng_coolant_leak"] == pytest.approx(0.0, abs=1e-12)


def test_an_answer_that_was_not_offered_is_refused(store: Store, clock: Clock, car: int) -> None:
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=clock())
        with pytest.raises(BadEntry, match="not an answer"):
            finish_repair(tx, car, CLUTCH, was_it="yes:bod_dent", at=clock())
