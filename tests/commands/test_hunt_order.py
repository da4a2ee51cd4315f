"""The command order, from a table and from the record."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from driveout.app import run

TABLE = b"""name,asking,year,km,runs,value,distance_km,symptoms
Cheap near,300,2013,148000,runner,4400,10,
Cheap far,300,2013,148000,runner,4400,200,
Dear near,1200,2013,148000,runner,4400,10,
No value,900,2013,148000,runner,,10,
Bad,x,2013,148000,runner,4400,10,
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a.csv").write_bytes(TABLE)
    return tmp_path


def order(folder: Path, *words: object, code: int = 0) -> None:
    assert run(["--home", str(folder / "home"), "order", *map(str, words)]) == code


def as_json(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    return data


def test_a_table_is_put_in_order_without_a_record(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order(folder, folder / "a.csv", "--json")

    data = as_json(capsys)
    names = [v["name"] for v in data["visits"]]
    assert names[0] == "Cheap near"
    assert set(names) == {"Cheap near", "Cheap far", "Dear near"}
    assert [one["name"] for one in data["left_out"]] == ["No value"]
    assert len(data["bad_rows"]) == 1
    assert data["own_wage_minor"] is None
    assert "needs 5 at least" in data["own_wage_missing"]
    assert not (folder / "home").exists()


def test_the_round_fits_into_the_minutes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # 10 km both ways at 50 km/h and 1.5 h of looking: 1.9 h = 114 min; the far one takes 9.5 h.
    order(folder, folder / "a.csv", "--minutes", 228, "--json")

    day = as_json(capsys)["round"]
    assert day["cars"] == [2, 4]
    assert day["hours"] == pytest.approx(3.8)


def test_each_car_has_its_reason_in_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order(folder, folder / "a.csv")

    said = capsys.readouterr().out
    assert "stop 1 today. Go unless a car in hand already brings" in said
    assert "Not to be compared: No value" in said


def test_an_empty_record_has_no_car_to_compare(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order(folder, "--json")

    assert as_json(capsys)["visits"] == []


def test_options_for_a_table_are_refused_without_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order(folder, "--value", "4400", code=1)

    assert "go with a CSV" in capsys.readouterr().err


def test_a_table_too_long_to_weigh_closely_is_sent_to_sift(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "long.csv").write_bytes(b"asking,value\n" + b"300,4400\n" * 201)

    order(folder, folder / "long.csv", code=1)

    assert "Sift them first" in capsys.readouterr().err
