"""Fills the disk under a record, then makes room again; prints its counts as JSON.

``python -m tests.trials.full_disk HOME mount|limit``: a small disk mounted at HOME, or (where mounting is
forbidden) the system's limit on the size of a file.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sqlite3
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from driveout.app import ready_store, web_app
from driveout.cars.actions import add_car, broken_trails, note_event, trail_of
from driveout.errors import StoreTrouble
from driveout.store import Attachments, Store, keep_daily_copy, strays, write_archive
from tests.trials.killing import AT, PICTURE


def mount(home: Path) -> None:
    home.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(home)], check=True)


class Disk:
    """A disk that can be filled and emptied."""

    def __init__(self, home: Path, mounted: bool) -> None:
        self.filler = home / "filler"
        self.mounted = mounted
        self.home = home
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def fill(self) -> None:
        if not self.mounted:
            # No file may grow any more: the journal file is at least as long as this after one write.
            resource.setrlimit(resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
            return
        with self.filler.open("ab", buffering=0) as file:
            for size in (65536, 4096, 512):
                with suppress(OSError):
                    while True:
                        file.write(b"x" * size)

    def make_room(self) -> None:
        if not self.mounted:
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
            return
        self.filler.unlink()


def refused(act: Any) -> str:
    """The message with which an act is refused; it must be one that says what to do."""
    message = ""
    try:
        act()
    except StoreTrouble as error:
        message = error.message
    assert "Free some space" in message, message or "the disk was not full"
    return message


def note(store: Store, car_id: int, words: str) -> None:
    with store.writing() as tx:
        note_event(tx, car_id, "note", words, {"filling": "y" * 3000}, AT)


def write_until_full(store: Store, car_id: int) -> int:
    """Write notes until one is refused; return how many were confirmed."""
    done, message = 0, ""
    while not message and done < 3000:
        try:
            note(store, car_id, f"note {done}")
            done += 1
        except StoreTrouble as error:
            message = error.message
    assert "Free some space" in message, message or "the disk was never full"
    return done


def run(home: Path, how: str) -> dict[str, Any]:
    """Fill, try everything, make room, go on; three times."""
    if how == "mount":
        mount(home)
    disk = Disk(home, how == "mount")
    store = ready_store(home, f"sqlite:///{home / 'driveout.db'}")
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    counts: dict[str, Any] = {"times full": 0, "writes refused": 0, "lost": 0, "halves": 0}
    confirmed = 1
    attachments = Attachments(home / "attachments")
    with TestClient(web_app(store), base_url="http://localhost") as client:
        token = client.get("/adverts/new").text.split('name="csrf" value="')[1].split('"')[0]
        for turn in range(3):
            disk.fill()
            confirmed += write_until_full(store, car_id)
            refused(lambda turn=turn: attachments.put(PICTURE + os.urandom(3_000_000) + bytes([turn])))
            refused(lambda: write_archive(store, home / "out.zip"))
            refused(lambda: keep_daily_copy(store))
            assert client.get(f"/cars/{car_id}/money").status_code == 200, "pages can still be read"
            fields = {"csrf": token, "kind": "parts", "amount": "12.50", "what": "Kept wörds", "shop": ""}
            fields |= {"day": str(AT.date()), "quantity": "1", "line": "", "core": ""}
            photo = {"photo": ("r.jpg", PICTURE + os.urandom(2_000_000), "image/jpeg")}
            answer = client.post(f"/cars/{car_id}/money/receipt", data=fields, files=photo)
            assert answer.status_code == 503, answer.status_code
            assert "Free some space" in answer.text
            assert "Kept wörds" in answer.text, "what was typed is still there"
            counts["times full"] += 1
            counts["writes refused"] += 5
            disk.make_room()
            note(store, car_id, "after")
            confirmed += 1
            with store.reading() as tx:
                counts["lost"] += confirmed - len(trail_of(tx, car_id))
                assert broken_trails(tx) == {}
                missing, stray = strays(tx, home)
                counts["halves"] += len(missing) + len(stray)
            counts["halves"] += len([*home.rglob(".part-*"), *home.rglob("*.part"), *home.glob("out.zip")])
            photo = {"photo": ("r.jpg", PICTURE, "image/jpeg")}
            if turn == 2:
                answer = client.post(f"/cars/{car_id}/money/receipt", data=fields, files=photo)
                assert answer.status_code == 200, "the same form goes through once there is room"
    store.close()
    with sqlite3.connect(home / "driveout.db") as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    return counts


if __name__ == "__main__":
    print(json.dumps(run(Path(sys.argv[1]), sys.argv[2])))
