"""A disk that is full, cannot be written or fails: a clear word, nothing lost, and work goes on afterwards."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from driveout.app import ready_store
from driveout.cars.actions import add_car
from driveout.errors import StoreTrouble
from tests.trials.full_disk import note
from tests.trials.killing import AT
from tests.trials.programs import answer_of, own_mounts


@pytest.mark.parametrize("how", ["mount", "limit"])
def test_a_full_disk_is_said_and_nothing_is_lost(
    tmp_path: Path, how: str, counted: Callable[..., None]
) -> None:
    words = own_mounts() if how == "mount" else ()
    found = answer_of("full_disk", tmp_path / "home", how if words else "limit", before=words)

    counted(f"disk full ({'a small disk' if words else 'limit of a file'})", **found)
    assert found == {"times full": 3, "writes refused": 15, "lost": 0, "halves": 0}


def test_a_disk_that_cannot_be_written_can_be_read(tmp_path: Path, counted: Callable[..., None]) -> None:
    # The superuser may write whatever the rights say, so there the disk itself is made read-only.
    words = own_mounts()
    assert words or os.geteuid() != 0
    found = answer_of("only_read", tmp_path / "home", "mount" if words else "rights", before=words)

    counted("disk that cannot be written", **found)
    assert found == {"pages read": 7, "writes refused": 2, "changed": 0}


def test_a_full_database_file_is_said_in_the_databases_own_words(tmp_path: Path) -> None:
    store = ready_store(tmp_path)
    with store.writing() as tx:
        add_car(tx, name="car", currency="USD", at=AT)
    with store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")

    with pytest.raises(StoreTrouble, match=r"disk is full.*Free some space"):
        for _ in range(100):
            note(store, 1, "x" * 10_000)
    store.close()


@pytest.mark.parametrize("damage", [b"not a database at all" * 200, b"\x00" * 9000])
def test_a_damaged_file_is_said_with_the_way_back(tmp_path: Path, damage: bytes) -> None:
    store = ready_store(tmp_path)
    store.close()
    with (tmp_path / "driveout.db").open("r+b") as file:
        file.write(damage)

    with pytest.raises(StoreTrouble, match="folder backups"):
        ready_store(tmp_path)


def test_changes_waiting_beside_a_record_that_cannot_be_written_are_not_ignored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ready_store(tmp_path).close()
    (tmp_path / "driveout.db-wal").write_bytes(b"waiting")
    monkeypatch.setattr(os, "access", lambda path, mode: False)

    with pytest.raises(StoreTrouble, match="Copy the whole folder"):
        ready_store(tmp_path)


def test_the_trial_notices_a_record_that_takes_half(tmp_path: Path) -> None:
    """Without a transaction around it, a full disk leaves half a receipt: the look for halves must find it."""
    store = ready_store(tmp_path)
    with sqlite3.connect(tmp_path / "driveout.db") as raw:
        raw.execute(
            "INSERT INTO money_entry (day, what, facts, booked_at) VALUES ('2026-05-04', 'x', '{}', '')"
        )
        raw.execute(
            "INSERT INTO money_posting (entry_id, place, account, amount, commodity) VALUES (1, 0, 'a', 5, 'USD')"
        )
    from tests.trials.killing import numbers_kept

    with pytest.raises(AssertionError, match="half a receipt"):
        numbers_kept(store, 1)
    store.close()
