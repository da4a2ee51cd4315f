"""Estimate against actual adds up to the cent."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from driveout.errors import BadEntry
from driveout.lessons import RESERVE, Actual, EstimateLine, Job, actuals, estimate_from, fit, taught, variance
from driveout.lessons.next_job import with_learned
from driveout.money import bookings as book
from driveout.money import cost_of_car
from driveout.uncertain import ThreePoint, fitted
from driveout.units import Money
from tests.lessons import an_estimate
from tests.money.story import CAR, car_story, day, usd


def of_story(wage: str = "15"):  # type: ignore[no-untyped-def]
    estimate = an_estimate(wage)
    booked = actuals(car_story(), CAR, estimate)
    return estimate, booked, variance(estimate, cost_of_car(car_story(), CAR, "USD"), booked)


def test_effects_add_up_to_the_cent_with_and_without_a_wage() -> None:
    for wage in ("0", "15", "17.33"):
        _, _, result = of_story(wage)

        assert sum(line.effect.minor for line in result.lines) == result.total.minor


def test_every_cost_of_the_car_is_on_a_line_or_unplanned() -> None:
    _, booked, result = of_story()

    # 1829.34 is the cost of sale by hand, in tests/money/test_car_cost.py.
    assert sum(actual.cost.minor for actual in booked) == 182934
    assert sum(actual.minutes for actual in booked) == result.actual_minutes == 295
    assert result.actual_profit == usd("1556.16")


def test_a_refund_lowers_the_line_it_belongs_to() -> None:
    # Pump 64.99 - 20 back; its restocking fee of 3.25 came with the same entry.
    _, booked, _ = of_story()
    cooling = next(actual for actual in booked if actual.key == "cooling")

    assert cooling.cost == usd("48.24")
    assert cooling.quantity == 1


def test_one_bought_instead_of_two_planned_is_a_quantity_effect() -> None:
    # By hand: planned mean m for 2, so one less is m/2 better; the one bought cost 48.24.
    estimate, _, result = of_story()
    planned = estimate.lines[2].planned_money("USD").minor
    effects = {line.reason: line.effect.minor for line in result.lines if line.key == "cooling"}

    assert effects["quantity"] == pytest.approx(planned / 2, abs=1)
    assert effects["quantity"] + effects["price"] == planned - 4824


def test_a_planned_line_never_spent_says_so() -> None:
    _, _, result = of_story()

    assert [(line.reason, line.effect) for line in result.lines if line.key == "tyres"] == [
        ("not spent", usd("120"))
    ]


def test_unplanned_costs_keep_their_own_words() -> None:
    _, _, result = of_story()
    unplanned = {line.label: line.effect for line in result.lines if line.reason == "unplanned cost"}

    assert unplanned["Title transfer"] == usd("-35")
    assert unplanned["Fetch the car"] == usd("-33.50")


def test_sale_price_and_fees_have_their_own_lines() -> None:
    _, _, result = of_story()
    effects = {line.reason: line.effect for line in result.lines}

    assert effects["sale price"] == usd("90")
    assert effects["selling fees"] == usd("-9.50")
    assert effects["other income"] == usd("25")


def test_own_time_over_the_plan_costs_the_wage() -> None:
    # By hand at 15 an hour: 200 min = 50.00 on the clutch.
    estimate, _, result = of_story()
    planned = round(fitted(ThreePoint(3, 4, 7)).mean * 60)
    effect = next(line.effect for line in result.lines if (line.key, line.reason) == ("clutch", "own time"))

    assert effect.minor == pytest.approx(planned * 25 - 5000, abs=1)
    assert estimate.lines[1].planned_minutes == planned


def test_the_estimate_comes_back_from_its_record_as_it_was() -> None:
    assert estimate_from(an_estimate().as_data()) == an_estimate()


def test_a_finished_car_teaches_hours_and_money_but_never_its_purchase() -> None:
    estimate, booked, _ = of_story()
    found = {(t.job.measure, t.job.kind): t.job for t in taught(estimate, booked)}

    assert set(found) == {("hours", "clutch"), ("money", "parts"), ("hours", "cooling")}
    assert found["hours", "clutch"].actual == pytest.approx(200 / 60)
    assert found["hours", "clutch"].estimate == pytest.approx(fitted(ThreePoint(3, 4, 7)).quantile(0.5))


def test_a_reserve_for_what_may_turn_up_teaches_nothing() -> None:
    estimate, booked, _ = of_story()
    lines = tuple(replace(line, kind_of_work=RESERVE) for line in estimate.lines)

    assert taught(replace(estimate, lines=lines), booked) == ()


def test_work_still_under_way_teaches_only_a_lower_bound() -> None:
    estimate, booked, _ = of_story()

    assert not any(t.job.finished for t in taught(estimate, booked, finished=False))


def test_a_car_taken_in_exchange_counts_its_allowance_as_its_own_cost() -> None:
    taken = book.PartExchange("Car-2", usd("600"))
    sale = replace(book.sale(CAR, usd("2000"), {}, day(2), exchange=taken), number=1)
    other = replace(an_estimate(), lines=())

    assert [actual.cost for actual in actuals([sale], "Car-2", other)] == [usd("600")]
    assert actuals([sale], CAR, other) == ()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: EstimateLine("a b", "parts", "x"), "not a key"),
        (lambda: EstimateLine("a", "sundry", "x"), "not a kind of cost"),
        (lambda: EstimateLine("a", "parts", "x", quantity=Decimal(0)), "above 0"),
        (lambda: EstimateLine("a", "parts", "x", ThreePoint(-1, 2, 3)), "nothing below 0"),
        (lambda: replace(an_estimate(), lines=an_estimate().lines[:1] * 2), "stands twice"),
        (lambda: replace(an_estimate(), sale_price=usd("-1")), "not below 0"),
    ],
)
def test_estimates_that_make_no_sense_are_refused(make: object, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        make()  # type: ignore[operator]


def test_hours_booked_at_the_bench_find_their_line_of_the_estimate() -> None:
    """The bench books under a repair's id; the estimate spells the kind of work as the journal's links do."""
    line = EstimateLine(
        "rep_clutch_fwd",
        "parts",
        "Clutch",
        money=None,
        hours=ThreePoint(8, 12, 20),
        kind_of_work="rep-clutch-fwd",
    )
    estimate = replace(an_estimate(), lines=(line,))
    entry = book.own_hours(CAR, 870, "rep_clutch_fwd", day(3))

    found = actuals([entry], CAR, estimate)
    assert [(actual.key, actual.minutes) for actual in found] == [("rep_clutch_fwd", 870)]


def test_a_line_that_lessons_had_moved_is_held_against_what_was_said_before_them() -> None:
    # 4 h were said, lessons made 5 of it, and 5 it took: the factor 1.25 stands, it is not undone.
    hours = ThreePoint(5, 5, 5)
    line = EstimateLine("clutch", "parts", "Clutch", None, hours, kind_of_work="clutch", hours_learned=1.25)
    estimate = replace(an_estimate(), lines=(line,))
    booked = [Actual("clutch", "Clutch", Money(0, "USD"), Decimal(0), 300)]
    (lesson,) = taught(estimate, booked)

    assert lesson.job.estimate == pytest.approx(4.0)
    assert lesson.job.actual / lesson.job.estimate == pytest.approx(1.25)
    assert lesson.points == hours
    assert estimate_from(estimate.as_data()) == estimate


def test_a_person_who_always_needs_a_third_more_is_learned_in_full_over_many_cars() -> None:
    jobs: list[Job] = []
    for _ in range(40):
        learned = fit(jobs) if jobs else None
        line = EstimateLine("rep_a", "parts", "A", None, ThreePoint(4, 4, 4), kind_of_work="rep-a")
        (moved,) = with_learned([line], learned, None)
        assert moved.hours_learned == pytest.approx(
            math.exp(learned.forecast("rep-a").log_mean) if learned else 1.0
        )
        frozen = replace(moved, hours=ThreePoint(4, 4, 4).times(moved.hours_learned))
        estimate = replace(an_estimate(), lines=(frozen,))
        minutes = round(60 * 4 * 4 / 3)
        jobs += [
            one.job for one in taught(estimate, [Actual("rep_a", "A", Money(0, "USD"), Decimal(0), minutes)])
        ]

    assert math.exp(fit(jobs).forecast("rep-a").log_mean) == pytest.approx(4 / 3, rel=0.01)


def test_only_lines_that_lessons_moved_carry_a_factor() -> None:
    bias = fit([Job("rep-a", 4, 6)] * 4)
    said = ThreePoint(1, 2, 3)
    lines = [
        EstimateLine("papers", "fees", "Papers", said),
        EstimateLine("outside-work", "supplies", "Outside", None, said, kind_of_work="outside-work"),
        EstimateLine("reserve", "parts", "Reserve", said, said, kind_of_work="unforeseen"),
        EstimateLine("rep_a", "parts", "A", said, said, kind_of_work="rep-a"),
    ]
    papers, outside, reserve, repair = with_learned(lines, bias, None)

    assert (papers.money_learned, outside.hours_learned, reserve.hours_learned) == (1.0, 1.0, 1.0)
    assert repair.hours_learned > 1.2
    assert repair.money_learned == 1.0
    with pytest.raises(BadEntry, match="above 0"):
        EstimateLine("x", "parts", "X", said, hours_learned=0.0)
