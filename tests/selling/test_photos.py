"""Photos that leave carry the picture and nothing else, read back by an independent library."""

from __future__ import annotations

import io
import struct

import pytest
from PIL import Image, PngImagePlugin
from PIL.Image import Exif

from driveout.errors import BadEntry
from driveout.selling.photos import without_private_tags

CAMERA = "Quillan Pocket 3"
GPS = {1: "N", 2: (51.0, 28.0, 38.5), 3: "W", 4: (0.0, 0.0, 5.3)}


def a_picture() -> Image.Image:
    drawn = Image.new("RGB", (48, 32))
    drawn.putdata([(5 * x, 7 * y, (x * y) % 256) for y in range(32) for x in range(48)])
    return drawn


def phone_tags(turn: int = 6) -> Exif:
    tags = Image.Exif()
    tags[0x010F] = CAMERA
    tags[0x0112] = turn
    tags[0x0132] = "2026:05:04 18:30:00"
    tags.get_ifd(0x8825).update(GPS)
    return tags


def a_phone_jpeg(*, turn: int = 6, progressive: bool = False, comment: bytes = b"at home") -> bytes:
    kept = io.BytesIO()
    a_picture().save(
        kept, "JPEG", exif=phone_tags(turn), progressive=progressive, comment=comment, quality=90
    )
    return kept.getvalue()


def opened(data: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_loses_its_gps_position_and_keeps_every_pixel_and_which_way_is_up(progressive: bool) -> None:
    taken = a_phone_jpeg(progressive=progressive)
    assert dict(opened(taken).getexif().get_ifd(0x8825))[2] == (51.0, 28.0, 38.5)

    leaves = without_private_tags(taken)

    tags = opened(leaves).getexif()
    assert dict(tags) == {0x0112: 6}
    assert dict(tags.get_ifd(0x8825)) == {}
    assert opened(leaves).tobytes() == opened(taken).tobytes()
    assert CAMERA.encode() not in leaves
    assert b"at home" not in leaves


def test_a_photo_taken_upright_carries_no_tags_at_all() -> None:
    leaves = without_private_tags(a_phone_jpeg(turn=1))

    assert b"Exif" not in leaves


def test_other_private_segments_and_a_second_picture_behind_the_first_are_dropped() -> None:
    taken = a_phone_jpeg(turn=1)
    press = b"Photoshop 3.0\0Odalys Quist"
    hidden = b"\xff\xed" + struct.pack(">H", len(press) + 2) + press
    behind = a_phone_jpeg(comment=b"behind")

    leaves = without_private_tags(taken[:2] + hidden + taken[2:] + behind)

    assert leaves == without_private_tags(taken)
    assert b"Odalys" not in leaves


def test_a_png_loses_texts_and_tags_and_keeps_every_pixel() -> None:
    kept = io.BytesIO()
    words = PngImagePlugin.PngInfo()
    words.add_text("Location", "Brackenford")
    words.add_itxt("XML:com.adobe.xmp", "<x>Brackenford</x>")
    a_picture().save(kept, "PNG", pnginfo=words, exif=phone_tags())
    taken = kept.getvalue()
    assert b"eXIf" in taken

    leaves = without_private_tags(taken)

    assert opened(leaves).tobytes() == opened(taken).tobytes()
    assert b"Brackenford" not in leaves
    assert b"eXIf" not in leaves
    assert dict(opened(leaves).getexif()) == {}


@pytest.mark.parametrize("cut", [3, 8, 20, 60, -2])
def test_a_torn_photo_is_refused(cut: int) -> None:
    with pytest.raises(BadEntry, match="torn"):
        without_private_tags(a_phone_jpeg()[:cut])


@pytest.mark.parametrize("data", [b"", b"GIF89a....", b"%PDF-1.7", b"RIFF\0\0\0\0WEBP"])
def test_what_is_no_jpeg_or_png_is_refused(data: bytes) -> None:
    with pytest.raises(BadEntry, match="JPEG or PNG"):
        without_private_tags(data)
