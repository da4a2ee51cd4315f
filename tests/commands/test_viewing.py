"""The commands decide and sheet with real arguments, files and exit codes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from driveout.app import ready_store, run
from tests.viewing import added

DOCUMENT = Path(__file__).parents[2] / "docs" / "formats" / "decision.md"


@pytest.fixture
def case(tmp_path: Path) -> Path:
    found = re.search(r"```yaml\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    path = tmp_path / "clutch.yaml"
    path.write_text(found[1], encoding="utf-8")
    return path


def test_the_documented_case_is_decided_from_the_command_line(
    case: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["decide", str(case), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)

    assert said["first_step"] == "road test"
    assert said["ceiling"] > said["ceiling_without_checks"]
    assert said["policy"]["schema"] == "driveout-policy/1"
    assert sum(said["profit"]["chances"]) == pytest.approx(1.0)


def test_another_price_gives_other_advice(case: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["decide", str(case), "--price", "2500"]) == 0

    assert "At 2,500.00 USD: walk." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("before", "after", "complaint"),
    [("0.55", "0.95", "sum to"), ("schema: driveout-decision/1", "schema: other/1", "driveout-decision/1")],
)
def test_a_bad_case_is_refused_with_exit_code_1_and_its_line(
    case: Path, capsys: pytest.CaptureFixture[str], before: str, after: str, complaint: str
) -> None:
    case.write_text(case.read_text(encoding="utf-8").replace(before, after), encoding="utf-8")
    assert run(["decide", str(case), "--json"]) == 1
    said = json.loads(capsys.readouterr().out)

    assert complaint in said["error"]["message"]
    assert re.search(r"clutch\.yaml:\d+", said["error"]["place"])


def test_a_file_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["decide", str(tmp_path / "none.yaml")]) == 1

    assert "cannot be read" in capsys.readouterr().err


def test_the_sheet_of_a_car_is_written_to_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = tmp_path / "home"
    store = ready_store(home)
    car = added(store)
    store.close()
    out = tmp_path / "viewing.html"
    command = ["--home", str(home), "sheet", str(car), "--out", str(out), "--checks", "4", "--json"]
    assert run(command) == 0
    said = json.loads(capsys.readouterr().out)

    assert said["bytes"] == out.stat().st_size
    assert "driveout-sheet/2" in out.read_text(encoding="utf-8")
    assert run([*command[:-2], "40"]) == 1
    assert (
        run(
            [
                "--home",
                str(home),
                "sheet",
                str(car),
                "--out",
                str(tmp_path / "no" / "x.html"),
                "--checks",
                "3",
            ]
        )
        == 1
    )


def test_a_viewing_over_faults_is_planned_from_a_file_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blocks = re.findall(r"```yaml\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    path = tmp_path / "viewing.yaml"
    path.write_text(next(block for block in blocks if "driveout-viewing/1" in block), encoding="utf-8")
    assert run(["decide", str(path), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert run(["decide", str(path), "--price", "2300"]) == 0

    assert said["first_step"] == "gas_in_coolant"
    assert said["left_out"] == []
    assert said["most_value"] == said["value"] > said["value_without_checks"]
    assert "At 2,300.00 USD: walk." in capsys.readouterr().out
