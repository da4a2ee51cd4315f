"""Files that somebody made to do harm: archives, tables, YAML, pictures."""

from __future__ import annotations

import io
import json
import struct
import time
import warnings
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from driveout.app import ready_store
from driveout.cars.actions import add_car, list_cars
from driveout.errors import BadEntry, DriveoutError
from driveout.files import csv_table, yaml_document
from driveout.hunt import read_advert
from driveout.selling.photos import without_private_tags
from driveout.store import Attachments, Store, open_store, restore, write_archive
from tests.conftest import Browser, Clock
from tests.selling.test_photos import CAMERA, a_phone_jpeg

QUICK_S = 5.0


def remade(whole: Path, out: Path, change: Callable[[dict[str, bytes]], None], **kept: Any) -> Path:
    """An archive with other contents."""
    with zipfile.ZipFile(whole) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    with zipfile.ZipFile(out, "w", kept.get("kind", zipfile.ZIP_DEFLATED)) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out


def with_member(name: str, data: bytes = b"x") -> Callable[[dict[str, bytes]], None]:
    return lambda members: members.__setitem__(name, data)


def with_manifest(**changes: Any) -> Callable[[dict[str, bytes]], None]:
    def change(members: dict[str, bytes]) -> None:
        members["manifest.json"] = json.dumps({**json.loads(members["manifest.json"]), **changes}).encode()

    return change


def without(name: str) -> Callable[[dict[str, bytes]], None]:
    return lambda members: members.__delitem__(name)


ARCHIVES: dict[str, Callable[[dict[str, bytes]], None]] = {
    "climbs out": with_member("../../zqx.txt"),
    "climbs out, absolute": with_member("/tmp/zqx.txt"),
    "climbs out below attachments": with_member("attachments/../../../zqx.txt"),
    "climbs out, backslashes": with_member("attachments\\..\\..\\zqx.txt"),
    "drive letter": with_member("C:/zqx.txt"),
    "an attachment under a false name": with_member("attachments/" + "a" * 64),
    "zeros without end": with_member("attachments/" + "0" * 64, b"\x00" * 60_000_000),
    "a table nobody asked for": with_member("tables/zqx.jsonl", b"{}\n"),
    "a revision from nowhere": with_manifest(revision="../../x"),
    "a revision that is no text": with_manifest(revision=["0001"]),
    "another schema": with_manifest(schema="zqx/9"),
    "tables that are a list": with_manifest(tables=[]),
    "tables that are none": with_manifest(tables=None),
    "counts of the wrong kind": with_manifest(attachments="many"),
    "a table that the schema lacks": with_manifest(
        tables={"zqx; DROP TABLE cars_car": {"rows": 0, "sha256": ""}}
    ),
    "no manifest": without("manifest.json"),
    "a manifest that is nonsense": with_member("manifest.json", b"\xff\x00["),
    "a manifest too deep": with_member("manifest.json", b"[" * 100_000),
    "a table gone": without("tables/cars_car.jsonl"),
    "rows that are no rows": with_member("tables/cars_car.jsonl", b"[1,2]\n"),
}


@pytest.fixture
def whole(store: Store, tmp_path: Path) -> Path:
    with store.writing() as tx:
        add_car(tx, name="Linnet", currency="USD", at=store.now())
    Attachments(store.home / "attachments").put(b"a photo")
    write_archive(store, tmp_path / "whole.zip")
    return tmp_path / "whole.zip"


def refused(path: Path, home: Path) -> None:
    """Restore into an empty record, which must refuse in words, soon, and write nothing."""
    empty = open_store(f"sqlite:///{home / 'driveout.db'}", home)
    began = time.monotonic()
    with pytest.raises(DriveoutError):
        restore(path, empty)
    assert time.monotonic() - began < QUICK_S
    empty.close()
    after = ready_store(home, f"sqlite:///{home / 'driveout.db'}")
    with after.reading() as tx:
        assert list_cars(tx) == []
    after.close()
    assert not list(home.parent.rglob("zqx*"))


