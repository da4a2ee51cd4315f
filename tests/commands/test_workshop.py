"""strip and torque, with real words and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from driveout.app import run

OWN = """schema: driveout-assembly/1
id: lamp
name: Lamp
parts: {body: {name: body, fixed: true}, lamp: {name: lamp}}
links: {screws: {kind: screw, part: lamp, to: body, count: 2, needed_by: road_test}}
"""


def answer(words: list[str], capsys: pytest.CaptureFixture[str]) -> dict:
    assert run([*words, "--json"]) == 0
    data: dict = json.loads(capsys.readouterr().out)
    return data


def test_a_shipped_assembly_is_planned(capsys: pytest.CaptureFixture[str]) -> None:
    plan = answer(["strip", "clutch_front_drive", "--target", "clutch"], capsys)

    assert plan["targets"] == ["clutch"]
    assert any(task["id"] == "hold:strip:draw" for task in plan["tasks"])
    assert any(row["what"] == "clutch kit" for row in plan["renewals"])


def test_an_own_file_is_planned(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "lamp.yaml"
    file.write_text(OWN)

    assert answer(["strip", str(file), "--target", "lamp"], capsys)["released"] == ["screws", "lamp"]


def test_the_plan_in_words_shows_cautions_reasons_and_hold_points(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["strip", "clutch_front_drive", "--target", "clutch"]) == 0
    text = capsys.readouterr().out

    assert "CAUTION Jack and stands" in text
    assert "What still holds it?" in text
    assert "Because it holds the undertray." in text


def test_without_arguments_the_assemblies_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert "head_and_timing" in answer(["strip"], capsys)["assemblies"]


def test_circular_access_is_refused_with_both_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "circle.yaml"
    file.write_text(OWN.replace("count: 2", "count: 2, after: [lamp]"))

    assert run(["strip", str(file), "--target", "lamp", "--json"]) == 1
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["kind"] == "cannot say"
    assert "lamp and screws each wait for the other" in error["message"]


def test_a_missing_file_and_a_wrong_target_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["strip", "nowhere.yaml", "--target", "x"]) == 1
    assert "cannot be read" in capsys.readouterr().err
    assert run(["strip", "cooling", "--target", "engine", "--json"]) == 1
    assert "water_pump" in json.loads(capsys.readouterr().out)["error"]["allowed"]


def test_a_torque_is_checked_and_given_in_both_units(capsys: pytest.CaptureFixture[str]) -> None:
    checked = answer(
        ["torque", "76 lbf·ft", "--size", "M12x1.5", "--property-class", "10.9", "--bolts", "5"], capsys
    )

    assert checked["nm"] == pytest.approx(103.04, abs=0.01)
    assert checked["order"] == [1, 3, 5, 2, 4]
    assert "Not confirmed" in checked["warning"]


def test_a_torque_without_unit_and_760_for_76_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["torque", "76", "--json"]) == 1
    assert "no unit" in json.loads(capsys.readouterr().out)["error"]["message"]
    assert run(["torque", "760 N·m", "--size", "M12x1.5", "--property-class", "10.9", "--json"]) == 1
    assert "Was 76 N·m meant?" in json.loads(capsys.readouterr().out)["error"]["message"]
    assert run(["torque", "76 N·m", "--stages", "half", "--json"]) == 1
    assert "stages" in json.loads(capsys.readouterr().out)["error"]["message"]


def test_cards_and_labels_of_an_own_assembly_are_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))
    file, out = tmp_path / "lamp.yaml", tmp_path / "cards.pdf"
    file.write_text(OWN)
    words = ["cards", "--file", str(file), "--target", "lamp", "--out", str(out)]
    made = answer(words, capsys)
    labels = answer([*words, "--labels", "--paper", "letter"], capsys)

    assert made["jobs"] == 1
    assert labels["labels"] == 1
    assert out.read_bytes().startswith(b"%PDF-")


def test_cards_without_a_car_or_on_unknown_paper_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "cards.pdf")
    assert run(["cards", "--out", out]) == 1
    assert "one of the two" in capsys.readouterr().err
    assert run(["cards", "--file", "exhaust", "--target", "front_pipe", "--out", out, "--paper", "a9"]) == 1
    assert "not a paper" in capsys.readouterr().err
