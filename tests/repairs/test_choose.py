"""Choosing repairs on small jobs that can be worked out by hand."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, BadRows, CannotSay
from driveout.repairs import AccessCost, Attempt, Limits, RepairOption, attempt_order, best_closure, choose
from driveout.repairs.choice_file import answer_of, read_choice
from driveout.repairs.choose import in_words

GEARBOX = [AccessCost("gearbox_out", 10.0)]


def option(id: str, uplift: int, money: int, hours: float, *access: str, **more) -> RepairOption:  # type: ignore[no-untyped-def]
    return RepairOption(id, more.pop("repair", id), uplift, money, hours, access, **more)


def test_two_repairs_pay_together_that_do_not_pay_alone() -> None:
    # Access 10 h at 10 = 100. Each brings 80 and takes 10 h-free work: alone -20, together +60.
    clutch, seal = option("clutch", 80, 0, 0, "gearbox_out"), option("seal", 80, 0, 0, "gearbox_out")

    assert choose([clutch], GEARBOX, 10).best.options == ()
    choice = choose([clutch, seal], GEARBOX, 10)
    assert choice.best.options == ("clutch", "seal")
    assert choice.best.value == 60
    assert choice.best.hours == 10
    assert choice.saved_hours == 10


def test_the_better_kind_of_part_is_taken_once() -> None:
    rows = [
        option("clutch:new", 300, 120, 2, repair="clutch"),
        option("clutch:used", 250, 40, 2, repair="clutch"),
    ]

    assert choose(rows, (), 10).best.options == ("clutch:used",)


def test_doing_it_outside_saves_the_access() -> None:
    rows = [
        option("clutch:self", 300, 100, 3, "gearbox_out", repair="clutch"),
        option("clutch:shop", 300, 220, 0.2, repair="clutch"),
    ]

    assert choose(rows, GEARBOX, 20).best.options == ("clutch:shop",)
    assert choose(rows, GEARBOX, 5).best.options == ("clutch:self",)


def test_a_brake_that_must_be_done_is_done_though_it_loses_money() -> None:
    rows = [option("brake", 0, 50, 1, is_mandatory=True), option("polish", 30, 40, 1)]
    choice = choose(rows, (), 10)

    assert choice.best.options == ("brake",)
    assert choice.best.value == -60


def test_what_a_limit_costs_is_what_would_be_won_without_it() -> None:
    rows = [option("a", 200, 100, 1), option("b", 150, 60, 1)]
    choice = choose(rows, (), 0, Limits(budget=100))

    assert choice.best.options == ("a",)
    assert choice.limit_costs == {"budget": 90}
    assert choice.runner_up is not None
    assert choice.runner_up.options == ("b",)


def test_a_part_that_comes_too_late_is_not_taken() -> None:
    rows = [
        option("a:new", 200, 100, 1, repair="a", lead_days=9),
        option("a:used", 150, 90, 1, repair="a", lead_days=1),
    ]
    choice = choose(rows, (), 0, Limits(lead_days=3))

    assert choice.best.options == ("a:used",)
    assert choice.limit_costs == {"lead_days": 40}


def test_a_repair_brings_the_repair_it_needs() -> None:
    rows = [option("paint", 300, 50, 1, needs=("rust",)), option("rust", 0, 40, 2)]

    assert set(choose(rows, (), 10).best.options) == {"paint", "rust"}


def test_mandatory_repairs_that_do_not_fit_say_how_much_they_need() -> None:
    rows = [option("brake", 0, 500, 3, is_mandatory=True)]
    with pytest.raises(CannotSay, match="at least 500") as caught:
        choose(rows, (), 10, Limits(budget=100))
    assert caught.value.missing == "budget"
    with pytest.raises(CannotSay, match="at least 3 own hours") as caught:
        choose(rows, (), 10, Limits(hours=2))
    assert caught.value.missing == "hours"
    with pytest.raises(CannotSay, match="within 1 days"):
        choose([option("brake", 0, 5, 1, is_mandatory=True, lead_days=4)], (), 10, Limits(lead_days=1))


@pytest.mark.parametrize(
    ("rows", "access", "wage", "message"),
    [
        ([option("a", 1, 1, 1), option("a", 1, 1, 1)], [], 0, "stands twice"),
        ([option("a", 1, 1, 1, "roof")], [], 0, "'roof', which is not given"),
        ([option("a", 1, -1, 1)], [], 0, "0 or more"),
        ([option("a", 1, 1, 1)], [], -5, "below 0"),
        ([option("a", 1, 1, 1, needs=("b",))], [], 0, "'b', which is not given"),
        ([option("a", 1, 1, 1)], [AccessCost("g", 1), AccessCost("g", 1)], 0, "group stands twice"),
        ([option("a", 1, 1, 1)], [AccessCost("g", 1, needs=("h",))], 0, "needs 'h'"),
    ],
)
def test_a_job_that_does_not_hold_together_is_refused(
    rows: list[RepairOption], access: list[AccessCost], wage: int, message: str
) -> None:
    with pytest.raises(BadEntry, match=message):
        choose(rows, access, wage)


def test_nothing_pays_is_an_answer() -> None:
    choice = choose([option("a", 10, 50, 1)], (), 10)

    assert choice.best.options == ()
    assert in_words(choice, "USD")[0] == "Do: nothing"


def test_a_closure_need_outside_the_list_is_refused() -> None:
    with pytest.raises(BadEntry, match="outside 0 to 1"):
        best_closure([1, 2], [(0, 5)])


CASE = """schema: driveout-repair-choice/1
currency: USD
wage: 15
budget: 700
hours: 30
access:
  gearbox_out: {hours: 15.8}