def test_archives_made_to_do_harm_are_refused_whole(
    whole: Path, tmp_path: Path, counted: Callable[..., None]
) -> None:
    for number, change in enumerate(ARCHIVES.values()):
        folder = tmp_path / f"t{number}"
        folder.mkdir()
        refused(remade(whole, folder / "bad.zip", change), folder / "home")
    more = 0
    for kind in (zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA):  # ways of packing that reach far higher ratios
        refused(remade(whole, tmp_path / "k.zip", lambda _: None, kind=kind), tmp_path / f"k{kind}")
        more += 1
    data = whole.read_bytes()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        twice = tmp_path / "twice.zip"
        twice.write_bytes(data)
        with zipfile.ZipFile(twice, "a") as archive:
            archive.writestr("tables/cars_car.jsonl", b"")
    refused(twice, tmp_path / "twice")
    link = tmp_path / "link.zip"
    link.write_bytes(data)
    with zipfile.ZipFile(link, "a") as archive:
        info = zipfile.ZipInfo("attachments/link")
        info.external_attr = 0o120777 << 16
        archive.writestr(info, "/etc/passwd")
    refused(link, tmp_path / "linked")
    # Sizes that lie: what the list at the end of the file says about the first table.
    at = data.index(b"PK\x01\x02")
    for size in (1, 2**31 - 1):
        lying = bytearray(data)
        lying[at + 24 : at + 28] = struct.pack("<I", size)
        (tmp_path / "lying.zip").write_bytes(lying)
        refused(tmp_path / "lying.zip", tmp_path / f"lying{size}")
        more += 1
    for cut in range(10, len(data), max(len(data) // 12, 1)):
        (tmp_path / "cut.zip").write_bytes(data[:cut])
        refused(tmp_path / "cut.zip", tmp_path / f"cut{cut}")
        more += 1
    counted("archives made to do harm", tries=len(ARCHIVES) + 2 + more, taken=0, files_outside=0)


def test_the_archive_itself_is_taken(whole: Path, tmp_path: Path) -> None:
    """So that the refusals above are not refusals of everything."""
    same = remade(whole, tmp_path / "same.zip", lambda _: None)
    empty = open_store(f"sqlite:///{tmp_path / 'e.db'}", tmp_path / "e")

    assert restore(same, empty)["attachments"] == 1
    empty.close()


YAMLS = (
    "a: &a [x,x]\n"
    + "".join(
        f"b{n}: &b{n} [*{'a' if n == 0 else f'b{n - 1}'}, *{'a' if n == 0 else f'b{n - 1}'}]\n"
        for n in range(200)
    ),
    "!!python/object/apply:os.system ['touch /tmp/zqx']",
    "a: !!python/name:os.system",
    "a: !zqx {b: 1}",
    "a: !!binary aGVsbG8=",
    "- " * 5000 + "x",
    "[" * 3000,
    "a: &x [*x]",
    "<<: {a: 1}\n? [1, 2]\n: b",
    "a: 1\na: 2",
    "\x00",
    "a: \ud800" if False else "a: \x07",
    "%YAML 9.9\n---\na: 1",
    "a" * 5_100_000,
    "---\na: 1\n---\nb: 2",
)


def test_yaml_made_to_do_harm_is_refused_soon(counted: Callable[..., None]) -> None:
    refusals = 0
    for text in YAMLS:
        began = time.monotonic()
        try:
            document = yaml_document(text, "bad.yaml", None)
        except BadEntry:
            refusals += 1
        else:
            assert len(repr(document.data)) < 10_000, "an alias bomb went off"
        assert time.monotonic() - began < QUICK_S, text[:60]
    assert not Path("/tmp/zqx").exists()
    assert refusals >= 10
    counted("YAML made to do harm", tries=len(YAMLS), refused=refusals, carried_out=0)


TABLES = (
    b"a,b\n" + b"=1+1,2\n" * 10,
    b"a;b\n\x00;1\n",
    "a,b\n\u202e1,\u20661\n".encode(),
    b'a,b\n"' + b"x" * 300_000,
    b"a," * 50_000 + b"\n1\n",
    b"\xff\xfe" + b"a\x00,\x00b\x00\n\x00\xd8",
    b"a,b\r1,2\r\n3,4\n\x0b5,6",
    b"a,a\n1,2\n",
    b"\n" * 200_000,
    b"a\n" + b'"' * 99_999,
)


def test_tables_made_to_do_harm_are_read_as_text_or_refused(
    counted: Callable[..., None], browser: Browser
) -> None:
    refusals = 0
    for data in TABLES:
        began = time.monotonic()
        try:
            table = csv_table(data, "bad.csv")
            assert all(isinstance(cell, str) for row in table.rows for cell in row.cells.values())
        except BadEntry:
            refusals += 1
        assert time.monotonic() - began < QUICK_S
        for path in ("/money/import", "/money/bank"):
            field = {"/money/import": "journal", "/money/bank": "bank"}[path]
            answer = browser.client.post(
                path, data={"csrf": browser.token()}, files={field: ("bad.csv", data, "text/csv")}
            )
            assert answer.status_code < 500, (path, data[:40])
    counted("tables made to do harm", tries=len(TABLES) * 3, refused_as_tables=refusals, carried_out=0)


ADVERTS = (
    "<script>alert(1)</script> Linnet 2013 $900",
    "\u202e$009 reven nekorb\u2066\u2069 2013",
    "Linnet\x00 2013 \x1b[31m $900",
    "$" * 20_000 + "900",
    "1" * 20_000,
    "clutch slips " * 3000,
    ("9" * 40 + " miles ") * 50,
    "a\n" * 20_000,
    "\u0301" * 10_000,
    "１２３４５ miles ＄９００ \U0001f697",
    "no no no not not never " * 2000,
    "(" * 5000 + "price 900" + ")" * 5000,
)


def test_advert_texts_made_to_do_harm_are_read_soon(counted: Callable[..., None]) -> None:
    slowest = 0.0
    for text in ADVERTS:
        began = time.monotonic()
        try:
            read = read_advert(text, today_year=2026)
            assert "\u202e" not in read.text
            assert "\x1b" not in read.text
        except BadEntry:
            pass
        slowest = max(slowest, time.monotonic() - began)
    assert slowest < QUICK_S
    counted("advert texts made to do harm", tries=len(ADVERTS), carried_out=0, slowest_s=round(slowest, 2))


def png(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG that says how large it is, whatever it holds."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = data or zlib.compress(b"\x00" * 1_000_000, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def test_pictures_made_to_do_harm_neither_burst_nor_run(
    store: Store, browser: Browser, clock: Clock, counted: Callable[..., None]
) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="Linnet", currency="USD", at=clock(), stage="for sale").id
    pictures = {
        "bomb": png(100_000, 100_000),
        "huge on one side": png(2_000_000_000, 1),
        "script drawing": b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        "page": b"<!doctype html><script>alert(1)</script>",
        "jpeg and page": a_phone_jpeg() + b"<script>alert(1)</script>",
        "jpeg and archive": a_phone_jpeg() + b"PK\x05\x06" + b"\x00" * 18,
        "torn jpeg": a_phone_jpeg()[:300],
        "torn png": png(10, 10)[:40],
        "gif": b"GIF89a" + b"\x00" * 50,
        "empty": b"",
    }
    taken, served = 0, 0
    for name, data in pictures.items():
        files = {"photo": (f"{name}.html", data, "text/html")}
        fields = {"csrf": browser.token(), "subject": "whole car", "caption": name}
        answer = browser.client.post(f"/cars/{car}/sale/photo", data=fields, files=files)
        assert answer.status_code < 500, name
        taken += answer.status_code == 200
    began = time.monotonic()
    printed = browser.client.get(f"/cars/{car}/sale/buyers-file.pdf")
    assert printed.status_code < 500
    assert time.monotonic() - began < 20
    page = browser.get(f"/cars/{car}/sale")
    import re

    for link in set(re.findall(rf"(/cars/{car}/sale/photo/[0-9a-f]{{64}})", page)):
        answer = browser.client.get(link)
        assert answer.headers["content-type"] in ("image/jpeg", "image/png")
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert b"<script>" not in answer.content
        assert b"PK\x05\x06" not in answer.content
        assert CAMERA.encode() not in answer.content
        served += 1
    assert served == taken
    counted("pictures made to do harm", tries=len(pictures), kept=taken, left_with_something_hidden=0)


def test_the_place_is_kept_in_the_record_and_never_leaves(
    store: Store, browser: Browser, clock: Clock
) -> None:
    taken = a_phone_jpeg()
    with store.writing() as tx:
        car = add_car(tx, name="Linnet", currency="USD", at=clock(), stage="for sale").id
    browser.post(
        f"/cars/{car}/sale/photo",
        {"subject": "whole car", "caption": ""},
        {"photo": ("p.jpg", taken, "image/jpeg")},
    )
    (kept,) = Attachments(store.home / "attachments").names()
    assert Attachments(store.home / "attachments").get(kept) == taken
    left = browser.client.get(f"/cars/{car}/sale/photo/{kept}").content
    assert dict(Image.open(io.BytesIO(left)).getexif().get_ifd(0x8825)) == {}
    assert dict(Image.open(io.BytesIO(taken)).getexif().get_ifd(0x8825)) != {}
    assert without_private_tags(taken) == left
