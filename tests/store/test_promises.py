"""What the record promises, held on both engines."""

from __future__ import annotations

import importlib.util
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from driveout.app import PARTS, ready_store
from driveout.cars import actions, records
from driveout.errors import BadEntry, Conflict, DriveoutError, StoreTrouble
from driveout.store import Attachments, Store, metadata, missing_guards, open_store, restore, write_archive


def a_car(store: Store, name: str = "Linnet") -> int:
    with store.writing() as tx:
        return actions.add_car(tx, name=name, currency="USD", at=store.now()).id


def test_a_refused_action_leaves_nothing_behind(either_store: Store) -> None:
    with pytest.raises(BadEntry, match="name"), either_store.writing() as tx:
        actions.add_car(tx, name="first", currency="USD", at=either_store.now())
        actions.add_car(tx, name="  ", currency="USD", at=either_store.now())

    with either_store.reading() as tx:
        assert actions.list_cars(tx) == []


def test_the_later_of_two_windows_sees_a_conflict(either_store: Store) -> None:
    car_id = a_car(either_store)
    with either_store.writing() as tx:
        actions.change_facts(tx, car_id, {"colour": "red"}, at=either_store.now(), version=1)

    with pytest.raises(Conflict, match="another window"), either_store.writing() as tx:
        actions.change_facts(tx, car_id, {"colour": "blue"}, at=either_store.now(), version=1)
    with either_store.reading() as tx:
        assert actions.get_car(tx, car_id).facts["colour"] == "red"


@pytest.mark.parametrize("statement", ["UPDATE cars_event SET summary = 'x'", "DELETE FROM cars_event"])
def test_the_trail_cannot_be_changed(either_store: Store, statement: str) -> None:
    a_car(either_store)

    with pytest.raises(StoreTrouble, match="only grows"), either_store.writing() as tx:
        tx.execute(sa.text(statement))


def test_a_trail_proves_itself_and_shows_tampering(either_store: Store) -> None:
    car_id = a_car(either_store)
    with either_store.writing() as tx:
        actions.change_stage(tx, car_id, "viewing", either_store.now())
        assert actions.broken_trails(tx) == {}
        values = {"car_id": car_id, "seq": 3, "at": either_store.now(), "kind": "x", "summary": "slipped in"}
        tx.execute(sa.insert(records.cars_event).values(**values, data={}, previous="", digest="0" * 64))

    with either_store.reading() as tx:
        assert actions.broken_trails(tx) == {car_id: 3}


def test_many_writers_at_once_lose_nothing(either_store: Store) -> None:
    car_id = a_car(either_store)
    refused: list[DriveoutError] = []

    def write(number: int) -> None:
        for step in range(5):
            while True:
                try:
                    with either_store.writing() as tx:
                        actions.note_event(tx, car_id, "note", f"{number}.{step}", {}, either_store.now())
                    break
                except (Conflict, StoreTrouble) as error:
                    refused.append(error)
                    time.sleep(0.01)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with either_store.reading() as tx:
        assert len(actions.trail_of(tx, car_id)) == 21
        assert actions.broken_trails(tx) == {}


def test_an_archive_out_and_in_is_the_same_record(either_store: Store, tmp_path: Path) -> None:
    car_id = a_car(either_store, "Linnet größer 😀")
    Attachments(either_store.home / "attachments").put(b"a photo")
    manifest = write_archive(either_store, tmp_path / "a.zip")

    other = open_store(f"sqlite:///{tmp_path / 'other.db'}", tmp_path / "other")
    restore(tmp_path / "a.zip", other)
    again = write_archive(other, tmp_path / "b.zip")

    assert again["tables"] == manifest["tables"]
    assert list(Attachments(tmp_path / "other" / "attachments").names())
    with other.reading() as tx:
        assert actions.get_car(tx, car_id).name == "Linnet größer 😀"


def test_an_archive_moves_from_the_file_to_postgresql(
    store: Store, tmp_path: Path, fresh_postgres: Callable[[], str]
) -> None:
    a_car(store)
    manifest = write_archive(store, tmp_path / "a.zip")

    crew = open_store(fresh_postgres(), tmp_path / "crew")
    restore(tmp_path / "a.zip", crew)
    assert write_archive(crew, tmp_path / "b.zip")["tables"] == manifest["tables"]
    with crew.writing() as tx:
        assert actions.add_car(tx, name="next", currency="USD", at=crew.now()).id == 2
    crew.close()


