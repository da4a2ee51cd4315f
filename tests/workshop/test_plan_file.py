"""The person's own plan as a file."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path

import numpy as np
import pytest

from driveout.errors import BadEntry, BadRows
from driveout.workshop.plan_file import plan_answer, read_plan
from driveout.workshop.schedule import plan_work

PAGE = Path(__file__).parents[2] / "docs/formats/plan.md"
SHORT = """
schema: driveout-plan/1
start: 2026-03-02 17:00
calendar:
  week: {monday: ["18:00-21:00"], saturday: ["09:00-17:00"]}
work:
  - {id: a, minutes: 60}
"""


def example() -> str:
    [found] = re.findall(r"```yaml\n(.*?)```", PAGE.read_text(), re.DOTALL)
    return str(found)


def test_the_example_of_the_page_is_planned_as_it_says() -> None:
    """Followed by hand on the calendar: the gearbox goes in with the helper on the Saturday after the kit."""
    plan = read_plan(example(), "plan.md")
    schedule = plan_work(plan)
    start = {p.operation.id: p.start for p in schedule.placed}

    assert not schedule.troubles
    assert schedule.is_proven
    assert start["clutch"].date() >= datetime.date(2026, 3, 6)
    assert start["gearbox_in"].date() in (datetime.date(2026, 3, 7), datetime.date(2026, 3, 14))
    assert start["gearbox_in"].time() >= datetime.time(10)
    assert schedule.rental_days["jack"] == 1
    assert plan.holding_per_day == 400


def test_the_answer_of_the_page_example_goes_through_json() -> None:
    answer = json.loads(json.dumps(plan_answer(read_plan(example()), np.random.default_rng(1), samples=500)))

    assert answer["days"]["schema"] == "driveout-plan-of-days/1"
    assert answer["chances"]["p50"]["day"] <= answer["chances"]["p80"]["day"]
    assert set(re.findall(r"`(\w+)`", PAGE.read_text().split("What comes back")[1])) >= set(
        answer["days"]
    ) - {
        "schema",
        "title",
    }


def test_json_is_read_like_yaml() -> None:
    text = json.dumps(
        {
            "schema": "driveout-plan/1",
            "start": "2026-03-02T17:00",
            "calendar": {"changed": {"2026-03-03": ["18:00-20:00"]}},
            "work": [{"id": "a", "minutes": 60}],
        }
    )

    assert plan_work(read_plan(text)).finish == datetime.datetime.combine(
        datetime.date(2026, 3, 3), datetime.time(19)
    )


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ("work:\n  - {id: a, minutes: soon}", r"plan\.yaml:6 work\.0\.minutes"),
        ("work:\n  - {id: a, minutes: 60, colour: red}", "'colour' is not known here"),
        ("work:\n  - {id: a, minutes: [90, 60, 70]}", "low, likely, high must rise"),
        ("work:\n  - {id: a}\n  - {id: a}", "stands twice"),
        ("work:\n  - {minutes: 5}", "with an id"),
        ("work: []", "names no work"),
        (
            "work:\n" + "".join(f"  - {{id: o{n}, minutes: 5}}\n" for n in range(501)),
            "501 pieces of work are too many",
        ),
        ("work:\n  - {id: a, rental: crane}", "'crane' is not a rental"),
        ("work:\n  - {id: a, who: cousin}", "'cousin' has no hours"),
        ("work:\n  - {id: a, after: [{work: b, wait_hours: -1}]}", "-1 is out of range"),
        ("work:\n  - {id: a, hidden: {chance: 3, minutes: 5}}", "3 is over 1"),
        ("work:\n  - {id: a}\ndone: {z: 2026-03-01}", "'z' is not work of this file"),
        ("work:\n  - {id: a}\nparts: {kit: {arrives: soon}}", "'soon' is not a day"),
        ("work:\n  - {id: a}\ngrid_minutes: 7", "7 is not a step"),
        ("work:\n  - {id: a}\ncurrency: beads", "beads"),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_place(entry: str, message: str) -> None:
    text = SHORT.split("work:")[0].lstrip() + entry + "\n"
    with pytest.raises(BadRows) as caught:
        read_plan(text, "plan.yaml")

    assert re.search(message, str(caught.value)), str(caught.value)
    assert "plan.yaml:" in str(caught.value)


@pytest.mark.parametrize(
    ("calendar", "message"),
    [
        ('week: {montag: ["18:00-21:00"]}', "not a day of the week"),
        ('week: {monday: ["six to nine"]}', "not a stretch of the day"),
        ('week: {monday: ["25:00-26:00"]}', "not a stretch of the day"),
        ("days: 10", "holds no free hours"),
        ('{days: 0, week: {monday: ["18:00-21:00"]}}', "out of range"),
        ('{days: 99999, week: {monday: ["18:00-21:00"]}}', "outside 1 to"),
    ],
)
def test_a_calendar_that_cannot_be_is_refused(calendar: str, message: str) -> None:
    text = f"schema: driveout-plan/1\nstart: 2026-03-02\ncalendar:\n  {calendar}\nwork:\n  - {{id: a, minutes: 5}}\n"
    with pytest.raises(BadRows, match=message):
        read_plan(text.replace("calendar:\n  {", "calendar: {"), "plan.yaml")


def test_another_schema_is_refused() -> None:
    with pytest.raises(BadEntry, match="driveout-plan/1"):
        read_plan(SHORT.replace("driveout-plan/1", "driveout-network/1"))


def test_a_plan_with_holes_is_read_and_planned_as_far_as_it_goes() -> None:
    text = (
        SHORT
        + "  - {id: b, minutes: 30, parts: [kit]}\n"
        + "  - {id: c, minutes: -5}\n"
        + "  - {id: d, minutes: 5, after: [e]}\n"
        + "  - {id: e, minutes: 5, after: [d]}\n"
        + "parts: {kit: {name: gasket kit}}\n"
    )
    answer = plan_answer(read_plan(text), np.random.default_rng(1), samples=10)

    assert [o["id"] for o in answer["days"]["operations"]] == ["a"]
    assert answer["days"]["no_date"] == ["b", "c", "d", "e"]
    assert len(answer["days"]["troubles"]) == 4


def test_a_helper_date_that_is_over_is_said_with_its_day() -> None:
    text = SHORT.replace("work:", '  named: {helper: {dates: {2026-01-10: ["10:00-12:00"]}}}\nwork:')
    [trouble] = plan_work(read_plan(text)).troubles

    assert "Hours of helper on 2026-01-10 are over" in trouble.message
