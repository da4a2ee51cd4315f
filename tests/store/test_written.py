"""Values remembered beside what they were made from."""

from pathlib import Path

import pytest
import sqlalchemy as sa

from driveout.app import ready_store
from driveout.cars.actions import add_car, change_facts, get_car, list_cars
from driveout.outlook.actions import newest_point
from driveout.store import Store, Tx, remembered


def _names(tx: Tx, looks: list[str]) -> str:
    def build() -> str:
        looks.append("")
        return " ".join(car.name for car in list_cars(tx))

    return remembered(tx, "names", build, tables=("cars_car",))


def _km(tx: Tx, car_id: int, looks: list[str]) -> int | None:
    def build() -> int | None:
        looks.append("")
        return get_car(tx, car_id).mileage_km

    return remembered(tx, ("km", car_id), build, car=car_id)


def test_an_unchanged_record_is_looked_at_once(either_store: Store) -> None:
    looks: list[str] = []
    with either_store.writing() as tx:
        add_car(tx, name="Linnet 1.4", currency="USD", at=either_store.now())
    for _ in range(3):
        with either_store.reading() as tx:
            assert _names(tx, looks) == "Linnet 1.4"
    assert len(looks) == 1


def test_a_new_row_is_seen_within_its_transaction_and_after(either_store: Store) -> None:
    looks: list[str] = []
    with either_store.reading() as tx:
        assert _names(tx, looks) == ""
    with either_store.writing() as tx:
        assert _names(tx, looks) == ""
        add_car(tx, name="Pipit", currency="USD", at=either_store.now())
        assert _names(tx, looks) == "Pipit"
    with either_store.reading() as tx:
        assert _names(tx, looks) == "Pipit"


def test_what_was_given_up_is_not_remembered(either_store: Store) -> None:
    looks: list[str] = []
    with pytest.raises(RuntimeError), either_store.writing() as tx:
        add_car(tx, name="Pipit", currency="USD", at=either_store.now())
        assert _names(tx, looks) == "Pipit"
        raise RuntimeError
    with either_store.reading() as tx:
        assert _names(tx, looks) == ""


def test_a_change_of_one_car_forgets_that_car_only(either_store: Store) -> None:
    looks: list[str] = []
    with either_store.writing() as tx:
        first = add_car(tx, name="Linnet 1.4", currency="USD", at=either_store.now()).id
        second = add_car(tx, name="Pipit", currency="USD", at=either_store.now()).id
    with either_store.reading() as tx:
        assert (_km(tx, first, looks), _km(tx, second, looks)) == (None, None)
    with either_store.writing() as tx:
        change_facts(tx, first, {"mileage_km": 120_500}, at=either_store.now())
    with either_store.reading() as tx:
        assert (_km(tx, first, looks), _km(tx, second, looks)) == (120_500, None)
    assert len(looks) == 3


def test_a_write_that_names_no_car_forgets_every_car(either_store: Store) -> None:
    looks: list[str] = []
    with either_store.writing() as tx:
        car = add_car(tx, name="Linnet 1.4", currency="USD", at=either_store.now()).id
    with either_store.reading() as tx:
        _km(tx, car, looks)
    with either_store.writing() as tx:
        tx.execute(sa.text("UPDATE cars_car SET mileage_km = 99000"))
    with either_store.reading() as tx:
        assert _km(tx, car, looks) == 99_000


def test_what_another_process_writes_is_seen(tmp_path: Path) -> None:
    # A second opened record has its own memory, as a second process has.
    looks: list[str] = []
    here, there = ready_store(tmp_path), ready_store(tmp_path)
    with here.reading() as tx:
        assert _names(tx, looks) == ""
    with there.writing() as tx:
        add_car(tx, name="Pipit", currency="USD", at=there.now())
    with here.reading() as tx:
        assert _names(tx, looks) == "Pipit"
    with there.writing() as tx:
        add_car(tx, name="Linnet 1.4", currency="USD", at=there.now())
    with here.reading() as tx:
        assert _names(tx, looks) == "Linnet 1.4 Pipit"
    here.close()
    there.close()


def test_what_was_read_before_the_outlook_was_renewed_is_not_kept(tmp_path: Path) -> None:
    # The point of the outlook is written after the last fact, just before the commit.
    store = ready_store(tmp_path)
    with store.writing() as tx:
        car = add_car(tx, name="Linnet 1.4", currency="USD", at=store.now()).id
        assert newest_point(tx, car) is None
    with store.reading() as tx:
        assert newest_point(tx, car) is not None
    store.close()
