"""Photos for the buyer: kept whole, leaving without private tags."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

from driveout.cars.actions import get_car, note_event, trail_of
from driveout.errors import BadEntry
from driveout.selling.photos import (
    LARGEST_PHOTO,
    MOST_PHOTOS,
    SUBJECTS,
    Photo,
    photo_kind,
    without_private_tags,
)
from driveout.store import Attachments, Tx
from driveout.workshop.actions import LinkPhoto, every_work
from driveout.workshop.actions import photo_of as photo_of_link
from driveout.workshop.actions import photos_of as link_photos

PHOTO = "photo for the buyer"


def add_photo(
    tx: Tx, home: Path, car_id: int, data: bytes, *, subject: str, caption: str = "", at: datetime
) -> Photo:
    """Keep a photo for the buyer; what was taken is kept whole, what leaves is without private tags.

    Parameters
    ----------
    tx
        Open transaction.
    home
        Folder of the record.
    car_id
        The car.
    data
        JPEG or PNG.
    subject
        One of `SUBJECTS`.
    caption
        What it shows.
    at
        Present moment.

    Returns
    -------
    Photo
        As kept; the same photo again changes its words.

    Raises
    ------
    BadEntry
        If it is no photo, too large, one too many, or the subject is none of these.
    """
    get_car(tx, car_id)
    if subject not in SUBJECTS:
        raise BadEntry(
            f"{subject!r} is no subject.", field="subject", value=subject, allowed=", ".join(SUBJECTS)
        )
    if len(data) > LARGEST_PHOTO:
        raise BadEntry(
            f"The photo has {len(data):,} bytes.", field="photo", allowed=f"up to {LARGEST_PHOTO:,} bytes"
        )
    without_private_tags(data)  # refuses what could not leave later
    digest = hashlib.sha256(data).hexdigest()
    others = [photo for photo in photos_of(tx, car_id) if photo.digest != digest]
    if len(others) >= MOST_PHOTOS:
        raise BadEntry(
            f"There are {MOST_PHOTOS} photos already. Take one out first.",
            field="photo",
            allowed=f"{MOST_PHOTOS} photos",
        )
    Attachments(home / "attachments").put(data)
    photo = Photo(digest, subject, caption.strip()[:200], at)
    words = f"Photo for the buyer, {subject}{f': {photo.caption}' if photo.caption else ''}"
    facts = {"photo": digest, "subject": subject, "caption": photo.caption}
    note_event(tx, car_id, PHOTO, words, facts, at)
    return photo


def work_photos(tx: Tx, car_id: int) -> tuple[tuple[int, LinkPhoto], ...]:
    """Photos taken at work that the buyer does not have yet, each with the number of its job."""
    given = {photo.digest for photo in photos_of(tx, car_id)}
    found = {
        photo.digest: (work.job.id, photo)
        for work in every_work(tx, car_id)
        for photo in link_photos(tx, car_id, work.job.id)
        if photo.digest not in given
    }
    return tuple(found.values())


def give_work_photo(tx: Tx, home: Path, car_id: int, job_id: int, digest: str, *, at: datetime) -> Photo:
    """Take a photo made at work over to what the buyer gets; like any other it leaves without private tags."""
    data, _ = photo_of_link(tx, car_id, job_id, digest, home=home)
    title = next(p.title for p in link_photos(tx, car_id, job_id) if p.digest == digest)
    return add_photo(tx, home, car_id, data, subject="work done", caption=title, at=at)


def drop_photo(tx: Tx, car_id: int, digest: str, *, at: datetime) -> None:
    """Take a photo out of what the buyer gets; the file and the trail keep it."""
    photo = _photo(tx, car_id, digest)
    note_event(
        tx, car_id, PHOTO, f"Photo taken out, {photo.subject}", {"photo": digest, "taken_out": True}, at
    )


def photos_of(tx: Tx, car_id: int) -> tuple[Photo, ...]:
    """Photos for the buyer in the order of `SUBJECTS`, as the trail left them."""
    kept: dict[str, Photo] = {}
    for event in sorted(trail_of(tx, car_id), key=lambda one: one.seq):
        if event.kind != PHOTO:
            continue
        if event.data.get("taken_out"):
            kept.pop(event.data["photo"], None)
        else:
            kept[event.data["photo"]] = Photo(
                event.data["photo"], event.data["subject"], event.data["caption"], event.at
            )
    return tuple(sorted(kept.values(), key=lambda photo: SUBJECTS.index(photo.subject)))


def leaving_photo(tx: Tx, home: Path, car_id: int, digest: str) -> tuple[bytes, str]:
    """A photo as it may leave the house, and its kind (``jpeg`` or ``png``)."""
    _photo(tx, car_id, digest)
    data = without_private_tags(Attachments(home / "attachments").get(digest))
    return data, photo_kind(data)


def _photo(tx: Tx, car_id: int, digest: str) -> Photo:
    found = next((photo for photo in photos_of(tx, car_id) if photo.digest == digest), None)
    if found is None:
        raise BadEntry("This car has no such photo for the buyer.", field="photo", value=digest[:12])
    return found
