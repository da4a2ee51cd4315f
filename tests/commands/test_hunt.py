"""The commands weigh, read-advert and sift with real arguments, files and exit codes."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from driveout.app import run
from driveout.files import csv_table
from driveout.hunt import commands
from driveout.hunt.setting import Setting
from driveout.hunt.sift import chunks_of, sift_chunk
from driveout.outlook import Rules
from tests.hunt.test_sift import SHEET, many_adverts

ADVERT = """\
schema: driveout-advert/1
name: Linnet 1.4
asking: 1650
made_year: 2013
mileage: 148000 km
title: clean
runs: sick
clean_value: {low: 3900, likely: 4400, high: 4900}
symptoms: [say_clutch, say_loses_coolant]
"""
TEXT = (
    "2013 Tarnwick Linnet 1.4, 92k miles. Clutch slips and it loses coolant. Clean title in hand. $1,650 obo."
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "advert.yaml").write_text(ADVERT, encoding="utf-8")
    (tmp_path / "advert.txt").write_text(TEXT, encoding="utf-8")
    (tmp_path / "many.csv").write_bytes(SHEET)
    return tmp_path


def call(folder: Path, *words: object, code: int = 0) -> int:
    found = run(["--home", str(folder / "home"), *map(str, words)])
    assert found == code
    return found


def as_json(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    return data


def test_an_advert_file_is_weighed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call(folder, "weigh", folder / "advert.yaml")

    said = capsys.readouterr().out
    assert "Walk away" in said
    assert "Probable faults" in said
    assert "Clutch worn" in said


def test_the_same_advert_as_file_and_as_text_gives_the_same_cents(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "twin.yaml").write_text(
        ADVERT.replace("148000 km", "148060 km"), encoding="utf-8"
    )  # 92,000 miles
    call(folder, "weigh", folder / "twin.yaml", "--json")
    by_file = as_json(capsys)

    call(folder, "weigh", folder / "advert.txt", "--value", "3900,4400,4900", "--json")
    by_text = as_json(capsys)

    assert by_text["walk_away_minor"] == by_file["walk_away_minor"]
    assert by_text["outlook"]["profit_minor"] == by_file["outlook"]["profit_minor"]


def test_own_rules_move_the_walk_away_price(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "rules.yaml").write_text(
        "schema: driveout-rules/1\nchosen: [wage]\nwage_per_hour: 0\n", encoding="utf-8"
    )
    call(folder, "weigh", folder / "advert.yaml", "--json")
    shipped = as_json(capsys)

    call(folder, "weigh", folder / "advert.yaml", "--rules", folder / "rules.yaml", "--json")
    own = as_json(capsys)

    assert own["binding_rule"] == "wage"
    assert own["walk_away_minor"] > shipped["walk_away_minor"]


def test_an_own_network_is_weighed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "net.yaml").write_text(
        """\
schema: driveout-network/1
causes:
  drv_clutch_worn: {name: Clutch worn, prior: 0.5}
findings:
  say_clutch:
    name: The advert says the clutch slips
    kind: advert
    mention: 0.5
    shows: {drv_clutch_worn: 0.8}
    false_alarm: 0.1
""",
        encoding="utf-8",
    )
    (folder / "own.yaml").write_text(
        ADVERT.replace("symptoms: [say_clutch, say_loses_coolant]", "symptoms: [say_clutch]"),
        encoding="utf-8",
    )

    call(folder, "weigh", folder / "own.yaml", "--network", folder / "net.yaml", "--json")

    data = as_json(capsys)
    # Bayes by hand, each way of stating it thinned by the mention: 0.8 and 0.1 become 0.4 and 0.05;
    # 1 - 0.95 * 0.6 = 0.43, so 0.5 * 0.43 / (0.5 * 0.43 + 0.5 * 0.05).
    assert data["causes"][0]["chance"] == pytest.approx(0.43 / 0.48, abs=1e-12)


def test_a_car_case_of_ones_own_is_weighed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # One fault at 0.25 that costs 400 for sure, value 2000 for sure: the mean profit before any
    # price is 2000 - 100, and with the wage rule alone and no hours so is the walk-away price.
    (folder / "case.yaml").write_text(
        """\
schema: driveout-car-case/1
name: One fault
currency: USD
value: [2000, 2000, 2000]
chances: {clutch: 0.25}
costs:
  clutch: {label: Clutch, money: 400}
