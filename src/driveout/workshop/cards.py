"""Job cards for the wall of the garage: what to undo and put back, to be read with dirty hands."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped
from driveout.workshop.assembly import LINK_KINDS, PLACES, Link
from driveout.workshop.hold import Progress, fastener_records, hold_point
from driveout.workshop.practice import caution
from driveout.workshop.strip import StripPlan, Task
from driveout.workshop.tightening import Specification

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Paper by the name a person gives it."""
TIGHTENED = frozenset({"bolt", "nut", "wheel", "shaft", "joint", "ground", "power"})
"""Kinds of link that have a tightening value."""
NO_VALUE = "No value entered: look it up in the maker's instructions."
PHASE_TITLES = {
    "strip": "Way in",
    "open": "While it is apart",
    "refit": "Way back",
    "finish": "From the first start on",
}


@dataclass(frozen=True)
class CardSet:
    """The job cards of one job, as plain values ready for printing.

    Parameters
    ----------
    title
        The area.
    car
        The car.
    day
        Day of printing.
    cautions
        Title, text and source of each caution of the whole area.
    phases
        Title and cards of each phase.
    renewals
        What must be at hand new.
    """

    title: str
    car: str
    day: datetime.date
    cautions: tuple[dict[str, str], ...]
    phases: tuple[dict[str, Any], ...]
    renewals: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "title": self.title,
            "car": self.car,
            "day": self.day.isoformat(),
            "cautions": list(self.cautions),
            "phases": list(self.phases),
            "renewals": list(self.renewals),
        }


def job_cards(
    plan: StripPlan,
    car: str,
    day: datetime.date,
    specifications: Mapping[str, Specification] | None = None,
    finished: frozenset[str] = frozenset(),
) -> CardSet:
    """Set the plan of one job out as cards.

    Parameters
    ----------
    plan
        The plan of work.
    car
        Name of the car.
    day
        Day of printing.
    specifications
        Tightening values by link; a value that is not confirmed carries its warning on the card,
        and a link without one says so.
    finished
        Ids of tasks that are done; they are printed ticked.

    Returns
    -------
    CardSet
        Every task of the plan, hold points with everything that has to be open, back or recorded.
    """
    values = specifications or {}
    numbered = list(enumerate(plan.tasks, start=1))
    cards = [_card(plan, number, task, values, task.id in finished) for number, task in numbered]
    _print_once(cards)
    phases = tuple(
        {
            "title": title,
            "cards": [card for card, task in zip(cards, plan.tasks, strict=True) if task.phase == phase],
        }
        for phase, title in PHASE_TITLES.items()
        if any(task.phase == phase for task in plan.tasks)
    )
    return CardSet(
        plan.assembly.name,
        car,
        day,
        tuple(_caution(key) for key in plan.assembly.cautions),
        phases,
        tuple(f"{r.count:g} {r.unit} {r.what}" for r in plan.renewals),
    )


def _print_once(cards: list[dict[str, Any]]) -> None:
    """At later events only what is not on an earlier one's list: those boxes are ticked there."""
    printed_before: set[str] = set()
    for card in cards:
        if not card["event"]:
            continue
        fresh = [box for box in card["boxes"] if box["write"] or box["text"] not in printed_before]
        if len(fresh) < len(card["boxes"]):
            fresh.insert(
                0,
                {
                    "text": "Every box of the hold points before this one is ticked",
                    "miss": "",
                    "write": False,
                },
            )
        printed_before |= {box["text"] for box in card["boxes"] if not box["write"]}
        card["boxes"] = fresh


