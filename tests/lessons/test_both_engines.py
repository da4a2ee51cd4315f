"""A closed car teaches the same on both engines."""

from __future__ import annotations

from driveout.lessons import actions, next_estimate
from driveout.parts import PartLine
from driveout.parts import actions as parts
from driveout.store import Store
from driveout.uncertain import ThreePoint
from tests.conftest import Clock
from tests.lessons.test_actions import a_closed_car
from tests.money.story import usd


def test_a_closed_car_teaches_alike(either_store: Store, clock: Clock) -> None:
    with either_store.writing() as tx:
        car = a_closed_car(tx)
        (part,) = parts.need_parts(tx, car, [PartLine("clutch", "Clutch kit")], at=clock())
        parts.receive_part(tx, car, part.id, clock().date(), at=clock(), paid=usd("12"))
    with either_store.reading() as tx:
        jobs = actions.history(tx)
        after = next_estimate("clutch", ThreePoint(3, 4, 7), jobs)

        assert sorted((job.measure, job.kind) for job in jobs) == [("hours", "clutch"), ("money", "parts")]
        assert after.likely > 4
        assert parts.parts_of(tx, car)[0].state == "here"
