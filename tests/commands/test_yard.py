"""The commands ``today``, ``yard`` and taking in a colleague's lessons."""

from __future__ import annotations

import json
from pathlib import Path

from tests.commands.test_lessons import example
from tests.commands.test_money import run


def test_the_demo_yard_has_a_list_for_today_and_a_word_for_each_car(tmp_path: Path) -> None:
    home = tmp_path / "home"
    run(home, "demo", "--no-serve")
    demo = home / "demo" if (home / "demo").is_dir() else home
    done = run(demo, "today", "8", "--daylight", "8", "--json")
    said = json.loads(done.stdout)

    assert done.returncode == 0, done.stderr
    assert said["is_exact"]
    assert said["worth_minor"] == sum(row["worth_minor"] for row in said["list"])
    told = run(demo, "yard", "--json")
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout)["cars"] == []


def test_hours_that_do_not_fit_into_a_day_are_refused(tmp_path: Path) -> None:
    done = run(tmp_path / "home", "today", "30")

    assert done.returncode == 1
    assert "do not fit into a day" in done.stderr


def test_a_colleagues_file_is_taken_in_with_a_weight(tmp_path: Path) -> None:
    path = tmp_path / "theirs.yaml"
    path.write_text(example(), encoding="utf-8")
    done = run(tmp_path / "home", "lessons", "--take-in", str(path), "--weight", "0.5", "--json")

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["weight"] == 0.5
    refused = run(tmp_path / "home", "lessons", "--take-in", str(path), "--weight", "2")
    assert refused.returncode == 1
    assert "outside 0 to 1" in refused.stderr
