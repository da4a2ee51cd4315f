"""Copies taken while others write, brought to a new machine and proven there."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from driveout.app import ready_store, run
from driveout.cars.actions import add_car, broken_trails, note_event
from driveout.errors import StoreTrouble
from driveout.money.actions import book_receipt, keep_photo
from driveout.store import (
    Attachments,
    Store,
    daily_copies,
    keep_daily_copies,
    keep_daily_copy,
    open_store,
    restore,
    strays,
    write_archive,
)
from driveout.store.daily import outdated
from driveout.units import Money
from tests.conftest import Clock
from tests.trials.killing import AT, PICTURE, numbers_kept


def write_on(store: Store, car_id: int, stop: threading.Event, name: int) -> int:
    """Book receipts with photos until told to stop."""
    number = name
    while not stop.is_set():
        with store.writing() as tx:
            if number % 2:
                photo = keep_photo(store.home, PICTURE + str(number).encode())
                amount, day = Money(1000, "USD"), AT.date()
                what = f"receipt {number}"
                book_receipt(tx, car_id, "parts", amount, what, "", day, at=store.now(), photo=photo)
            else:
                note_event(tx, car_id, "note", f"note {number}", {}, store.now())
        number += 1
    return number


def test_copies_taken_while_others_write_are_whole_on_a_new_machine(
    store: Store, tmp_path: Path, counted: Callable[..., None]
) -> None:
    with store.writing() as tx:
        cars = [add_car(tx, name=f"car {n}", currency="USD", at=store.now()).id for n in range(2)]
    stop = threading.Event()
    writers = [threading.Thread(target=write_on, args=(store, car, stop, 10_000 * car)) for car in cars]
    for writer in writers:
        writer.start()
    copies = []
    try:
        for number in range(6):
            time.sleep(0.05)
            copies.append((tmp_path / f"{number}.zip", write_archive(store, tmp_path / f"{number}.zip")))
    finally:
        stop.set()
        for writer in writers:
            writer.join()

    rows = 0
    for number, (path, manifest) in enumerate(copies):
        new_home = tmp_path / f"machine {number}"
        other = open_store(f"sqlite:///{new_home / 'driveout.db'}", new_home)
        assert restore(path, other)["missing"] == []
        other.close()
        other = ready_store(new_home, f"sqlite:///{new_home / 'driveout.db'}")
        again = write_archive(other, tmp_path / "again.zip")
        assert again["tables"] == manifest["tables"], "every table has the checksum it left with"
        with other.reading() as tx:
            assert broken_trails(tx) == {}
            assert strays(tx, new_home)[0] == {}, "no receipt without its photo"
        numbers_kept(other, cars[0])
        rows += sum(facts["rows"] for facts in again["tables"].values())
        other.close()
    counted("copies while others write", copies=len(copies), rows_proven=rows, broken=0)
    assert copies[-1][1]["tables"]["cars_event"]["rows"] > copies[0][1]["tables"]["cars_event"]["rows"]


def test_a_daily_copy_restores_beside_its_photos(store: Store, clock: Clock, tmp_path: Path) -> None:
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=store.now()).id
        photo = keep_photo(store.home, PICTURE)
        book_receipt(
            tx, car_id, "parts", Money(100, "USD"), "receipt 1", "", AT.date(), at=store.now(), photo=photo
        )
    path = keep_daily_copy(store)
    assert path is not None
    assert keep_daily_copy(store) is None, "one a day"
    assert path.stat().st_size < 100_000, "photos are not copied again each day"

    alone = open_store(f"sqlite:///{tmp_path / 'a.db'}", tmp_path / "a")
    assert restore(path, alone)["missing"] == [photo], "it is said which photos are to be brought along"
    beside = open_store(f"sqlite:///{tmp_path / 'b.db'}", store.home)
    assert restore(path, beside)["missing"] == []
    alone.close()
    beside.close()


def test_copies_are_kept_by_day_and_by_month(
    store: Store, clock: Clock, counted: Callable[..., None]
) -> None:
    keep_daily_copies(store)
    for _ in range(40):
        clock.forward(days=1)
        keep_daily_copy(store)

    days = list(daily_copies(store.home))
    last = clock.moment.date()
    assert days[-7:] == [last - timedelta(days=back) for back in range(6, -1, -1)]
    assert days[:-7] == [date(2026, 5, 31)]
    counted("daily copies", days=41, kept=len(days))


def test_while_serving_the_first_change_of_a_day_makes_a_copy(store: Store, clock: Clock) -> None:
    keep_daily_copies(store)
    clock.forward(days=1)
    with store.writing() as tx:
        add_car(tx, name="car", currency="USD", at=store.now())
    for thread in threading.enumerate():
        if thread.name == "daily copy":
            thread.join()

    assert list(daily_copies(store.home)) == [date(2026, 5, 4), date(2026, 5, 5)]


def test_a_copy_that_cannot_be_written_does_not_stop_the_work(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise StoreTrouble("The archive could not be written: no space.")

    monkeypatch.setattr("driveout.store.daily.write_archive", full)
    keep_daily_copies(store)
    with store.writing() as tx:
        assert add_car(tx, name="car", currency="USD", at=store.now()).id == 1
    assert "no space" in store.copy_trouble


def test_the_month_end_that_is_also_among_the_last_week_is_kept_once() -> None:
    days = [date(2026, 1, 28) + timedelta(days=n) for n in range(10)]

    assert outdated(days, days[-1]) == [date(2026, 1, 28), date(2026, 1, 29), date(2026, 1, 30)]


@pytest.mark.sqlite_only
def test_moving_house_by_command_is_proven(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("DRIVEOUT_DATABASE", raising=False)
    old, new = str(tmp_path / "old"), str(tmp_path / "new")
    store = ready_store(tmp_path / "old")
    with store.writing() as tx:
        add_car(tx, name="car", currency="USD", at=store.now())
    Attachments(store.home / "attachments").put(b"left by a loss of power")
    store.close()
    assert run(["--home", old, "backup", str(tmp_path / "a.zip")]) == 0
    assert run(["--home", new, "restore", str(tmp_path / "a.zip")]) == 0
    assert run(["--home", new, "check"]) == 0
    said = capsys.readouterr().out
    assert "every checksum agrees" in said
    assert "belong to nothing" in said
