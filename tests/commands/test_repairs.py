"""choose and repairs, with real words and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from driveout.app import ready_store, run
from driveout.cars.actions import add_car
from driveout.repairs.actions import choose_repair, set_free_hours
from driveout.repairs.days import FreeHours
from driveout.workshop.calendar import WEEKDAYS

CASE = """schema: driveout-repair-choice/1
currency: USD
repairs:
  P1: {uplift: 100, access: [M1, M2]}
  P2: {uplift: 200, access: [M2]}
  P3: {uplift: 150, access: [M3]}
access:
  M1: {money: 200}
  M2: {money: 100}
  M3: {money: 50}
"""


def test_the_project_selection_example_is_chosen_from_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # project-selection: profit 200 with P2 and P3
    file = tmp_path / "projects.yaml"
    file.write_text(CASE)

    assert run(["choose", str(file), "--json"]) == 0
    best = json.loads(capsys.readouterr().out)["choice"]["best"]
    assert best["options"] == ["P2", "P3"]
    assert best["value_minor"] == 20_000


def test_the_choice_in_words_names_the_runner_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "projects.yaml"
    file.write_text(CASE + "budget: 100\n")

    assert run(["choose", str(file)]) == 0
    text = capsys.readouterr().out
    assert "Do: P2" in text or "Do: P3" in text  # both are worth 100
    assert "Next best" in text
    assert "The budget costs 100.00 USD." in text


def test_a_wrong_file_is_refused_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "projects.yaml"
    file.write_text(CASE.replace("[M3]", "[M9]"))

    assert run(["choose", str(file), "--json"]) == 1
    error = json.loads(capsys.readouterr().out)["error"]
    assert "projects.yaml:6 repairs.P3" in error["entries"][0]["place"]
    assert run(["choose", str(tmp_path / "none.yaml")]) == 1


def test_the_repairs_of_a_fault_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["repairs", "--fault", "drv_clutch_worn", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [row["id"] for row in data["repairs"]] == ["rep_clutch_fwd"]
    assert "no source" in data["basis"]


def test_a_fault_that_nothing_cures_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["repairs", "--fault", "ghost"]) == 1
    assert "No repair cures 'ghost'" in capsys.readouterr().err


PLAN = """schema: driveout-plan/1
start: 2026-03-02 08:00
calendar: {week: {tuesday: ["18:00-21:00"]}}
work:
  - {id: a, minutes: 120}
  - {id: b, minutes: 90, after: [a]}
"""


def test_an_own_plan_is_put_into_days_without_a_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, out = tmp_path / "plan.yaml", tmp_path / "days.ics"
    file.write_text(PLAN)
    assert run(["plan", "--file", str(file), "--ics", str(out), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)

    # by hand: one Tuesday of 180 minutes and 30 minutes of the next
    assert data["days"]["finish"] == "2026-03-10T18:30"
    assert data["chances"]["p80"]["day"] >= "2026-03-10"
    assert out.read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")


def test_a_plan_of_nothing_or_of_both_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan"]) == 1
    assert "one of the two" in capsys.readouterr().err
    assert run(["plan", "7", "--file", str(tmp_path / "x.yaml")]) == 1
    assert "one of the two" in capsys.readouterr().err


def test_a_cars_days_and_cards_come_from_its_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"
    store = ready_store(home)
    at = store.now()
    with store.writing() as tx:
        car = add_car(tx, name="Linnet", currency="USD", at=at, stage="in work", facts={"drive": "fwd"}).id
        choose_repair(tx, car, "rep_alternator", "new", at=at)
    store.close()
    assert run(["--home", str(home), "plan", str(car)]) == 1
    assert "free hours" in capsys.readouterr().err
    store = ready_store(home)
    with store.writing() as tx:
        week = {day: ["06:00-23:00"] for day in WEEKDAYS}
        set_free_hours(tx, car, FreeHours(week, {}), at=at)
    store.close()
    assert run(["--home", str(home), "plan", str(car)]) == 0
    assert "Planned finish" in capsys.readouterr().out
    out = tmp_path / "labels.pdf"
    words = ["--home", str(home), "cards", str(car), "--out", str(out), "--labels"]
    assert run([*words, "--address", "http://192.168.1.20:8321"]) == 0
    assert "bag labels" in capsys.readouterr().out
    assert run(["--home", str(home), "cards", str(car + 1), "--out", str(out)]) == 1
