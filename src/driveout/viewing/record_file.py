"""What the viewing sheet hands back: `driveout-record/1`, described in docs/formats/decision.md."""

import base64
import binascii
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry
from driveout.units import minor_digits

SCHEMA = "driveout-record/1"
DECISIONS = ("open", "bought", "walked away")
# With photos in the page a record grows; more than this is not one viewing.
MOST_BYTES = 40_000_000
MOST_PHOTOS = 60
LARGEST_PHOTO = 8_000_000


@dataclass(frozen=True)
class DoneCheck:
    """One check that was done."""

    check: str
    found: Mapping[str, str]
    note: str = ""


@dataclass(frozen=True)
class Photo:
    """A photo taken with the sheet: what it belongs to and its content."""

    check: str
    title: str
    data: bytes

    @property
    def kind(self) -> str:
        """Media type by the first bytes."""
        return picture_kind(self.data)


@dataclass(frozen=True)
class SheetRecord:
    """Everything that one viewing sheet kept.

    Parameters
    ----------
    car_id, car_name
        Car that the sheet was made for.
    steps
        Checks in the order in which they were done.
    price_minor
        Last price that the seller asked, if it was typed. [minor units]
    notes
        Free words.
    decision
        ``open``, ``bought`` or ``walked away``.
    photos
        Photos taken.
    """

    car_id: int
    car_name: str
    steps: tuple[DoneCheck, ...]
    price_minor: int | None = None
    notes: str = ""
    decision: str = "open"
    photos: tuple[Photo, ...] = ()


def read_record(content: bytes | str) -> SheetRecord:
    """Read what the sheet handed back, as a file or as copied text.

    Parameters
    ----------
    content
        JSON.

    Returns
    -------
    SheetRecord
        The record.

    Raises
    ------
    BadEntry
        If it is not such a record; the message says what was found.
    """
    if len(content) > MOST_BYTES:
        raise _bad(f"The record has {len(content) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read.")
    try:
        data = json.loads(content)
    except (ValueError, UnicodeDecodeError, RecursionError) as error:
        raise _bad("This is not the record of a viewing sheet: it is no JSON text.") from error
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else None
        raise _bad(
            f"This is not the record of a viewing sheet: its schema is {found!r}, expected {SCHEMA!r}."
        )
    steps = data.get("steps")
    if not isinstance(data.get("car_id"), int) or not isinstance(steps, list) or len(steps) > 500:
        raise _bad("The record does not say for which car it is, or has no list of steps.")
    decision = data.get("decision", "open")
    if decision not in DECISIONS:
        raise _bad(f"The decision {decision!r} is not known.", allowed=", ".join(DECISIONS))
    photos = data.get("photos") or []
    if not isinstance(photos, list) or len(photos) > MOST_PHOTOS:
        raise _bad(f"The record has no list of at most {MOST_PHOTOS} photos.")
    return SheetRecord(
        car_id=data["car_id"],
        car_name=str(data.get("car", ""))[:200],
        steps=tuple(_step(number, row) for number, row in enumerate(steps, start=1)),
        price_minor=_price(data.get("price"), str(data.get("currency", "USD"))),
        notes=str(data.get("notes", ""))[:4000],
        decision=decision,
        photos=tuple(_photo(number, row) for number, row in enumerate(photos, start=1)),
    )


def _step(number: int, row: Any) -> DoneCheck:
    found = row.get("found") if isinstance(row, dict) else None
    if not isinstance(found, dict) or not all(isinstance(v, str) for v in found.values()):
        raise _bad(f"Step {number} of the record does not say what was found.")
    return DoneCheck(str(row.get("check", ""))[:200], dict(found), str(row.get("note", ""))[:2000])


def _photo(number: int, row: Any) -> Photo:
    address = row.get("data") if isinstance(row, dict) else None
    head, comma, content = address.partition(",") if isinstance(address, str) else ("", "", "")
    try:
        data = base64.b64decode(content, validate=True) if comma and head.endswith(";base64") else b""
    except binascii.Error:
        data = b""
    if not picture_kind(data) or len(data) > LARGEST_PHOTO:
        raise _bad(
            f"Photo {number} of the record is no picture of at most {LARGEST_PHOTO / 1e6:.0f} MB.",
            allowed="JPEG, PNG or WebP",
        )
    return Photo(str(row.get("check", ""))[:200], str(row.get("title", ""))[:200], data)


def picture_kind(data: bytes) -> str:
    """Media type of a picture by its first bytes; empty if it is none."""
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n"):
        return "image/png"
    return "image/webp" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else ""


def _price(amount: Any, currency: str) -> int | None:
    if amount is None:
        return None
    if isinstance(amount, bool) or not isinstance(amount, int | float) or not 0 <= amount < 1e9:
        raise _bad(f"The price {amount!r} of the record cannot be meant.", allowed="0 or more")
    return round(float(amount) * 10.0 ** minor_digits(currency))


def _bad(message: str, allowed: str = "") -> BadEntry:
    return BadEntry(message, field="record", allowed=allowed, fix="Save the record from the sheet again.")