def _card(
    plan: StripPlan, number: int, task: Task, values: Mapping[str, Specification], is_done: bool
) -> dict[str, Any]:
    link = plan.assembly.links.get(task.item) if task.kind in ("undo", "refit") else None
    shown_before = set(plan.assembly.cautions)
    card: dict[str, Any] = {
        "number": number,
        "kind": task.kind,
        "do": link.name if link else task.text,
        "verb": {"undo": "Undo", "refit": "Put back", "wait": "Wait", "hold": "Hold point"}.get(
            task.kind, "Do"
        ),
        "done": is_done,
        "bag": task.bag,
        "minutes": round(task.minutes) if task.kind == "wait" else 0,
        "helper": task.needs_helper,
        "cautions": [_caution(key) for key in task.cautions if key not in shown_before],
        "mind": [caution(key).title for key in task.cautions if key in shown_before],
        "facts": [],
        "torque": "",
        "warning": "",
        "remarks": [],
        "boxes": [],
        "event": task.id.startswith("hold:event:"),
        "note": "",
    }
    if link:
        card |= _link_facts(link, task, values.get(link.id))
    elif task.kind == "hold":
        word = "Free" if task.id.startswith("hold:strip:") else "Back"
        point = hold_point(plan, task.id, Progress(), fastener_records(plan))
        card["boxes"] = [
            {
                "text": (f"{word}: {plan.assembly.name_of(item.key)}" if item.kind == "link" else item.text)
                + (" (cannot be seen from here)" if item.is_hidden else ""),
                "miss": item.miss,
                "write": item.kind != "link",
            }
            for item in point.open_items
        ]
    return card


def _link_facts(link: Link, task: Task, value: Specification | None) -> dict[str, Any]:
    pieces = f"{link.count} × {LINK_KINDS[link.kind]}"
    size = ", ".join(
        part
        for part in (link.size, link.drive, f"{link.length_mm:g} mm long" if link.length_mm else "")
        if part
    )
    facts = [pieces + (f", {size}" if size else ""), PLACES[link.place]]
    if link.is_tagged and task.kind == "undo":
        facts.append("label both ends")
    if link.is_hidden:
        facts.append("cannot be seen")
    if link.is_one_use:
        facts.append("old ones to the bin, new ones in")
    found: dict[str, Any] = {"facts": facts, "note": link.note}
    if task.kind == "refit" and link.kind in TIGHTENED:
        found |= {
            "torque": value.torque.text() + (f" + {value.angle_deg:g}°" if value.angle_deg else "")
            if value
            else "",
            "origin": f"{value.document}, page {value.page}" if value and value.document else "",
            "warning": value.warning if value else NO_VALUE,
            "remarks": list(value.remarks) if value else [],
            "stages": [stage.text for stage in value.stages()] if value and len(value.stages()) > 1 else [],
        }
    return found


def _caution(key: str) -> dict[str, str]:
    held = caution(key)
    return {"title": held.title, "text": held.text, "source": held.source}


def paper_named(paper: str) -> str:
    """The paper by its name, or say which there are."""
    if paper.lower() not in PAPERS:
        raise BadEntry(
            f"{paper!r} is not a paper that is printed on.",
            field="paper",
            value=paper,
            allowed=", ".join(PAPERS),
        )
    return PAPERS[paper.lower()]


def cards_pdf(sets: Sequence[CardSet], paper: str = "a4") -> bytes:
    """The job cards of one or several jobs as a PDF, the same bytes for the same cards.

    Parameters
    ----------
    sets
        What to print; the texts are handed over as data, never as markup.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    BadEntry
        If the paper is not known, or there is no work to print.
    """
    if not sets:
        raise BadEntry("There is no work to print. Choose a repair or begin an area first.", field="car")
    jobs = [one.as_dict() for one in sets]
    return printed("data/cards.typ", {"jobs": jobs, "paper": paper_named(paper)}, sets[0].day)


def printed(template: str, data: Mapping[str, Any], day: datetime.date) -> bytes:
    """A shipped template filled with data, as PDF with the compiler's own fonts, dated by its day."""
    import typst  # heavy: only when printing

    noon = datetime.datetime.combine(day, datetime.time(12), tzinfo=datetime.UTC)
    return bytes(
        typst.compile(
            shipped("driveout.workshop", template),
            format="pdf",
            font_paths=[],
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data)},
            timestamp=int(noon.timestamp()),
        )
    )