rules: {chosen: [wage], wage_per_hour: 15}
""",
        encoding="utf-8",
    )

    call(folder, "weigh", "--case", folder / "case.yaml", "--json")

    data = as_json(capsys)
    assert data["walk_away_minor"] == pytest.approx(190_000, abs=1)


def test_an_advert_and_a_case_together_or_neither_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call(folder, "weigh", code=1)
    call(folder, "weigh", folder / "advert.yaml", "--case", folder / "advert.yaml", code=1)

    assert capsys.readouterr().err.count("one of both") == 2


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("schema: driveout-advert/1\nasking: -5\n", "outside 0 to"),
        ("schema: driveout-advert/1\nasking: [\n", "torn"),
        ("schema: driveout-advert/1\nsymptoms: [say_cluch]\n", "Did you mean say_clutch"),
        ("schema: driveout-advert/1\nasking: 5\n", "No value of the mended car"),
    ],
)
def test_a_bad_advert_is_refused_with_exit_1_and_the_one_error_shape(
    folder: Path, capsys: pytest.CaptureFixture[str], content: str, message: str
) -> None:
    (folder / "bad.yaml").write_text(content, encoding="utf-8")

    call(folder, "weigh", folder / "bad.yaml", "--json", code=1)

    assert message in as_json(capsys)["error"]["message"]


def test_a_missing_file_and_a_bad_value_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call(folder, "weigh", folder / "nowhere.yaml", code=1)
    call(folder, "weigh", folder / "advert.yaml", "--value", "1,2", code=1)

    said = capsys.readouterr().err
    assert "cannot be read" in said
    assert "one amount or LOW,LIKELY,HIGH" in said


def test_what_is_read_is_shown_with_its_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call(folder, "read-advert", folder / "advert.txt")

    said = capsys.readouterr().out
    assert '<- "$1,650"' in said
    assert "say_clutch" in said


def test_a_table_is_sifted_and_bad_rows_are_shown_together(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call(folder, "sift", folder / "many.csv", "--out", folder / "result.csv", "--workers", 1)

    said = capsys.readouterr().out
    assert "4 adverts weighed" in said
    assert "4 entries cannot be used" in said
    with (folder / "result.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [row["rank"] for row in rows] == ["1", "2", "3", "4"]
    assert rows[0]["name"] == "Linnet C"
    assert rows[0]["reason"]
    assert not (folder / "result.csv.part").exists()


def test_a_table_of_only_bad_rows_is_refused_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "bad.csv").write_bytes(b"asking,year\nx,2013\n5,1700\n")

    call(folder, "sift", folder / "bad.csv", "--out", folder / "r.csv", "--workers", 1, "--json", code=1)

    assert len(as_json(capsys)["error"]["entries"]) == 2
    assert not (folder / "r.csv").exists()


def test_a_stopped_run_goes_on_and_ends_with_the_same_file(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(commands, "chunks_of", lambda table, size=3: chunks_of(table, 3))
    table = folder / "long.csv"
    table.write_bytes(many_adverts(8))
    whole, resumed = folder / "whole.csv", folder / "resumed.csv"
    call(folder, "sift", table, "--out", whole, "--workers", 1)

    # The part file of a run that was killed in the middle of writing its second piece.
    pieces = chunks_of(csv_table(table.read_bytes(), table.name), 3)
    today = datetime.now(UTC).date()
    first = sift_chunk(pieces[0], Setting(Rules()), today)
    second = sift_chunk(pieces[1], Setting(Rules()), today)
    mark = commands.mark_of(table.read_bytes(), Rules(), None, today, (b"", b"", b"", b"200"))
    part = commands.part_file(resumed)
    part.write_text(
        json.dumps({"mark": mark})
        + "\n"
        + commands.piece_line("close 0", first)
        + commands.piece_line("close 1", second)[:200],
        encoding="utf-8",
    )

    call(folder, "sift", table, "--out", resumed, "--workers", 1, "--resume")

    assert resumed.read_bytes() == whole.read_bytes()
    capsys.readouterr()


def test_a_part_file_of_another_table_is_not_resumed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = folder / "r.csv"
    (folder / "r.csv.part").write_text('{"mark": "something else"}\n', encoding="utf-8")

    call(folder, "sift", folder / "many.csv", "--out", out, "--workers", 1, "--resume", code=1)

    assert "belongs to another table" in capsys.readouterr().err
    assert not out.exists()


def test_a_long_table_gets_a_first_look_and_its_best_rows_a_close_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, out = folder / "long.csv", folder / "r.csv"
    table.write_bytes(many_adverts(12))

    call(folder, "sift", table, "--out", out, "--workers", 1, "--closely", 3)

    with out.open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 12
    assert sum(row["weighed"] == "closely" for row in rows) == 3
    assert all(row["reason"] for row in rows)
    capsys.readouterr()
