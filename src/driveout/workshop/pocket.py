"""The job cards as one file for the phone: steps to tick, pieces, bags, values and hours, with no signal at all."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from driveout.files import shipped
from driveout.sources import shelf
from driveout.workshop.cards import job_cards
from driveout.workshop.hold import Progress, fastener_records, hold_point
from driveout.workshop.strip import StripPlan, Task
from driveout.workshop.tightening import Specification
from driveout.workshop.work import Work

SCHEMA = "driveout-pocket/1"
_SHOWN = (
    *("number", "verb", "do", "facts", "bag", "minutes", "helper", "cautions", "mind", "torque", "origin"),
    *("warning", "remarks", "stages", "note"),
)


def pocket_job(
    job_id: int, work: Work, car: str, day: datetime.date, values: Mapping[str, Specification]
) -> dict[str, Any]:
    """One job as the phone shows it: its cards in order, what is done already, and what each hold point asks.

    Parameters
    ----------
    job_id
        Number of the job.
    work
        The job as it stands.
    car
        Name of the car.
    day
        Day of saving.
    values
        Tightening values by link; one that is not confirmed carries its warning.

    Returns
    -------
    dict
        Plain values.
    """
    plan = work.plan
    done = frozenset(task.id for task in plan.tasks if work.is_finished(task))
    cards = job_cards(plan, car, day, values, done).as_dict()
    phases = []
    for phase in cards["phases"]:
        drawn = []
        for card in phase["cards"]:
            task = plan.tasks[card["number"] - 1]
            drawn.append(
                {
                    **{key: card[key] for key in _SHOWN if card.get(key)},
                    **({"cautions": [_cited(one) for one in card["cautions"]]} if card["cautions"] else {}),
                    "task": task.id,
                    "kind": task.kind,
                    "done": task.id in done,
                    **_pieces(plan, task),
                    **(_asked(plan, task, work) if task.kind == "hold" else {}),
                }
            )
        phases.append({"title": phase["title"], "cards": drawn})
    return {
        "job": job_id,
        "title": cards["title"],
        "cautions": [_cited(one) for one in cards["cautions"]],
        "renewals": cards["renewals"],
        "phases": phases,
    }


def _cited(caution: Mapping[str, str]) -> dict[str, str]:
    """A caution with its source in words: the phone has no shelf to look the key up on."""
    source = shelf().get(caution["source"])
    return {**caution, "source": source.title if source else caution["source"].replace("-", " ")}


def _pieces(plan: StripPlan, task: Task) -> dict[str, Any]:
    link = plan.assembly.links.get(task.item) if task.kind in ("undo", "refit") else None
    if link is None:
        return {}
    return {"link": link.id, "pieces": link.count, "once": link.is_one_use}


def _asked(plan: StripPlan, task: Task, work: Work) -> dict[str, Any]:
    """What a hold point asks with nothing recorded: links to look at, and items to write down."""
    items = hold_point(plan, task.id, Progress(), fastener_records(plan)).open_items
    return {
        "look": [
            plan.assembly.name_of(item.key) + (" (cannot be seen from here)" if item.is_hidden else "")
            for item in items
            if item.kind == "link"
        ],
        "items": [
            {
                "key": item.key,
                "text": item.text,
                "miss": item.miss,
                "here": work.progress.recorded.get(item.key, ""),
            }
            for item in items
            if item.kind != "link"
        ],
    }


def pocket_html(car_id: int, car: str, jobs: Sequence[Mapping[str, Any]], at: datetime.datetime) -> str:
    """The file to keep on the phone. It loads nothing and sends nothing.

    Parameters
    ----------
    car_id
        Number of the car.
    car
        What the person calls it.
    jobs
        From `pocket_job`.
    at
        When it is saved.

    Returns
    -------
    str
        HTML with everything inside.
    """
    data = {
        "schema": SCHEMA,
        "car_id": car_id,
        "car": car,
        "made": at.isoformat(timespec="seconds"),
        "jobs": list(jobs),
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    # Names of the person's own must not be able to end the script element that they stand in.
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    page = shipped("driveout.workshop", "data/pocket.html").decode()
    return (
        page.replace("{{style}}", shipped("driveout.workshop", "data/pocket.css").decode())
        .replace("{{script}}", shipped("driveout.workshop", "data/pocket.js").decode())
        .replace("{{title}}", escape(car))
        .replace("{{data}}", text)
    )
