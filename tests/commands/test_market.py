"""The command ``appraise`` on what people really give it: real argv, real exit codes."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from driveout import app
from driveout.cars.actions import add_car


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))
    return tmp_path


@pytest.fixture
def car(home: Path) -> str:
    store = app.ready_store(home / "home")
    with store.writing() as tx:
        found = add_car(
            tx,
            name="Linnet",
            currency="USD",
            made_year=2013,
            mileage_km=141_000,
            at=datetime.now(UTC),
            stage="bought",
        )
    store.close()
    return str(found.id)


def test_adverts_in_a_text_file_are_appraised(
    home: Path, car: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "seen.txt").write_text("2013 Linnet\n$4,500, 82k miles\n\n2012 Linnet\n146,000 km $4,200\n")

    assert app.run(["appraise", car, str(home / "seen.txt")]) == 0
    said = capsys.readouterr().out
    assert "From 2 comparables" in said
    assert "faults usual at that age" in said
    assert "km a year; 2 comparable cars" in said


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("4500,-5,2013,,USD", "outside 0 to 2,000,000 km"),
        ("4500,90000,2013,2099-01-01,USD", "in the future"),
        ("4500,90000,2099,,USD", "in the future"),
        ("4500,90000,2013,,EUR", "this car is kept in USD"),
        ("4500,90000,2013,,XXQ", "XXQ"),
        ("0,90000,2013,,USD", "not above 0"),
    ],
)
def test_a_bad_row_ends_with_one_and_takes_nothing(
    home: Path, car: str, capsys: pytest.CaptureFixture[str], row: str, said: str
) -> None:
    (home / "comps.csv").write_text(f"price,km,year,seen,currency\n4400,95000,2013,,USD\n{row}\n")

    assert app.run(["appraise", car, str(home / "comps.csv")]) == 1
    assert said in capsys.readouterr().err
    assert app.run(["appraise", car]) == 1
    assert "no comparable" in capsys.readouterr().err


def test_a_table_of_a_million_rows_is_answered_in_a_sentence_at_once(
    home: Path, car: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "big.csv").write_bytes(b"price,km,year\n" + b"4000,90000,2013\n" * 1_000_000)
    began = time.perf_counter()

    assert app.run(["appraise", car, str(home / "big.csv")]) == 1
    assert "at most 50,000 are read" in capsys.readouterr().err
    assert time.perf_counter() - began < 10


def test_the_answer_for_programs_says_whose_value_it_is(
    home: Path, car: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "comps.csv").write_text("price,km,year\n4400,95000,2013\n4100,130000,2013\n3900,150000,2013\n")

    assert app.run(["appraise", car, str(home / "comps.csv"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["used"], found["refers_to"], found["own_models"]) == (3, "average", 0)
    assert any("one model year" in warning for warning in found["warnings"])
