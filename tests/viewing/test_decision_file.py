"""Reading one's own decision file: the documented example works, and bad files say where and why."""

import re
from pathlib import Path

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.viewing import decide, read_problem

DOCUMENT = Path(__file__).parents[2] / "docs" / "formats" / "decision.md"


def the_example() -> str:
    found = re.search(r"```yaml\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    return found[1]


def test_the_documented_example_can_be_decided() -> None:
    problem, found = read_problem(the_example(), "decision.yaml")
    decision = decide(problem, found)

    assert problem.states["clutch and head gasket"] == pytest.approx(2 / 9)
    assert problem.checks[1].outcomes == ("clear", "turns")
    assert decision.first_step(1000.0) == "road test"
    assert decision.ceiling is not None
    assert decision.ceiling_without_checks is not None
    assert decision.ceiling > decision.ceiling_without_checks


def test_a_check_that_waits_for_another_says_so() -> None:
    problem, _ = read_problem(the_example(), "decision.yaml")
    worths = {worth.name: worth for worth in decide(problem).worth_alone(1000.0)}

    assert worths["gas in coolant"].why_not == "only after road test"
    assert worths["road test"].allowed


def test_the_time_that_is_left_rules_out_the_last_check() -> None:
    problem, _ = read_problem(
        the_example().replace("minutes_available: 40", "minutes_available: 30"), "d.yaml"
    )
    decision = decide(problem, {"road test": "slips", "gas in coolant": "clear"})

    assert [worth.why_not for worth in decision.worth_alone(900.0)] == ["not enough time"]


@pytest.mark.parametrize(
    ("before", "after", "complaint", "line"),
    [
        ("clutch only: 0.55", "clutch only: 0.65", "sum to 1.1", "states"),
        ("clutch only: 0.55", "clutch only: half", "is not a number", "states.clutch only"),
        (
            "lose_deal: 0.02     #",
            "lose_deal: 1.5     #",
            "outside 0 to below 1",
            "checks.gas in coolant.lose_deal",
        ),
        ("trip_cost: 12", "trip_cost: -12", "below 0", "trip_cost"),
        ("after: [road test]", "after: [rode test]", "no check 'rode test'", "checks.gas in coolant.after"),
        ("asking: 1000", "asking_price: 1000", "not known here", "asking_price"),
        ("price_range: [0, 3000]", "price_range: [3000, 0]", "empty", "price_range"),
        ("    cost: 4", "    cost: yes please", "is not a number", "checks.gas in coolant.cost"),
        (
            "outcomes: [holds, slips a little, slips]",
            "outcomes: [holds, slips]",
            "not in its list",
            "checks.road test",
        ),
        ("head gasket only: 900}", "head gasket only: .nan}", "is not a finite number", ""),
    ],
)
def test_a_bad_entry_is_refused_with_its_line(before: str, after: str, complaint: str, line: str) -> None:
    text = the_example()
    assert before in text

    with pytest.raises(BadEntry, match=re.escape(complaint)) as caught:
        read_problem(text.replace(before, after), "mine.yaml")

    assert re.match(rf"mine\.yaml:\d+\s?{re.escape(line)}", caught.value.place)


def test_outcomes_that_cannot_happen_together_are_refused() -> None:
    problem, _ = read_problem(the_example(), "decision.yaml")
    sure = the_example().replace(
        "head gasket only: {holds: 0.9, slips a little: 0.08, slips: 0.02}",
        "head gasket only: {holds: 1, slips a little: 0, slips: 0}",
    )
    problem, _ = read_problem(
        sure.replace(
            "{holds: 0.05, slips a little: 0.35, slips: 0.6}", "{holds: 1, slips a little: 0, slips: 0}"
        ),
        "decision.yaml",
    )

    with pytest.raises(CannotSay, match="cannot happen"):
        decide(problem, {"road test": "slips"})


def test_an_unknown_outcome_in_what_was_found_is_refused() -> None:
    problem, _ = read_problem(the_example(), "decision.yaml")

    with pytest.raises(BadEntry, match="no outcome 'slides'"):
        decide(problem, {"road test": "slides"}).value(1000.0)
