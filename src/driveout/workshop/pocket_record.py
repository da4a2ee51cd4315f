"""What the job cards on the phone hand back: `driveout-pocket-record/1`, and how it meets what stands here."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry
from driveout.units import read_torque
from driveout.workshop.work import Work

SCHEMA = "driveout-pocket-record/1"
KINDS = {
    "item": "recorded at a hold point",
    "tick": "step",
    "pass": "hold point gone past",
    "torque": "tightened to",
    "hours": "own hours",
}
MOST_ENTRIES = 5000
MOST_BYTES = 4_000_000


@dataclass(frozen=True)
class Carried:
    """One thing that was done with the cards on the phone.

    Parameters
    ----------
    kind
        One of `KINDS`.
    job
        Number of the job.
    name
        Task, hold item, link, or the phone's own mark of the hours.
    text
        What was written: words of an item, a value with its unit, hours, why a hold point was passed.
    pieces
        Pieces counted, if they were.
    at
        Time by the phone's clock, as text; shown, never reckoned with.
    """

    kind: str
    job: int
    name: str
    text: str = ""
    pieces: int | None = None
    at: str = ""

    @property
    def key(self) -> str:
        """The same for the same thing in a later record of the same phone."""
        return f"{self.kind}:{self.job}:{self.name}"

    @property
    def value(self) -> str:
        """What was recorded about it, for telling whether a later record says something else."""
        return self.text if self.pieces is None else f"{self.pieces} {self.text}".strip()


@dataclass(frozen=True)
class PocketRecord:
    """Everything that one phone did with its cards.

    Parameters
    ----------
    car_id, car
        Car that the cards are for.
    phone
        Mark that the phone gave itself, so that two phones with the same cards are told apart.
    made
        When the cards were saved.
    entries
        In the order in which they were done.
    """

    car_id: int
    car: str
    phone: str
    made: str
    entries: tuple[Carried, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values; `read_pocket_record` reads them back."""
        return {
            "schema": SCHEMA,
            "car_id": self.car_id,
            "car": self.car,
            "phone": self.phone,
            "made": self.made,
            "entries": [vars(entry) for entry in self.entries],
        }

    @property
    def digest(self) -> str:
        """The same for the same content however it was written."""
        text = json.dumps(self.as_dict(), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Met:
    """One thing from the phone beside what stands here.

    Parameters
    ----------
    entry
        From the phone.
    state
        ``new`` (stands nowhere yet), ``same``, ``differs``, ``unknown`` (no such step here) or
        ``settled`` (it was taken over or let go before, and changed here since).
    what
        What it is about, in words.
    phone
        What the phone says.
    here
        What stands here.
    """

    entry: Carried
    state: str
    what: str
    phone: str
    here: str = ""


def read_pocket_record(content: bytes | str) -> PocketRecord:
    """Read what the phone saved, as a file or as copied text.

    Parameters
    ----------
    content
        JSON.

    Returns
    -------
    PocketRecord
        The record.

    Raises
    ------
    BadEntry
        If it is not such a record; the message says what was found.
    """
    if len(content) > MOST_BYTES:
        raise _bad(
            f"The record has {len(content) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB can be right."
        )
    try:
        data = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise _bad("This is not the record of job cards: it is no JSON text.") from error
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else None
        raise _bad(f"This is not the record of job cards: its schema is {found!r}, expected {SCHEMA!r}.")
    rows = data.get("entries")
    car_id = data.get("car_id")
    if not isinstance(car_id, int) or isinstance(car_id, bool) or not isinstance(rows, list):
        raise _bad("The record does not say for which car it is, or has no list of entries.")
    if len(rows) > MOST_ENTRIES:
        raise _bad(f"The record has {len(rows):,} entries; at most {MOST_ENTRIES:,} can be right.")
    return PocketRecord(
        car_id,
        _text(data.get("car"), 200),
        _text(data.get("phone"), 80),
        _text(data.get("made"), 40),
        tuple(_entry(number, row) for number, row in enumerate(rows, start=1)),
    )


def _text(value: Any, longest: int) -> str:
    return "".join(sign for sign in str(value or "")[:longest] if sign.isprintable() or sign in "\n\t")


def _entry(number: int, row: Any) -> Carried:
    if not isinstance(row, dict) or row.get("kind") not in KINDS:
        raise _bad(f"Entry {number} of the record is of no known kind.", allowed=", ".join(KINDS))
    job, pieces = row.get("job"), row.get("pieces")
    if not isinstance(job, int) or isinstance(job, bool) or not _text(row.get("name"), 200):
        raise _bad(f"Entry {number} of the record does not say what it is about.")
    if pieces is not None and (
        not isinstance(pieces, int) or isinstance(pieces, bool) or not 0 <= pieces <= 1000
    ):
        raise _bad(f"Entry {number} of the record counts {pieces!r} pieces.", allowed="0 to 1000")
    return Carried(
        row["kind"],
        job,
        _text(row["name"], 200),
        _text(row.get("text"), 1000),
        pieces,
        _text(row.get("at"), 40),
    )


def _bad(message: str, allowed: str = "") -> BadEntry:
    return BadEntry(message, field="record", allowed=allowed, fix="Save the record from the cards again.")


def meet(
    entry: Carried,
    work: Work | None,
    pieces_here: Mapping[str, int],
    torques_here: Mapping[str, str],
    settled: Mapping[str, str],
) -> Met:
    """Hold one thing from the phone against what stands here.

    Parameters
    ----------
    entry
        From the phone.
    work
        The job as it stands; None when there is no such job any more.
    pieces_here
        Pieces counted here, by task.
    torques_here
        Value applied here by link, empty when none was; only links whose value was entered.
    settled
        What was taken over or let go before, by key.

    Returns
    -------
    Met
        How the two stand to each other.
    """
    known = settled.get(entry.key) == entry.value
    if entry.kind == "hours":
        return Met(
            entry, "same" if known else "new", "own hours", f"{entry.text} h", "booked" if known else ""
        )
    if work is None:
        return Met(entry, "unknown", f"{KINDS[entry.kind]}: {entry.name}", _said(entry), "no such job here")
    if entry.kind == "item":
        here = work.progress.recorded.get(entry.name, "")
        return _beside(entry, KINDS["item"], entry.text, here, here == entry.text, known)
    if entry.kind == "torque":
        if entry.name not in torques_here:
            words = f"{KINDS['torque']}: {entry.name}"
            return Met(entry, "unknown", words, entry.text, "no tightening value is entered for it here")
        here = torques_here[entry.name]
        what = f"{KINDS['torque']}: {work.plan.assembly.name_of(entry.name)}"
        return _beside(entry, what, entry.text, here, _same_torque(here, entry.text), known)
    task = next((one for one in work.plan.tasks if one.id == entry.name), None)
    if task is None:
        return Met(entry, "unknown", f"{KINDS[entry.kind]}: {entry.name}", _said(entry), "no such step here")
    if not work.is_finished(task):
        return Met(entry, "settled" if known else "new", task.text, _said(entry), "not done")
    counted = pieces_here.get(task.id)
    if entry.pieces is not None and counted is not None and counted != entry.pieces and not known:
        return Met(entry, "differs", task.text, f"{entry.pieces} pieces", f"{counted} pieces")
    return Met(entry, "same", task.text, _said(entry), "done")


def _said(entry: Carried) -> str:
    counted = "" if entry.pieces is None else f"{entry.pieces} pieces"
    return ", ".join(part for part in (counted, entry.text) if part) or "done"


def _beside(entry: Carried, what: str, phone: str, here: str, is_same: bool, known: bool) -> Met:
    state = "same" if is_same else "settled" if known else "new" if not here else "differs"
    return Met(entry, state, what, phone, here)


def _same_torque(here: str, phone: str) -> bool:
    try:
        return bool(here) and abs(read_torque(here).nm - read_torque(phone).nm) < 0.05
    except BadEntry:
        return False
