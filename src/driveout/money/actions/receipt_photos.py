"""Photographed receipts: kept by their hash."""

from __future__ import annotations

from pathlib import Path

from driveout.errors import BadEntry
from driveout.money.actions.entering import (
    car_entries,
)
from driveout.store import Attachments, Tx

_PICTURES = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n": "image/png", b"%PDF-": "application/pdf"}


LARGEST_PHOTO = 15_000_000


def picture_type(data: bytes) -> str:
    """Kind of a photographed receipt by its first bytes, empty when it is none we keep."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for head, kind in _PICTURES.items() if data.startswith(head)), "")


def keep_photo(home: Path, data: bytes) -> str:
    """Keep a photographed receipt and return its hash; written before anything refers to it."""
    if len(data) > LARGEST_PHOTO or not picture_type(data):
        raise BadEntry(
            f"The photo has {len(data):,} bytes and is {picture_type(data) or 'no picture'}. "
            "Use a JPEG, PNG, WebP or PDF.",
            field="photo",
            allowed=f"JPEG, PNG, WebP or PDF up to {LARGEST_PHOTO:,} bytes",
        )
    return Attachments(home / "attachments").put(data)


def photo_of(tx: Tx, home: Path, car_id: int, digest: str) -> tuple[bytes, str]:
    """A kept receipt of a car and its kind."""
    if not any(entry.fact("photo") == digest for entry in car_entries(tx, car_id)):
        raise BadEntry("No receipt of this car has that photo.", field="car", value=digest[:12])
    data = Attachments(home / "attachments").get(digest)
    return data, picture_type(data)
