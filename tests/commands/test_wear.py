"""The command ``driveout wear FILE``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from driveout.app import run

FILE = """schema: driveout-limits/1
car: {on: 2026-10-01, made_year: 2013}
limits:
  - {quantity: lining_mm, least: "2.0 mm", origin: "workshop manual, page 12"}
readings:
  - {topic: corner, spot: front left, pad_inner: 1.8 mm, pad_outer: 4/32}
"""


def test_a_file_is_judged_and_the_limit_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(FILE)

    assert run(["wear", str(path)]) == 0
    out = capsys.readouterr().out
    assert "PAST THE LIMIT: Pads front left" in out
    assert "maker: at least 2.0 mm" in out
    assert "rep_brake_front" in out


def test_the_same_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(FILE)

    assert run(["wear", str(path), "--json", "--on", "2026-10-02"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["verdicts"][0]["decided_by"]["source"] == "workshop manual, page 12"
    assert data["findings"]["w_brake_visual"]["positive"] is True


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("1.8 mm", "0.07", "own.yaml:6"),
        ("corner", "wheel", "own.yaml:6"),
        ("least", "about", "own.yaml:4"),
        ("/1\n", "/2\n", "own.yaml:1"),
    ],
)
def test_a_bad_file_exits_with_one_and_names_line_and_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, place: str
) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(FILE.replace(old, new))

    assert run(["wear", str(path), "--json"]) == 1
    assert place in json.loads(capsys.readouterr().out)["error"]["place"]


def test_a_missing_file_and_a_bad_day_exit_with_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(FILE)

    assert run(["wear", str(tmp_path / "none.yaml")]) == 1
    assert run(["wear", str(path), "--on", "soon"]) == 1
    assert "no day" in capsys.readouterr().err
