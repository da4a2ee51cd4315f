"""The work on a car as it is kept, the same on each engine."""

from __future__ import annotations

import pytest

from driveout.cars.actions import add_car, trail_of
from driveout.errors import BadEntry, CannotSay
from driveout.money.actions import minutes_by_work
from driveout.store import Store
from driveout.workshop import actions
from tests.conftest import Clock

AREA = "brakes_front_disc"


def a_car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        return add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=clock(), stage="in work").id


def test_work_is_kept_and_found_again(either_store: Store, clock: Clock) -> None:
    car = a_car(either_store, clock)
    with either_store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock(), kind_of_work="rep_brake_front")
        for task in ("do:loosen", "do:raise", "off:wheel_nuts"):
            actions.record_task(tx, car, job.id, task, at=clock())
        actions.record_items(tx, car, job.id, {"move.1": "pedal hard"}, at=clock())
        actions.enter_torque(
            tx, car, job.id, "wheel_nuts", {"value": "110 N·m", "origin": "recalled"}, at=clock()
        )
        actions.start_timer(tx, car, job.id, at=clock())
    clock.forward(hours=1)
    with either_store.writing() as tx:
        assert actions.stop_timer(tx, car, job.id, at=clock()) == pytest.approx(1)
    with either_store.reading() as tx:
        held = actions.work_of(tx, car, job.id)

        assert held.work.done == {"do:loosen", "do:raise"}
        assert held.work.progress.undone == {"wheel_nuts"}
        assert held.work.progress.recorded == {"move.1": "pedal hard"}
        assert held.work.fasteners["wheel_nuts"].taken_out == 5
        assert held.torques["wheel_nuts"].entry["value"] == "110 N·m"
        assert list(minutes_by_work(tx, [car]).values()) == [60]
        assert any("Undo (through the wheel arch)" in event.summary for event in trail_of(tx, car))


def test_more_targets_join_the_same_job_and_the_last_one_closes_it(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        first = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        second = actions.start_work(tx, car, AREA, ["pads_and_discs"], at=clock())
        assert first.id == second.id
        assert second.targets == ["pads_only", "pads_and_discs"]
        actions.drop_targets(tx, car, AREA, ["pads_only"], at=clock())
        assert actions.every_work(tx, car)[0].job.targets == ["pads_and_discs"]
        actions.drop_targets(tx, car, AREA, ["pads_and_discs"], at=clock())
        assert actions.every_work(tx, car) == []


def test_work_that_is_apart_keeps_its_way_back(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        actions.record_task(tx, car, job.id, "off:wheel_nuts", at=clock())
        with pytest.raises(BadEntry, match="still apart"):
            actions.drop_targets(tx, car, AREA, ["pads_only"], at=clock())


def test_an_undoing_is_not_taken_back_while_it_is_refitted(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        for task in ("off:wheel_nuts", "on:wheel_nuts"):
            actions.record_task(tx, car, job.id, task, at=clock())
        with pytest.raises(BadEntry, match="already back"):
            actions.take_back_task(tx, car, job.id, "off:wheel_nuts", at=clock())
        actions.take_back_task(tx, car, job.id, "on:wheel_nuts", at=clock())
        actions.take_back_task(tx, car, job.id, "off:wheel_nuts", at=clock())
        assert not actions.work_of(tx, car, job.id).work.progress.undone


def test_used_once_pieces_go_in_new_unless_told_otherwise(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, "exhaust", ["front_pipe"], at=clock())
        for task in ("off:manifold_nuts", "on:manifold_nuts"):
            actions.record_task(tx, car, job.id, task, at=clock())
        nuts = actions.work_of(tx, car, job.id).work.fasteners["manifold_nuts"]

        assert (nuts.taken_out, nuts.put_back, nuts.thrown_away, nuts.fitted_new) == (3, 0, 3, 3)
        assert nuts.is_settled


@pytest.mark.parametrize("pieces", [-1, 99])
def test_an_absurd_number_of_pieces_is_refused(store: Store, clock: Clock, pieces: int) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        with pytest.raises(BadEntry, match="outside what can come out"):
            actions.record_task(tx, car, job.id, "off:wheel_nuts", at=clock(), pieces=pieces)


def test_a_hold_point_is_not_ticked_off_and_a_stopped_timer_not_stopped(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        with pytest.raises(BadEntry, match="passed, not ticked off"):
            actions.record_task(tx, car, job.id, "hold:event:move", at=clock())
        with pytest.raises(CannotSay, match="does not run"):
            actions.stop_timer(tx, car, job.id, at=clock())


def test_a_value_is_applied_only_after_one_was_entered(store: Store, clock: Clock) -> None:
    car = a_car(store, clock)
    with store.writing() as tx:
        job = actions.start_work(tx, car, AREA, ["pads_only"], at=clock())
        with pytest.raises(BadEntry, match="Enter the tightening value"):
            actions.apply_torque(tx, car, job.id, "wheel_nuts", "110 N·m", at=clock())
        with pytest.raises(BadEntry, match="no link"):
            actions.enter_torque(
                tx, car, job.id, "wings", {"value": "9 N·m", "origin": "recalled"}, at=clock()
            )
