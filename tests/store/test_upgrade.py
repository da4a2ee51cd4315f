"""A record of every released schema opens, keeps what it holds and goes on living."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from driveout.app import ready_store
from driveout.cars.actions import broken_trails, change_facts, list_cars, trail_of
from driveout.lessons.actions import result_of
from driveout.outlook.actions import newest_point
from driveout.store import open_store, restore, revision_of, write_archive
from driveout.store.schema import head

RECORDS = sorted((Path(__file__).parent / "upgrade").glob("*.db"))


def test_there_is_a_record_of_each_schema() -> None:
    versions = Path(__file__).parents[2] / "src" / "driveout" / "store" / "migrations" / "versions"
    assert [record.stem for record in RECORDS] == sorted(path.stem[1:5] for path in versions.glob("m*.py"))


@pytest.mark.parametrize("record", RECORDS, ids=lambda path: path.stem)
def test_a_record_of_an_earlier_schema_goes_on_living(record: Path, tmp_path: Path) -> None:
    shutil.copy(record, tmp_path / "driveout.db")
    before = open_store(f"sqlite:///{tmp_path / 'driveout.db'}", tmp_path)
    with before.reading() as tx:
        events = tx.scalar(sa.text("SELECT count(*) FROM cars_event"))
    assert revision_of(before) == record.stem
    before.close()

    store = ready_store(tmp_path)
    with store.reading() as tx:
        assert {car.name for car in list_cars(tx)} == {
            "Tarnwick Pipit 1.2, 2011",
            "Tarnwick Linnet 1.4, 2013, blue",
        }
        assert sum(len(trail_of(tx, car.id)) for car in list_cars(tx)) == events
        assert broken_trails(tx) == {}
        assert result_of(tx, 1).profit.text() == "1,197.70 USD"
        old = newest_point(tx, 2)
    with store.writing() as tx:
        change_facts(tx, 2, {"asking_minor": 125000}, at=store.now())
    with store.reading() as tx:
        new = newest_point(tx, 2)
    assert old is not None
    assert new is not None
    assert new.id != old.id
    store.close()


@pytest.mark.postgres
@pytest.mark.parametrize("record", RECORDS, ids=lambda path: path.stem)
def test_a_record_of_an_earlier_schema_moves_to_postgresql_and_is_brought_up_to_date_there(
    record: Path, tmp_path: Path, fresh_postgres: Callable[[], str]
) -> None:
    shutil.copy(record, tmp_path / "driveout.db")
    before = open_store(f"sqlite:///{tmp_path / 'driveout.db'}", tmp_path)
    manifest = write_archive(before, tmp_path / "a.zip")
    assert manifest["revision"] == record.stem
    url = fresh_postgres()
    crew = open_store(url, tmp_path / "crew")
    restore(tmp_path / "a.zip", crew)
    assert revision_of(crew) == head()
    crew.close()

    store = ready_store(tmp_path / "crew", url)
    with store.reading() as tx:
        events = sum(len(trail_of(tx, car.id)) for car in list_cars(tx))
        assert events == manifest["tables"]["cars_event"]["rows"]
        assert broken_trails(tx) == {}
        assert result_of(tx, 1).profit.text() == "1,197.70 USD"
    with store.writing() as tx:
        change_facts(tx, 2, {"asking_minor": 125000}, at=store.now())
    store.close()
    before.close()
