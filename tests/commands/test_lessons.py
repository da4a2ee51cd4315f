"""The command ``lessons`` on one's own history, and the format page's example."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from driveout.lessons import read_lessons
from tests.commands.test_money import run

PAGE = Path(__file__).parents[2] / "docs/formats/lessons.md"


def example() -> str:
    found = re.search(
        r"```yaml\n(schema: driveout-lessons/1.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL
    )
    assert found
    return found.group(1)


def test_the_example_of_the_format_page_is_read_and_corrects_the_next_estimate(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(example(), encoding="utf-8")
    done = run(tmp_path / "home", "lessons", "--file", str(path), "--json")
    said = json.loads(done.stdout)

    assert done.returncode == 0, done.stderr
    assert said["next"][0]["corrected"][1] > said["next"][0]["said"][1]
    assert {cover["says"] for cover in said["calibration"]["coverage"]} == {
        "3 of the 20 jobs needed before anything can be said"
    }


def test_the_history_comes_back_out_of_the_record_or_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(example(), encoding="utf-8")
    out = run(tmp_path / "home", "lessons", "--file", str(path), "--export").stdout

    assert read_lessons(out, "again.yaml").taught == read_lessons(example(), "mine.yaml").taught


def test_an_empty_record_claims_nothing(tmp_path: Path) -> None:
    done = run(tmp_path / "home", "lessons")

    assert done.returncode == 0, done.stderr
    assert "No comparisons yet" in done.stdout


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("actual: 6.5", "actual: -1", r"mine\.yaml:\d+ jobs\.0\.actual"),
        ("actual: 6.5", "actual: long", "a number above 0"),
        ("measure: hours", "measure: miles", "not a measure"),
        ("kind: clutch", "sort: clutch", "not a key"),
        ("[3, 4, 7]", "[7, 4, 3]", "out of order"),
        ("jobs:", "jbos:", "not a key"),
    ],
)
def test_bad_rows_name_file_line_and_key(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(example().replace(old, new, 1), encoding="utf-8")
    done = run(tmp_path / "home", "lessons", "--file", str(path))

    assert done.returncode == 1
    assert re.search(words, done.stdout + done.stderr)