repairs:
  clutch:
    uplift: 1100
    access: [gearbox_out]
    options:
      new: {money: 285, hours: 3.2}
      used: {money: 150, hours: 3.2, uplift: 900}
  rear_main: {uplift: 260, money: 75, hours: 0.8, access: [gearbox_out]}
  front_brakes: {uplift: 150, money: 141, hours: 3, mandatory: true}
causes: {clutch: 0.7, hydraulics: 0.2}
attempts:
  bleed: {cost: 20, cures: {hydraulics: 0.6}}
  clutch: {cost: 500, cures: [clutch]}
"""


def test_a_case_from_a_file_is_chosen_and_ordered() -> None:
    answer = answer_of(read_choice(CASE))

    assert answer["choice"]["best"]["options"] == ["clutch:new", "rear_main", "front_brakes"]
    # 1100 + 260 + 150 - (285 + 75 + 141) - 15 (3.2 + 0.8 + 3 + 15.8), by hand
    assert answer["choice"]["best"]["value_minor"] == 66_700
    assert answer["order"]["order"] == ["bleed", "clutch"]
    # 20 + 500 (1 - 0.2 x 0.6), by hand
    assert answer["order"]["expected_cost"] == pytest.approx(460)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("wage: 15", "wage: much", "not a number"),
        ("hours: 15.8", "hours: -1", "out of range"),
        ("access: [gearbox_out]\n    options", "access: [roof]\n    options", "not an access group"),
        ("budget: 700", "bugdet: 700", "not known"),
        ("currency: USD", "currency: dollars", "dollars"),
        ("cures: [clutch]", "cures: clutch", "must name causes"),
    ],
)
def test_a_wrong_line_is_named(old: str, new: str, message: str) -> None:
    with pytest.raises(BadRows, match=message) as caught:
        read_choice(CASE.replace(old, new), "mine.yaml")

    assert "mine.yaml:" in str(caught.value)


def test_opening_comes_first_and_counts_with_what_it_opens() -> None:
    # Cover 10, then A behind it cures 0.6 for 5; B cures 0.4 for 12. Block rate 0.6/15 beats 0.4/12.
    tries = [
        Attempt("cover", 10, {}),
        Attempt("A", 5, {"a": 1.0}, ("cover",)),
        Attempt("B", 12, {"b": 1.0}),
    ]
    order = attempt_order({"a": 0.6, "b": 0.4}, tries)

    assert order.order == ("cover", "A", "B")
    assert order.expected_cost == pytest.approx(10 + 5 + 0.4 * 12)


def test_attempts_that_cannot_help_are_not_made() -> None:
    order = attempt_order({"a": 0.5}, [Attempt("A", 1, {"a": 1.0}), Attempt("hope", 1, {})])

    assert order.order == ("A",)
    assert order.left_uncured == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("causes", "attempts", "message"),
    [
        ({"a": 0.7, "b": 0.6}, [Attempt("A", 1, {"a": 1.0})], "add up to"),
        ({"a": 0.5}, [Attempt("A", 0, {"a": 1.0})], "above 0"),
        ({"a": 0.5}, [Attempt("A", 1, {"c": 1.0})], "cures 'c'"),
        ({"a": 0.5}, [Attempt("A", 1, {"a": 1.0}, ("B",))], "not given"),
        ({"a": 0.5}, [Attempt("A", 1, {"a": 1.0}), Attempt("A", 1, {})], "stands twice"),
        (
            {"a": 0.5},
            [Attempt("A", 1, {"a": 1.0}, ("B",)), Attempt("B", 1, {}, ("A",))],
            "wait for each other: A, B",
        ),
    ],
)
def test_attempts_that_do_not_hold_together_are_refused(
    causes: dict[str, float], attempts: list[Attempt], message: str
) -> None:
    with pytest.raises(BadEntry, match=message):
        attempt_order(causes, attempts)


def test_a_forest_of_many_attempts_is_ordered_by_blocks() -> None:
    count = 20
    causes = {f"c{i}": 1 / (count + 1) for i in range(count)}
    tries = [
        Attempt(f"a{i}", 1 + i % 4, {f"c{i}": 1.0}, (f"a{i - 1}",) if i % 3 else ()) for i in range(count)
    ]
    order = attempt_order(causes, tries)

    assert order.method == "blocks"
    assert order.is_exact
    assert len(order.order) == count