def test_a_restore_never_overwrites(store: Store, tmp_path: Path) -> None:
    a_car(store)
    write_archive(store, tmp_path / "a.zip")

    with pytest.raises(StoreTrouble, match="not empty"):
        restore(tmp_path / "a.zip", store)


def test_a_damaged_archive_is_refused_by_its_checksum(store: Store, tmp_path: Path) -> None:
    a_car(store)
    write_archive(store, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as good, zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
        for name in good.namelist():
            bad.writestr(name, good.read(name).replace(b"Linnet", b"Linnot"))

    with pytest.raises(BadEntry, match="checksum"):
        restore(tmp_path / "bad.zip", open_store("sqlite://", tmp_path / "x"))


@pytest.mark.parametrize("data", [b"", b"no zip", b"PK\x05\x06" + b"\x00" * 18])
def test_what_is_no_archive_is_refused(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(data)

    with pytest.raises(BadEntry, match="not a whole driveout archive"):
        restore(tmp_path / "a.zip", open_store("sqlite://", tmp_path / "x"))


def test_a_backup_while_others_write_is_one_consistent_state(store: Store, tmp_path: Path) -> None:
    car_id = a_car(store)
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            with store.writing() as tx:
                actions.note_event(tx, car_id, "note", "x", {}, store.now())

    writer = threading.Thread(target=write)
    writer.start()
    try:
        write_archive(store, tmp_path / "a.zip")
    finally:
        stop.set()
        writer.join()
    other = open_store(f"sqlite:///{tmp_path / 'o.db'}", tmp_path / "o")
    restore(tmp_path / "a.zip", other)
    with other.reading() as tx:
        assert actions.broken_trails(tx) == {}


def test_a_writer_killed_in_the_middle_loses_only_what_was_not_confirmed(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from driveout.app import PARTS, ready_store; from driveout.cars import actions\n"
        "s = ready_store(Path(sys.argv[1]))\n"
        "with s.writing() as tx: car = actions.add_car(tx, name='k', currency='USD', at=s.now()).id\n"
        "for i in range(100000):\n"
        "    with s.writing() as tx: actions.note_event(tx, car, 'note', str(i), {}, s.now())\n"
        "    print(i, flush=True)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        confirmed = [int(writer.stdout.readline()) for _ in range(15)]
        writer.send_signal(signal.SIGKILL)
        confirmed += [int(line) for line in writer.stdout if line.endswith("\n")]

    store = ready_store(tmp_path)
    with store.reading() as tx:
        notes = [event for event in actions.trail_of(tx, 1) if event.kind == "note"]
        assert len(notes) in (len(confirmed), len(confirmed) + 1)
        assert actions.broken_trails(tx) == {}


def test_attachments_are_found_by_content_and_prove_themselves(tmp_path: Path) -> None:
    kept = Attachments(tmp_path)
    name = kept.put(b"photo")

    assert kept.put(b"photo") == name
    assert kept.get(name) == b"photo"
    (tmp_path / name[:2] / name).write_bytes(b"other")
    with pytest.raises(StoreTrouble, match="damaged"):
        kept.get(name)
    with pytest.raises(BadEntry, match="not the name"):
        kept.get("../../etc/passwd")


def test_a_record_from_a_newer_version_is_not_touched(tmp_path: Path) -> None:
    ready_store(tmp_path).close()
    with sqlite3.connect(tmp_path / "driveout.db") as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(StoreTrouble, match="does not know"):
        ready_store(tmp_path)


def test_an_unknown_address_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(StoreTrouble, match="not supported"):
        open_store("mysql://x", tmp_path)
    with pytest.raises(StoreTrouble, match="cannot be opened"):
        open_store("nonsense", tmp_path)


def test_missing_guards_are_noticed_at_the_start(tmp_path: Path) -> None:
    ready_store(tmp_path).close()
    with sqlite3.connect(tmp_path / "driveout.db") as raw:
        raw.execute("DROP TRIGGER cars_event_no_update")

    with pytest.raises(StoreTrouble, match="cars_event"):
        ready_store(tmp_path)


def test_the_migrations_make_what_the_parts_declare(either_store: Store) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    for part in PARTS:
        if importlib.util.find_spec(f"driveout.{part}.records"):
            importlib.import_module(f"driveout.{part}.records")
    with either_store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
    assert missing_guards(either_store) == []
