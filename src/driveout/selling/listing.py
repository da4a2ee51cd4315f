"""Words for one's own advert, made from the record: what was done, measured, and what remains wrong.

Nothing is claimed that the record does not hold, and no adjective is added; what the record is
silent on is listed for the person instead of being filled in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from driveout.errors import BadEntry
from driveout.units import Money, miles_from_km

Length = Literal["short", "usual", "full"]
LENGTHS: tuple[Length, ...] = ("short", "usual", "full")


@dataclass(frozen=True)
class ListingFacts:
    """What the record holds about a car for sale.

    Attributes
    ----------
    name, made_year, mileage_km, title, place
        As recorded; empty or None when not.
    ask
        Price asked.
    options
        Equipment.
    done
        Work that was finished, one line each.
    measured
        Readings with their unit, one line each.
    remains
        What is known to be wrong, one line each.
    to_settle
        Found before the last work: mended or not, the record does not say.
    """

    name: str
    made_year: int | None = None
    mileage_km: float | None = None
    title: str = ""
    place: str = ""
    ask: Money | None = None
    options: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    measured: tuple[str, ...] = ()
    remains: tuple[str, ...] = ()
    to_settle: tuple[str, ...] = ()


def listing_text(facts: ListingFacts, length: Length = "usual") -> str:
    """The text of the advert.

    Known faults stand in every length: leaving one out to save words would be hiding it.

    Parameters
    ----------
    facts
        What the record holds.
    length
        ``short``, ``usual`` (with the work done) or ``full`` (with the readings too).

    Returns
    -------
    str
        Plain text, lines separated.

    Raises
    ------
    BadEntry
        If the length is none of these.
    """
    if length not in LENGTHS:
        raise BadEntry(
            f"{length!r} is no length of an advert.", field="length", value=length, allowed=", ".join(LENGTHS)
        )
    head = [facts.name]
    if facts.made_year is not None:
        head.append(str(facts.made_year))
    if facts.mileage_km is not None:
        head.append(f"{facts.mileage_km:,.0f} km ({miles_from_km(facts.mileage_km):,.0f} miles)")
    if facts.title:
        head.append(f"{facts.title} title")
    lines = [", ".join(head) + "."]
    if facts.ask is not None:
        lines.append(f"Price {facts.ask.text()}." + (f" In {facts.place}." if facts.place else ""))
    if facts.options:
        lines.append(f"Equipment: {', '.join(facts.options)}.")
    if facts.done and length != "short":
        lines += ["", "Work done:", *(f"- {line}" for line in facts.done)]
    if facts.measured and length == "full":
        lines += ["", "Measured:", *(f"- {line}" for line in facts.measured)]
    if facts.remains:
        lines += ["", "Known faults:", *(f"- {line}" for line in facts.remains)]
    if length != "short":
        lines += ["", "Papers, receipts and readings can be seen at the car."]
    return "\n".join(lines)


def gaps(facts: ListingFacts) -> tuple[str, ...]:
    """What a buyer will ask that the record does not say, and what to settle before publishing."""
    said = []
    if facts.made_year is None:
        said.append("The year is not recorded.")
    if facts.mileage_km is None:
        said.append("The distance on the clock is not recorded.")
    if facts.title in ("", "unknown"):
        said.append("The title is not recorded; buyers ask for it first.")
    if not facts.done:
        said.append("No finished work is recorded, so the text names none.")
    if not facts.remains:
        said.append("No known fault is recorded. Say so only if you have looked.")
    said += [
        f"Found earlier: {line}. Mended? If not, add it to the known faults." for line in facts.to_settle
    ]
    return tuple(said)


def photo_order(facts: ListingFacts) -> tuple[str, ...]:
    """Photos in the order a buyer looks: whole, inside, proof, faults. Common practice, no source."""
    return (
        "Front and one side, from the height of the lamps",
        "Rear and the other side",
        "Inside from the driver's door, then the rear seats",
        "Clock with the distance, engine running, no warning lamps covered",
        "Engine bay as it is",
        "Tyres: tread and date of each",
        *(f"Proof of work: {line}" for line in facts.done[:6]),
        *(f"The fault, close, with something for scale: {line}" for line in facts.remains[:6]),
        "Papers, without names and numbers of private persons",
    )
