"""The commands that invent: sample years and the comparison of ways of deciding."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from driveout.app import run


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))


@pytest.mark.sqlite_only
def test_sample_makes_a_record_of_its_own_that_is_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["sample", "--cars", "1", "--years", "0.5", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)

    assert made["made"]
    assert made["cars"] == 1
    assert run(["--home", made["home"], "check"]) == 0
    assert not (tmp_path / "home" / "driveout.db").exists()
    capsys.readouterr()
    assert run(["sample", "--json"]) == 0
    assert not json.loads(capsys.readouterr().out)["made"]


def test_simulate_compares_and_repeats(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["simulate", "--owners", "2", "--cars", "1", "--seed", "5", "--rule", "half-of-resale", "--json"]
    assert run(words) == 0
    first = json.loads(capsys.readouterr().out)
    assert run(words) == 0

    assert json.loads(capsys.readouterr().out) == first
    assert set(first["ways"]) == {"driveout", "half-of-resale"}
    assert first["ways"]["driveout"]["gain_of_driveout"]["per_hour"]["value"] == 0


def test_a_story_tells_what_was_decided_and_what_the_truth_was(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["simulate", "--cars", "1", "--seed", "5", "--story", "1"]) == 0
    told = capsys.readouterr().out

    assert "Would pay up to" in told
    assert "The truth: the seller would have taken" in told


@pytest.mark.parametrize(
    ("words", "says"), [(["--rule", "coin"], "no way of deciding"), (["--world", "flat"], "no world")]
)
def test_unknown_names_end_with_one(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["simulate", *words]) == 1
    assert says in capsys.readouterr().err
