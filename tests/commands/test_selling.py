"""The commands ``appraise``, ``ask`` and ``offer``: real argv, real exit codes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from driveout import app

FORMATS = Path(__file__).parent.parent.parent / "docs" / "formats"


def example(page: str) -> str:
    """The complete example that the format's page prints."""
    found = re.search(r"```yaml\n(.*?)```", (FORMATS / page).read_text(), re.DOTALL)
    assert found
    return found.group(1)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))
    return tmp_path


def test_the_example_of_the_comparables_page_is_appraised(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "car.yaml").write_text(example("comparables.md"))
    code = app.run(["appraise", "--file", str(home / "car.yaml"), "--json"])
    found = json.loads(capsys.readouterr().out)

    assert code == 0
    assert found["used"] == 6
    assert float(found["low"]) < float(found["value"]) < float(found["high"])


def test_the_example_of_the_asking_page_is_planned_and_answered(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "sale.yaml").write_text(example("asking.md"))
    assert app.run(["ask", "--file", str(home / "sale.yaml")]) == 0
    words = capsys.readouterr().out
    assert app.run(["offer", "4,200", "--file", str(home / "sale.yaml"), "--json"]) == 0
    advice = json.loads(capsys.readouterr().out)

    assert "A day of waiting costs" in words
    assert advice["answer"] in ("accept", "counter", "decline")
    assert min(float(r) for r in advice["regret"].values()) == 0.0


def test_a_wrong_file_ends_with_one_and_names_the_line(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "sale.yaml").write_text("schema: driveout-asking/1\nvalue: 4000\nfallback: 3000\nstep_days: 3\n")
    code = app.run(["ask", "--file", str(home / "sale.yaml")])

    assert code == 1
    assert "sale.yaml:4 step_days" in capsys.readouterr().err


def test_a_car_of_the_record_is_appraised_from_a_csv_and_offers_are_answered(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from datetime import UTC, datetime

    from driveout.cars.actions import add_car
    from driveout.selling.actions import make_plan

    store = app.ready_store(home / "home")
    with store.writing() as tx:
        at = datetime.now(UTC)
        car = add_car(
            tx, name="Linnet", currency="USD", made_year=2013, mileage_km=141_000, at=at, stage="bought"
        ).id
        make_plan(tx, car, {"value": "4300", "fallback": "2900"}, at=at)
    store.close()
    (home / "comps.csv").write_text("price,miles,year\n4500,82000,2013\n4200,91000,2012\n")

    assert app.run(["appraise", str(car), str(home / "comps.csv")]) == 0
    assert "From 2 comparables" in capsys.readouterr().out
    assert app.run(["ask", str(car)]) == 0
    assert "Take any offer of" in capsys.readouterr().out
    assert app.run(["offer", str(car), "4400", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["answer"] == "accept"


def test_the_example_of_the_sale_page_fills_the_papers(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "sale.yaml").write_text(example("sale.md"))
    out = home / "papers.pdf"
    assert app.run(["papers", "--file", str(home / "sale.yaml"), "--out", str(out), "--json"]) == 0
    filled = json.loads(capsys.readouterr().out)

    # 4200 less deposits of 150 and 54 and the car taken in for 300.
    assert (filled["deposit"], filled["rest"]) == ("204.00", "3696.00")
    assert filled["paid_by"] == "Transfer, final"
    assert out.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("price: 4200 ", "price: 0 ", "must be above 0"),
        ("price: 4200 ", "price: 500 ", "not below what was paid"),
        ("amount: 150", "amount: -150", "cannot stand on papers"),
        ("paid_by: final_transfer", "paid_by: barter", "no way to pay"),
        ("sold_on: 2026-05-12", "sold_on: yesterday", "sale.yaml:11 sold_on"),
        ("name: Tarnwick Linnet 1.4", "colour: blue", "entries cannot be used"),
        ("made_year: 2013", "made_year: 1066", "1885 to 2100"),
        ("mileage_km: 141000", "mileage_km: far", "distance in km"),
        ("deposits: ", "deposits: 7 #", "list of rows"),
        ("day: 2026-05-04, ", "", "needs a day and an amount"),
        ("currency: USD", "currency: dollars", "not a currency code"),
    ],
)
def test_a_wrong_sale_file_is_refused_with_the_line(
    home: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, said: str
) -> None:
    text = example("sale.md")
    if old.startswith("deposits"):
        text = "\n".join(line for line in text.split("\n") if not line.startswith("  - {day"))
    assert old in text
    (home / "sale.yaml").write_text(text.replace(old, new, 1))

    assert app.run(["papers", "--file", str(home / "sale.yaml")]) == 1
    assert said in capsys.readouterr().err


def test_papers_need_a_car_or_a_file_that_can_be_read(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["papers"]) == 1
    assert "which car" in capsys.readouterr().err
    assert app.run(["papers", "--file", str(home / "none.yaml")]) == 1
    assert "cannot be read" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["appraise"], "which car"),
        (["ask"], "which car"),
        (["offer", "4400"], "car's number and the amount"),
        (["offer", "Linnet", "4400"], "not a car's number"),
        (["offer", "99", "4400"], "no asking plan yet"),
    ],
)
def test_half_a_command_says_what_is_missing(
    home: Path, capsys: pytest.CaptureFixture[str], argv: list[str], said: str
) -> None:
    code = app.run(argv)

    assert code == 1
    assert said in capsys.readouterr().err
