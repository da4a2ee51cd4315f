"""The command ``book``: real argv, real exit codes, no record needed for one's own file."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from driveout import app
from driveout.cars.actions import add_car
from driveout.money import Journal, journal_csv, journal_yaml
from tests.money.judges import beancount_says, hledger_says, ledger_says
from tests.money.story import car_story


@dataclass(frozen=True)
class Done:
    """What one command line gave back."""

    returncode: int
    stdout: str
    stderr: str


def run(home: Path, *argv: str) -> Done:
    """Carry out a command line against a record in its own folder."""
    out, err = io.StringIO(), io.StringIO()
    before = os.environ.get("DRIVEOUT_HOME")
    os.environ["DRIVEOUT_HOME"] = str(home)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = app.run(list(argv))
    finally:
        os.environ.pop("DRIVEOUT_HOME")
        if before is not None:
            os.environ["DRIVEOUT_HOME"] = before
    return Done(code, out.getvalue(), err.getvalue())


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


@pytest.fixture
def story(tmp_path: Path) -> Path:
    path = tmp_path / "story.yaml"
    path.write_text(journal_yaml(Journal("USD", car_story())), encoding="utf-8")
    return path


def test_a_journal_of_ones_own_is_checked_without_making_a_record(home: Path, story: Path) -> None:
    done = run(home, "book", str(story), "--json")
    said = json.loads(done.stdout)

    assert done.returncode == 0, done.stderr
    # By hand, in tests/money/test_car_cost.py.
    assert said["cars"][0]["profit"] == "1556.16"
    assert said["cars"][0]["work_in_progress"] == "0.00"
    assert not home.exists() or not list(home.glob("*.db"))


def test_the_exports_satisfy_the_outside_programs(home: Path, story: Path, tmp_path: Path) -> None:
    bean = run(home, "book", str(story), "--export", "beancount").stdout
    plain = run(home, "book", str(story), "--export", "hledger").stdout

    assert beancount_says(bean)[1] == []
    assert hledger_says(plain, tmp_path)[1] == ""
    assert ledger_says(plain, tmp_path)[1] == ""


def test_a_csv_of_ours_is_read_back(home: Path, tmp_path: Path) -> None:
    path = tmp_path / "story.csv"
    path.write_text(journal_csv(car_story()), encoding="utf-8", newline="")

    assert "profit 1556.16 USD" in run(home, "book", str(path)).stdout


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("schema: driveout-journal/1\ncurrency: USD\nentries: [", r"bad\.yaml:\d"),
        ("schema: other/1\n", r"driveout-journal/1"),
        (
            "schema: driveout-journal/1\ncurrency: USD\nentries:\n  - day: 2026-05-04\n    what: x\n    postings:\n"
            "      - {account: 'Assets:Bank', amount: 1}\n      - {account: 'Assets:Cash', amount: -1.01}\n",
            r"bad\.yaml:4.*0\.01 USD too little",
        ),
    ],
)
def test_a_bad_file_is_refused_with_its_line(home: Path, tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(text, encoding="utf-8")
    done = run(home, "book", str(path))

    assert done.returncode == 1
    assert re.search(words, done.stdout + done.stderr)


def test_a_missing_file_and_an_unknown_export_are_refused(home: Path, story: Path) -> None:
    assert run(home, "book", "nowhere.yaml").returncode == 1
    assert run(home, "book", str(story), "--export", "xls").returncode == 1
    assert run(home, "book", "--import").returncode == 1


def test_a_file_is_brought_into_the_record_once(home: Path, story: Path) -> None:
    assert "no car number 1" in run(home, "book", str(story), "--import").stderr
    store = app.ready_store(home)
    with store.writing() as tx:
        add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=store.now())
    store.close()
    first = run(home, "book", str(story), "--import", "--json")
    again = run(home, "book", str(story), "--import", "--json")
    held = run(home, "book", "--json")

    assert json.loads(first.stdout)["booked"] == len(car_story()), first.stderr
    assert json.loads(again.stdout)["booked"] == 0
    assert json.loads(held.stdout)["cars"][0]["profit"] == "1556.16"
