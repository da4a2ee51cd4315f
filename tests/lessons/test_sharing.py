"""What was learned can be set aside, shared without anything private, and taken in with a weight."""

from __future__ import annotations

import datetime
import math

import pytest
import yaml

from driveout.errors import BadEntry, BadRows, Conflict
from driveout.faults import actions as faults
from driveout.faults.learning import Tally
from driveout.faults.sharing import counts_as_rows, counts_from_rows, merged, scaled
from driveout.lessons import HOURS, Job, Taught, actions, fit, lessons_yaml, read_lessons
from driveout.store import Store, Tx
from driveout.uncertain import ThreePoint
from tests.lessons.test_actions import AT, a_closed_car
from tests.yard.three_cars import a_car

LATER = AT + datetime.timedelta(hours=1)
FILE = """schema: driveout-lessons/1
jobs:
  - {measure: hours, kind: clutch, estimate: [3, 4, 7], actual: 8}
  - {measure: hours, kind: clutch, estimate: [3, 4, 7], actual: 9}
faults:
  - {class: runner, fault: %s, counts: [3, 1]}
"""


def a_fault(tx: Tx) -> str:
    return next(iter(faults.knowledge_of(tx).faults))


def test_a_lesson_set_aside_stays_so_when_the_car_is_reopened_and_closed_again(tx: Tx) -> None:
    car_id = a_closed_car(tx)
    lesson = next(one for one in actions.lessons_of(tx, car_id) if one.taught.job.measure == HOURS)
    actions.set_aside(tx, lesson.id, lesson.version, AT)
    actions.reopen_car(tx, car_id, "a receipt turned up", AT)
    actions.close_car(tx, car_id, LATER)

    again = [one for one in actions.lessons_of(tx, car_id) if one.taught.job.measure == HOURS]
    assert [one.counts for one in again] == [False]
    assert all(job.measure != HOURS for job in actions.history(tx))


def test_a_result_made_void_by_reopening_is_kept_with_the_reason(tx: Tx) -> None:
    car_id = a_closed_car(tx)
    assert actions.earlier_results(tx, car_id) == ()
    before = actions.result_of(tx, car_id)
    actions.reopen_car(tx, car_id, "a receipt turned up", LATER)
    (void,) = actions.earlier_results(tx, car_id)

    assert (void.profit, void.why, void.closed_at) == (before.profit, "a receipt turned up", AT)
    actions.close_car(tx, car_id, LATER)
    assert len(actions.earlier_results(tx, car_id)) == 1


def test_a_file_taken_in_counts_by_its_weight_and_can_be_set_aside(tx: Tx) -> None:
    fault = a_fault(tx)
    before = faults.knowledge_of(tx).faults[fault].prior["runner"]
    kept = actions.take_in(tx, FILE % fault, "from a colleague", 0.5, at=AT)
    after = faults.knowledge_of(tx).faults[fault].prior["runner"]

    # Half of 3 cases for and 1 against.
    assert [after.a - before.a, after.b - before.b] == pytest.approx([1.5, 0.5])
    assert [job.weight for job in actions.history(tx)] == [0.5, 0.5]
    actions.let_file_teach(tx, kept.id, kept.version, counts=False)
    assert actions.history(tx) == ()
    assert faults.knowledge_of(tx).faults[fault].prior["runner"] == before
    with pytest.raises(Conflict, match="another window"):
        actions.let_file_teach(tx, kept.id, kept.version, counts=True)


def test_a_job_that_counts_half_moves_the_level_less_than_an_own_one(tx: Tx) -> None:
    own, other = Job("clutch", 4, 8), Job("clutch", 4, 8, weight=0.5)
    nothing = fit([Job("paint", 4, 4)]).level("clutch")[0]

    assert nothing < fit([Job("paint", 4, 4), other]).level("clutch")[0]
    assert fit([other]).level("clutch")[0] < fit([own]).level("clutch")[0]
    # Two that count half are one that counts whole, as far as the level goes.
    assert math.isclose(fit([other, other]).level("clutch")[0], fit([own]).level("clutch")[0], rel_tol=1e-9)
    assert fit([other, other]).counts == (0,)


