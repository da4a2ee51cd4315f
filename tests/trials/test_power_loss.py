"""The power goes between any two steps: a photo without a reference at worst, never the other way round."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from driveout.app import ready_store, run
from driveout.cars.actions import add_car, broken_trails, note_event, trail_of
from driveout.errors import StoreTrouble
from driveout.money.actions import book_receipt, keep_photo
from driveout.store import Attachments, Store, strays
from driveout.units import Money
from tests.trials.killing import AT, PICTURE


class PowerGone(BaseException):
    """The lights go out; nothing after it is carried out."""


@contextmanager
def power_until(step: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Cut the power before the step-th call that touches the disk; list the calls that were carried out."""
    done: list[str] = []

    def watched(name: str, real: Callable[..., object]) -> Callable[..., object]:
        def call(*arguments: object, **named: object) -> object:
            if len(done) >= step:
                raise PowerGone
            done.append(name)
            return real(*arguments, **named)

        return call

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", watched("fsync", os.fsync))
        patch.setattr(Path, "replace", watched("rename", Path.replace))
        patch.setattr(Path, "mkdir", watched("mkdir", Path.mkdir))
        yield done


def book_with_photo(store: Store, car_id: int, number: int) -> None:
    with store.writing() as tx:
        photo = keep_photo(store.home, PICTURE + str(number).encode())
        amount, what = Money(100, "USD"), f"receipt {number}"
        book_receipt(tx, car_id, "parts", amount, what, "", AT.date(), at=AT, photo=photo)


def test_the_power_goes_before_each_step_of_keeping_a_photo(
    store: Store, monkeypatch: pytest.MonkeyPatch, counted: Callable[..., None]
) -> None:
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    with power_until(99, monkeypatch) as steps:
        book_with_photo(store, car_id, 0)
    kept = [step for step in steps if step != "mkdir"]
    assert kept == ["fsync", "fsync", "rename", "fsync"], "the folder, the content, then its name on the disk"

    attachments = Attachments(store.home / "attachments")
    cut = 0
    for step in range(len(steps)):
        with power_until(step, monkeypatch):
            try:
                book_with_photo(store, car_id, 100 + step)
            except PowerGone:
                cut += 1
        with store.reading() as tx:
            missing, _ = strays(tx, store.home)
            assert missing == {}
        for name in attachments.names():
            attachments.get(name)
    assert cut >= 4
    counted("power gone around a photo", cuts=cut, references_without_photo=0, torn_photos=0)


def test_a_photo_without_a_reference_is_found_and_said(
    store: Store,
    counted: Callable[..., None],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    book_with_photo(store, car_id, 1)
    for number in range(5):
        with pytest.raises(PowerGone), store.writing() as tx:
            keep_photo(store.home, PICTURE + b"lost" + str(number).encode())
            note_event(tx, car_id, "note", "never", {}, AT)
            raise PowerGone

    with store.reading() as tx:
        missing, unreferred = strays(tx, store.home)
        assert len(trail_of(tx, car_id)) == 2
    assert missing == {}
    assert len(unreferred) == 5
    monkeypatch.setenv("DRIVEOUT_DATABASE", store.engine.url.render_as_string(hide_password=False))
    assert run(["--home", str(store.home), "check"]) == 0
    assert "5 photos belong to nothing" in capsys.readouterr().out
    counted("photos left by a loss of power", left=5, found=len(unreferred))


def test_a_reference_without_its_photo_is_trouble(
    store: Store, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only somebody who deletes files can bring it about; the check names receipt and photo."""
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    book_with_photo(store, car_id, 1)
    shutil.rmtree(store.home / "attachments")

    monkeypatch.setenv("DRIVEOUT_DATABASE", store.engine.url.render_as_string(hide_password=False))
    assert run(["--home", str(store.home), "check"]) == 2
    assert "of money_entry 1 is missing" in capsys.readouterr().err


def test_a_damaged_photo_is_noticed_and_mended_by_sending_it_again(tmp_path: Path) -> None:
    kept = Attachments(tmp_path)
    name = kept.put(PICTURE)
    (tmp_path / name[:2] / name).write_bytes(PICTURE[:-5])
    with pytest.raises(StoreTrouble, match="damaged"):
        kept.get(name)

    assert kept.put(PICTURE) == name
    assert kept.get(name) == PICTURE


def test_a_torn_end_of_the_write_ahead_file_costs_only_what_was_not_confirmed(
    tmp_path: Path, counted: Callable[..., None]
) -> None:
    """SQLite: 'a transaction commits when its commit record is in the WAL'; frames after it are ignored.

    https://www.sqlite.org/walformat.html, section 3 (recovery by salt and checksum).
    """
    home = tmp_path / "home"
    store = ready_store(home, f"sqlite:///{home / 'driveout.db'}")
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    wal = home / "driveout.db-wal"
    confirmed_at = []
    for number in range(12):
        with store.writing() as tx:
            note_event(tx, car_id, "note", f"note {number}", {"filling": "y" * 500}, AT)
        confirmed_at.append(wal.stat().st_size)
    chance, trials = random.Random(6), 0
    whole = wal.read_bytes()
    for number in range(1, 12):
        for _ in range(4):
            size = chance.randrange(confirmed_at[number - 1], confirmed_at[number])
            torn = bytearray(whole[:size])
            if chance.random() < 0.5 and size > confirmed_at[number - 1]:  # or what stands there is nonsense
                torn += bytes(chance.randrange(256) for _ in range(300))
            machine = tmp_path / f"after {trials}"
            machine.mkdir()
            shutil.copy(home / "driveout.db", machine / "driveout.db")
            (machine / "driveout.db-wal").write_bytes(torn)
            with sqlite3.connect(machine / "driveout.db") as raw:
                assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            raw.close()
            after = ready_store(machine, f"sqlite:///{machine / 'driveout.db'}")
            with after.reading() as tx:
                kept = [event for event in trail_of(tx, car_id) if event.kind == "note"]
                assert broken_trails(tx) == {}
            after.close()
            shutil.rmtree(machine)
            assert len(kept) == number, "everything confirmed before the tear, nothing half after it"
            trials += 1
    store.close()
    counted("torn end of the write-ahead file", trials=trials, lost=0)


def test_every_commit_reaches_the_disk(tmp_path: Path) -> None:
    """2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous ."""
    store = ready_store(tmp_path, f"sqlite:///{tmp_path / 'driveout.db'}")
    with store.reading() as tx:
        assert tx.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert tx.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert tx.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    store.close()
