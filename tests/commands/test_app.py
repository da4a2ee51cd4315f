"""The command line as such: exit codes, one error shape, --json anywhere."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import driveout
from driveout.app import run


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))


@pytest.mark.parametrize(
    "words", [["frobnicate"], ["weigh", "--no-such-option"], ["backup"], ["serve", "--port", "0"]]
)
def test_wrong_usage_ends_with_two_and_the_one_error_shape(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*words, "--json"]) == 2

    assert json.loads(capsys.readouterr().out)["error"]["kind"] == "usage"


def test_a_refused_entry_ends_with_one_and_names_the_field(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    advert = tmp_path / "advert.yaml"
    advert.write_text("schema: driveout-advert/1\nname: x\ncurrency: USD\nasking: -5\n")

    assert run(["--json", "weigh", str(advert)]) == 1
    error = json.loads(capsys.readouterr().out)["error"]
    assert "-5" in error["message"]
    assert error["place"].startswith("advert.yaml:4")


def test_a_missing_file_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["weigh", "nowhere.yaml"]) == 1

    assert "nowhere.yaml" in capsys.readouterr().err


def test_backup_and_restore_go_there_and_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo", "--no-serve"]) == 0
    home = tmp_path / "home"
    assert run(["--home", str(home / "demo"), "backup", str(tmp_path / "a.zip"), "--json"]) == 0
    assert run(["--home", str(tmp_path / "other"), "restore", str(tmp_path / "a.zip")]) == 0
    assert run(["--home", str(tmp_path / "other"), "check"]) == 0
    assert "every checksum agrees" in capsys.readouterr().out


@pytest.mark.sqlite_only
def test_a_restore_into_a_record_with_cars_is_trouble(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["demo", "--no-serve"]) == 0
    demo = ["--home", str(tmp_path / "home" / "demo")]
    assert run([*demo, "backup", str(tmp_path / "a.zip")]) == 0

    assert run([*demo, "restore", str(tmp_path / "a.zip"), "--json"]) == 2
    assert "not empty" in capsys.readouterr().out


def test_the_four_questions_can_be_asked_without_a_record() -> None:
    assert all(callable(getattr(driveout, name)) for name in driveout.__all__)
    with pytest.raises(AttributeError, match="no_such"):
        driveout.no_such  # noqa: B018


def test_every_command_is_named_in_its_page() -> None:
    from typer.main import get_command

    from driveout.app import command_line

    page = (Path(__file__).parents[2] / "docs" / "commands.md").read_text()
    missing = [name for name in get_command(command_line()).commands if f"`driveout {name}" not in page]  # type: ignore[attr-defined]
    assert not missing
