"""Photos of the car for the buyer: what they show, and the private tags that never leave the house.

A phone writes into every photo where and when it was taken and by which device. The picture itself is
left as it is, byte for byte; only the tags around it are cut out.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime

from driveout.errors import BadEntry

# Order in which a buyer looks: whole, inside, proof, faults (common practice, no source).
SUBJECTS = ("whole car", "inside", "engine bay", "tyres", "before the work", "work done", "fault", "papers")
LARGEST_PHOTO = 15_000_000
MOST_PHOTOS = 24
# A small file can claim a picture that no memory holds; the largest telephones take 108 million points (from memory).
MOST_POINTS = {"JPEG": 120_000_000, "PNG": 40_000_000}
_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
# Chunks that change how a PNG looks; all others are text, time, tags and unknown private things.
_PNG_KEPT = {b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs"}


@dataclass(frozen=True)
class Photo:
    """A photo for the buyer.

    Parameters
    ----------
    digest
        Name of the kept file.
    subject
        One of `SUBJECTS`.
    caption
        What it shows, in the person's words.
    at
        When it was added.
    """

    digest: str
    subject: str
    caption: str
    at: datetime


def photo_kind(data: bytes) -> str:
    """``jpeg`` or ``png`` by the first bytes; empty when it is neither."""
    return "jpeg" if data.startswith(_JPEG) else "png" if data.startswith(_PNG) else ""


def without_private_tags(data: bytes) -> bytes:
    """A photo without place, time, device, text and hidden second pictures; the picture is untouched.

    A JPEG keeps its tables, its colour profile and which way is up; a PNG keeps the chunks that
    decide how it looks. What follows the end of the picture is dropped too: phones hang whole
    pictures with tags of their own behind it.

    Parameters
    ----------
    data
        JPEG or PNG.

    Returns
    -------
    bytes
        The same picture.

    Raises
    ------
    BadEntry
        If it is neither, or torn.

    References
    ----------
    itu-t81, annex B.1.1 and B.2; exif-2-3, 4.5; png-3, 5.3 and 11.3.
    """
    try:
        if data.startswith(_JPEG):
            return _jpeg(data)
        if data.startswith(_PNG):
            return _png(data)
    except (IndexError, struct.error) as error:
        raise BadEntry("The photo is torn; take it or send it again.", field="photo") from error
    raise BadEntry(
        "The file is no photo that can be printed. Use JPEG or PNG; telephones have a setting for it.",
        field="photo",
        allowed="JPEG or PNG",
    )


def _jpeg(data: bytes) -> bytes:
    kept = [b"\xff\xd8"]
    turn = 1
    at = 2
    while True:
        while data[at] == 0xFF and data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        if data[at] != 0xFF:
            raise IndexError
        if marker == 0xD9:
            break
        end = at + 2 + int(struct.unpack_from(">H", data, at + 2)[0])
        segment = data[at:end]
        if len(segment) < end - at or end < at + 4:
            raise IndexError
        if marker == 0xE1 and segment[4:10] == b"Exif\0\0":
            turn = _orientation(segment[10:])
        elif marker == 0xE0 and segment[4:9] == b"JFIF\0":
            # Without its thumbnail, which may show what was cut off the picture.
            kept.append(b"\xff\xe0\x00\x10" + segment[4:16] + b"\0\0")
        elif (
            (marker == 0xEE and segment[4:9] == b"Adobe")
            or (marker == 0xE2 and segment[4:16] == b"ICC_PROFILE\0")
            or not (0xE0 <= marker <= 0xEF or marker == 0xFE)
        ):
            kept.append(segment)
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):  # start of a frame
            _demand_points("JPEG", *struct.unpack_from(">HH", segment, 5))
        at = end
        if marker == 0xDA:
            end = _end_of_scan(data, at)
            kept.append(data[at:end])
            at = end
    if turn != 1:
        kept.insert(1, _only_orientation(turn))
    return b"".join((*kept, b"\xff\xd9"))


def _demand_points(kind: str, height: int, width: int) -> None:
    if height * width > MOST_POINTS[kind]:
        raise BadEntry(
            f"The photo claims {width:,} by {height:,} points; that is no photo of a telephone. Send it smaller.",
            field="photo",
            allowed=f"{kind} up to {MOST_POINTS[kind]:,} points",
        )


def _end_of_scan(data: bytes, at: int) -> int:
    """Place of the first marker behind a scan that is neither stuffing nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise IndexError
        if data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
            at += 2
        elif data[at + 1] == 0xFF:
            at += 1
        else:
            return at


def _orientation(tiff: bytes) -> int:
    """Which way is up: tag 274 of the first directory, 1 when it is missing or unreadable."""
    try:
        order = {b"II": "<", b"MM": ">"}[tiff[:2]]
        start = struct.unpack_from(order + "I", tiff, 4)[0]
        for i in range(struct.unpack_from(order + "H", tiff, start)[0]):
            tag, kind, count = struct.unpack_from(order + "HHI", tiff, start + 2 + 12 * i)
            if (tag, kind, count) == (274, 3, 1):
                turn = int(struct.unpack_from(order + "H", tiff, start + 10 + 12 * i)[0])
                return turn if 1 <= turn <= 8 else 1
    except (KeyError, struct.error):
        pass
    return 1


def _only_orientation(turn: int) -> bytes:
    tiff = b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 274, 3, 1, turn, 0, 0)
    return b"\xff\xe1" + struct.pack(">H", len(tiff) + 8) + b"Exif\0\0" + tiff


def _png(data: bytes) -> bytes:
    kept = [_PNG]
    at = len(_PNG)
    while True:
        size, kind = struct.unpack_from(">I4s", data, at)
        chunk = data[at : at + 12 + size]
        if len(chunk) < 12 + size:
            raise IndexError
        if kind == b"IHDR":
            width, height = struct.unpack_from(">II", chunk, 8)
            _demand_points("PNG", height, width)
        # Critical chunks begin with a capital letter.
        if kind[:1].isupper() or kind in _PNG_KEPT:
            kept.append(chunk)
        if kind == b"IEND":
            return b"".join(kept)
        at += 12 + size
