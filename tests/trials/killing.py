"""Kills writers at random moments and looks at the record each time; prints its counts as JSON.

``python -m tests.trials.killing HOME KILLS SEED URL [careless]`` (URL ``-`` for the file in HOME). A careless
writer confirms before it has written, to show that the trial would notice a loss. The program is a process of its own because it forks:
a forked writer starts in a millisecond, where a new interpreter needs two seconds.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from driveout.app import ready_store
from driveout.cars.actions import add_car, broken_trails, note_event
from driveout.money.actions import book_receipt, keep_photo
from driveout.outlook.actions import newest_point, refresh
from driveout.store import Attachments, Store, strays
from driveout.units import Money

AT = datetime(2026, 5, 4, 18, 30, tzinfo=UTC)
PICTURE = b"\xff\xd8\xff" + b"receipt " * 2000


def write_until_killed(
    home: Path, url: str | None, car_id: int, first: int, told: int, careless: bool
) -> None:
    """Book receipts with photos, and notes; tell before and after each one."""
    store = ready_store(home, url)
    number = first
    while True:
        os.write(told, f"begun {number}\n".encode())
        if careless:
            os.write(told, f"done {number}\n".encode())
        with store.writing() as tx:
            if number % 3:
                note_event(tx, car_id, "note", f"note {number}", {"number": number}, store.now())
            else:
                photo = keep_photo(home, PICTURE + str(number).encode())
                amount = Money(1000 + number, "USD")
                what = f"receipt {number}"
                book_receipt(tx, car_id, "parts", amount, what, "", AT.date(), at=store.now(), photo=photo)
        if not careless:
            os.write(told, f"done {number}\n".encode())
        number += 1


def kill_one(
    home: Path, url: str | None, car_id: int, first: int, chance: random.Random, careless: bool
) -> tuple[set[int], int]:
    """Start a writer, kill it at a random moment; return what it confirmed and what it had begun last."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(read_end)
            write_until_killed(home, url, car_id, first, write_end, careless)
        finally:
            os._exit(1)
    os.close(write_end)
    with os.fdopen(read_end) as told:
        lines = [told.readline()]
        began = time.monotonic()
        for _ in range(2 * chance.randrange(3)):
            lines.append(told.readline())
        took = (time.monotonic() - began) / max(len(lines) // 2, 1)
        time.sleep(chance.uniform(0.0, took or 0.05))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines += told.readlines()
    words = [line.split() for line in lines if line.endswith("\n")]
    assert words, "the writer ended by itself"
    confirmed = {int(number) for word, number in words if word == "done"}
    begun = max(int(number) for word, number in words if word == "begun")
    return confirmed, begun


def numbers_kept(store: Store, car_id: int) -> set[int]:
    """Numbers of the notes and receipts that the record holds, after looking for halves and damage."""
    with store.reading() as tx:
        if tx.dialect.name == "sqlite":
            assert tx.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            assert tx.exec_driver_sql("PRAGMA foreign_key_check").first() is None
        trail = sa.text("SELECT summary FROM cars_event WHERE car_id = :car ORDER BY seq").bindparams(
            car=car_id
        )
        summaries = [str(row[0]) for row in tx.execute(trail)]
        entries = sa.text("SELECT what FROM money_entry WHERE what LIKE 'receipt %'")
        receipts = {int(row[0].split()[1]) for row in tx.execute(entries)}
        unbalanced = sa.text(
            "SELECT entry_id FROM money_posting GROUP BY entry_id, commodity HAVING sum(amount) <> 0"
        )
        assert tx.execute(unbalanced).first() is None, "half a receipt"
        notes = {int(one.split()[1]) for one in summaries if one.startswith("note ")}
        every = tx.execute(sa.text("SELECT summary FROM cars_event WHERE summary LIKE 'Receipt: %'"))
        told = {int(one[0].split("receipt ")[1].split(",")[0]) for one in every}
        assert told == receipts, "a receipt without its line in the trail"
        assert broken_trails(tx) == {}
        missing, _ = strays(tx, store.home)
        assert not missing, "a receipt without its photo"
    with store.writing() as tx:
        before = newest_point(tx, car_id)
        after = refresh(tx, car_id, "looking again", at=AT)
        assert before is not None
        assert before.id == after.id, "the outlook did not follow the last fact"
    return notes | receipts


def run(home: Path, kills: int, seed: int, url: str | None, careless: bool = False) -> dict[str, Any]:
    """Kill that many writers, one after the other, on one record."""
    chance = random.Random(seed)
    counts = {"kills": 0, "in_the_middle": 0, "confirmed": 0, "lost": 0, "kept_unconfirmed": 0, "cars": 0}
    store = ready_store(home, url)
    confirmed: set[int] = set()
    kept_before: set[int] = set()
    next_number, car_id = 0, 0
    for kill in range(kills):
        if kill % 10 == 0:  # a short trail keeps the looking quick
            with store.writing() as tx:
                car_id = add_car(tx, name=f"car {kill}", currency="USD", at=AT).id
            counts["cars"] += 1
            confirmed, kept_before = set(), set()
            receipts_before = _receipts(store)
        store.close()
        done, begun = kill_one(home, url, car_id, next_number, chance, careless)
        store = ready_store(home, url)
        confirmed |= done
        kept = numbers_kept(store, car_id) - receipts_before
        counts["kills"] += 1
        counts["in_the_middle"] += begun not in done
        counts["confirmed"] += len(done)
        counts["lost"] += len(confirmed - kept) + len(kept_before - kept)
        counts["kept_unconfirmed"] += begun in kept and begun not in done
        assert kept - confirmed <= kept_before | {begun}, "something was kept that nobody wrote"
        kept_before, next_number = kept, begun + 1
    with store.reading() as tx:
        _, unreferred = strays(tx, store.home)
    for digest in Attachments(home / "attachments").names():
        Attachments(home / "attachments").get(digest)
    counts["photos_without_receipt"] = len(unreferred)
    counts["torn_photos"] = 0
    store.close()
    return counts


def _receipts(store: Store) -> set[int]:
    with store.reading() as tx:
        found = tx.execute(sa.text("SELECT what FROM money_entry WHERE what LIKE 'receipt %'"))
        return {int(row[0].split()[1]) for row in found}


if __name__ == "__main__":
    where, how_many, seed_text, address, *words = sys.argv[1:]
    place = None if address == "-" else address
    print(json.dumps(run(Path(where), int(how_many), int(seed_text), place, "careless" in words)))
