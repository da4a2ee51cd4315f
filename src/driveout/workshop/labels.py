"""Labels for the bags: a big number, what is in it, and a code that opens the link on the phone."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from driveout.errors import BadEntry
from driveout.workshop.assembly import EVENT_NAMES, LINK_KINDS
from driveout.workshop.cards import paper_named, printed
from driveout.workshop.strip import StripPlan

LONGEST_ADDRESS = 300
"""A longer one makes a code whose squares a phone no longer reads at this size."""


@dataclass(frozen=True)
class BagLabel:
    """One label: car, area, bag number, link, its pieces, event they are needed for, address, its code."""

    car: str
    title: str
    bag: int
    link: str
    pieces: str
    needed_for: str
    address: str
    code: tuple[str, ...]


@lru_cache(maxsize=512)
def code_squares(address: str) -> tuple[str, ...]:
    """The squares of the code of an address, one text of 0 and 1 per row, without the quiet edge.

    Parameters
    ----------
    address
        The address that the phone opens.

    Returns
    -------
    tuple[str, ...]
        1 is dark.

    Raises
    ------
    BadEntry
        If the address is too long for a label.

    References
    ----------
    iso-iec-18004, through the segno library, error correction M.
    """
    import segno  # heavy: only when printing

    if not 0 < len(address) <= LONGEST_ADDRESS:
        raise BadEntry(
            f"An address of {len(address)} characters does not fit on a label.",
            field="address",
            value=address[:80],
            allowed=f"1 to {LONGEST_ADDRESS} characters",
        )
    code = segno.make(address, error="m", micro=False)
    return tuple("".join("1" if square else "0" for square in row) for row in code.matrix)


def bag_labels(plan: StripPlan, car: str, address_of: Callable[[str], str]) -> tuple[BagLabel, ...]:
    """One label for each bag of a plan, in the order of the bags.

    Parameters
    ----------
    plan
        The plan of work.
    car
        Name of the car.
    address_of
        Address of a link's bench page by the link's id.

    Returns
    -------
    tuple[BagLabel, ...]
        The labels; none when nothing goes into a bag.
    """
    labels = []
    for task in plan.tasks:
        if task.kind != "undo" or not task.bag:
            continue
        link = plan.assembly.links[task.item]
        size = ", ".join(part for part in (link.size, link.drive) if part)
        pieces = f"{link.count} × {LINK_KINDS[link.kind]}" + (f", {size}" if size else "")
        address = address_of(link.id)
        labels.append(
            BagLabel(
                car,
                plan.assembly.name,
                task.bag,
                link.name,
                pieces,
                EVENT_NAMES[link.needed_by],
                address,
                code_squares(address),
            )
        )
    return tuple(sorted(labels, key=lambda label: label.bag))


def labels_pdf(labels: Sequence[BagLabel], day: datetime.date, paper: str = "a4") -> bytes:
    """The labels as a PDF to cut along the lines, the same bytes for the same labels.

    Parameters
    ----------
    labels
        What to print.
    day
        Day of printing.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    BadEntry
        If the paper is not known, or there is nothing to label.
    """
    named = paper_named(paper)
    if not labels:
        raise BadEntry("Nothing of this work goes into a bag.", field="labels", allowed="a plan with bags")
    data: dict[str, Any] = {
        "paper": named,
        "labels": [
            {**vars(label), "code": list(label.code), "car": _short(label.car), "title": _short(label.title)}
            for label in labels
        ],
    }
    return printed("data/labels.typ", data, day)


def _short(words: str) -> str:
    """Words that fit on one line of a label."""
    return words if len(words) <= 50 else words[:49] + "…"