@pytest.mark.parametrize(
    ("text", "weight", "match"),
    [
        (FILE % "x", 1.0, "outside 0 to 1"),
        (FILE % "x", 0.0, "outside 0 to 1"),
        ("schema: driveout-lessons/1\njobs: []\n", 0.5, "no finished job"),
        (
            "schema: driveout-lessons/1\nfaults: [{class: boat, fault: x, counts: [1, 2]}]\n",
            0.5,
            "not a count",
        ),
        ("schema: driveout-lessons/1\nfaults: [{class: sick, counts: [1, 2]}]\n", 0.5, "neither a fault nor"),
        (
            "schema: driveout-lessons/1\nfaults: [{class: sick, fault: x, counts: [1, -2]}]\n",
            0.5,
            "not a count",
        ),
        ("schema: driveout-lessons/1\nfaults: [{owner: Odalys}]\n", 0.5, "were expected here"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_whole(tx: Tx, text: str, weight: float, match: str) -> None:
    with pytest.raises((BadEntry, BadRows), match=match):
        actions.take_in(tx, text, "file", weight, at=AT)
    assert actions.shared_files(tx) == []


def test_a_weight_outside_0_to_1_is_no_weight() -> None:
    with pytest.raises(BadEntry, match="outside 0 to 1"):
        Job("clutch", 4, 8, weight=1.5)


def test_own_words_for_kinds_of_work_are_not_shared() -> None:
    said = ThreePoint(3, 4, 7)
    history = [Taught(Job("M. Penhalow's clutch", 4, 8), said), Taught(Job("clutch", 4, 8), said)]
    text = lessons_yaml(history, {"clutch"})

    assert "Penhalow" not in text
    assert [row.job.kind for row in read_lessons(text, "file").taught] == ["other work", "clutch"]


def test_what_is_shared_names_no_car_place_person_or_number(store: Store) -> None:
    with store.writing() as tx:
        car_id = a_car(tx, AT, "Linnet 1.4", "Clutch slips. Call Odalys Quist in Ostley.", 950, 4600)
        fault = a_fault(tx)
        faults.prove_fault(tx, car_id, fault=fault, is_there=True, at=AT, note="seen by M. Penhalow")
    with store.writing() as tx:
        from driveout.hunt.actions import buy
        from driveout.selling.actions import sell_car
        from tests.money.story import usd

        buy(tx, car_id, usd("900"), at=AT)
        sell_car(tx, car_id, usd("3000"), at=LATER, day=LATER.date(), buyer="R. Sorrel")
        actions.close_car(tx, car_id, LATER)
        text = actions.own_knowledge(tx)

    whole = yaml.safe_load(text)
    assert whole["faults"], "a proved fault is shared as counts"
    assert set(whole) == {"schema", "jobs", "faults"}
    assert all(set(row) <= {"class", "fault", "finding", "counts"} for row in whole["faults"])
    for private in (
        "Linnet",
        "Tarnwick",
        "Odalys",
        "Ostley",
        "Brackenford",
        "Penhalow",
        "Sorrel",
        "2026",
        "http",
    ):
        assert private not in text
    assert read_lessons(text, "file").fault_rows


def test_a_cars_proved_faults_can_teach_nothing_and_teach_again(store: Store) -> None:
    from driveout.hunt.actions import buy
    from driveout.selling.actions import sell_car
    from tests.money.story import usd

    with store.writing() as tx:
        fault = a_fault(tx)
        before = faults.knowledge_of(tx)
        car_id = a_car(tx, AT, "Linnet 1.4", "Clutch slips.", 950, 4600)
        faults.prove_fault(tx, car_id, fault=fault, is_there=True, at=AT)
        buy(tx, car_id, usd("900"), at=AT)
        assert faults.teachers(tx) == ()
        sell_car(tx, car_id, usd("3000"), at=LATER, day=LATER.date(), buyer="R. Sorrel")
        (teacher,) = faults.teachers(tx)
        moved = faults.moved_beliefs(tx)

        assert teacher.counts
        assert teacher.car_id == car_id
        # One car in which it was there: one case for, none against.
        advert_class = next(c for _, c, was, now in moved if now > was)
        was, now = (
            before.faults[fault].prior[advert_class],
            faults.knowledge_of(tx).faults[fault].prior[advert_class],
        )
        assert [now.a - was.a, now.b - was.b] == pytest.approx([1.0, 0.0], abs=1e-9)
        faults.let_teach(tx, car_id, False, at=LATER)
        assert faults.knowledge_of(tx) == before
        assert not faults.teachers(tx)[0].counts
        faults.let_teach(tx, car_id, True, at=LATER)
        assert faults.moved_beliefs(tx) == moved


def test_counts_add_up_over_cars_and_shrink_by_a_weight() -> None:
    one = Tally({"f": (1.0, 0.0)}, {("s", "f"): (0.25, 0.75)}, {"s": (0.0, 1.0)})
    both = merged([("runner", one), ("runner", one), ("sick", one)])

    assert both["runner"].priors == {"f": (2.0, 0.0)}
    assert both["sick"] == one
    assert scaled(one, 0.5).shows == {("s", "f"): (0.125, 0.375)}
    rows = counts_as_rows(both, {"f", "s"})
    assert counts_from_rows(rows) == both
    assert counts_as_rows(both, {"f"}) == [row for row in rows if "finding" not in row]
