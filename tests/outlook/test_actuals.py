"""What has happened replaces what was estimated, line by line."""

from dataclasses import replace

import pytest

from driveout.outlook import (
    Booked,
    Case,
    Charge,
    FaultChances,
    FaultFacts,
    Known,
    Plan,
    Rules,
    cost_book,
    estimate_lines,
    forecast,
    repair_pieces,
    with_actuals,
)
from driveout.outlook.car_case import always_lines
from driveout.repairs import catalogue
from driveout.uncertain import ThreePoint

CHANCES = {"drv_clutch_worn": 0.8, "eng_coolant_leak": 0.6, "eng_head_gasket": 0.1}
RULES = Rules(holding_per_day=0.0)


def a_car(plan: Plan | None = None) -> Case:
    facts = {fault: FaultFacts(fault) for fault in CHANCES}
    book, unknown = cost_book(
        catalogue(), facts, Charge(1.0, 1500.0, 0.0), 490_000.0, plan, always_lines(RULES, 40.0)
    )
    assert unknown == ()
    return Case(FaultChances.independent(CHANCES), book, (430_000.0, 560_000.0), RULES, 90_000.0)


def test_a_chosen_repair_becomes_certain_and_leaves_its_fault() -> None:
    case = with_actuals(a_car(), catalogue(), Known(chosen={"rep_clutch_fwd": "new"}))
    faults = {mend.fault for mend in case.book.mends}

    assert "drv_clutch_worn" not in faults
    assert any(piece.key == "rep_clutch_fwd" for piece in case.book.always)
    assert next(p for p in case.book.always if p.key == "rep_clutch_fwd").hours.mean > 15  # access included
    assert forecast(case).hours.mean > forecast(a_car()).hours.mean


def test_money_booked_on_a_line_is_the_least_it_can_come_to() -> None:
    chosen = Known(chosen={"rep_clutch_fwd": "new"})
    spent = replace(chosen, booked=(Booked("rep_clutch_fwd", "clutch kit", 400_00.0, 9.0),))
    before = next(
        p for p in with_actuals(a_car(), catalogue(), chosen).book.always if p.key == "rep_clutch_fwd"
    )
    after = next(
        p for p in with_actuals(a_car(), catalogue(), spent).book.always if p.key == "rep_clutch_fwd"
    )

    assert after.money.least == 400_00.0
    assert after.hours.least == 9.0
    assert after.money.variance < before.money.variance


def test_a_finished_repair_came_to_what_was_booked() -> None:
    known = Known(
        chosen={"rep_clutch_fwd": "new"},
        done=frozenset({"rep_clutch_fwd"}),
        booked=(Booked("rep_clutch_fwd", "clutch kit", 312_50.0, 21.5),),
    )
    lines = [p for p in with_actuals(a_car(), catalogue(), known).book.always if "lutch" in p.label]

    assert [(p.money.mean, p.hours.mean, p.money.variance) for p in lines] == [(312_50.0, 21.5, 0.0)]


def test_a_finished_repair_with_nothing_booked_keeps_its_estimate() -> None:
    known = Known(chosen={"rep_clutch_fwd": "new"}, done=frozenset({"rep_clutch_fwd"}))
    lines = [p for p in with_actuals(a_car(), catalogue(), known).book.always if p.key == "rep_clutch_fwd"]

    assert lines[0].money.variance > 0


def test_a_receipt_nobody_foresaw_is_a_line_of_its_own() -> None:
    case = with_actuals(a_car(), catalogue(), Known(booked=(Booked("", "Parking fine", 45_00.0),)))
    plain = forecast(a_car()).profit.mean

    assert forecast(case).profit.mean == pytest.approx(plain - 45_00.0)


def test_a_receipt_on_a_foreseen_line_is_not_counted_twice() -> None:
    case = with_actuals(a_car(), catalogue(), Known(booked=(Booked("viewing-trip", "Fuel", 24_00.0),)))

    assert forecast(case).profit.mean == pytest.approx(forecast(a_car()).profit.mean)


def test_the_price_paid_takes_the_place_of_the_asking_price() -> None:
    case = with_actuals(a_car(), catalogue(), Known(price_paid=70_000.0))
    gained = forecast(case).profit.mean - forecast(a_car()).profit.mean

    assert gained == pytest.approx(20_000.0 * forecast(case).price_factor)


def test_a_sold_car_has_no_estimates_left() -> None:
    known = Known(price_paid=70_000.0, sold_for=400_000.0, booked=(Booked("", "All spent", 120_000.0, 80.0),))
    rules = replace(RULES, purchase_tax_share=0.0, capital_share_per_year=0.0)
    outlook = forecast(with_actuals(replace(a_car(), rules=rules), catalogue(), known))

    assert outlook.profit.mean == pytest.approx(210_000.0, abs=1.0)
    assert outlook.profit.low == pytest.approx(outlook.profit.high, abs=1.0)
    assert outlook.hours.mean == pytest.approx(80.0)


def test_an_unknown_repair_in_the_plan_is_passed_over() -> None:
    assert (
        with_actuals(a_car(), catalogue(), Known(chosen={"rep_wings": "new"})).book.mends
        == a_car().book.mends
    )


def test_a_left_fault_costs_its_loss_of_value_and_no_hours() -> None:
    facts = {"drv_clutch_worn": FaultFacts("Clutch worn", ThreePoint(0.1, 0.2, 0.3))}
    book, _ = cost_book(
        catalogue(), facts, Charge(1.0, 1500.0, 0.0), 100_000.0, Plan(left=("drv_clutch_worn",))
    )

    assert book.mends[0].label == "Left and said: Clutch worn"
    assert book.mends[0].pieces[0].money.quantile(0.9) == pytest.approx(30_000.0)
    assert book.mends[0].repair == ""


def test_a_critical_fault_is_never_left_when_it_can_be_mended() -> None:
    cheap = FaultFacts("Brakes", ThreePoint(0.0001, 0.0002, 0.0003), is_critical=True)
    book, _ = cost_book(catalogue(), {"brk_front_worn": cheap}, Charge(1.0, 1500.0, 0.0), 100_000.0)

    assert book.mends[0].repair.startswith("rep_")


def test_a_fault_that_nothing_cures_is_named() -> None:
    book, unknown = cost_book(catalogue(), {"glow": FaultFacts("Glow")}, Charge(), 100_000.0)

    assert unknown == ("glow",)
    assert book.mends == ()


def test_a_repair_may_grow_into_others_and_be_done_again() -> None:
    held = catalogue()
    repair = held.repairs["rep_clutch_fwd"]
    pieces = repair_pieces(repair, repair.first_choice, held)

    assert pieces[0].key == "rep_clutch_fwd"
    assert {p.chance for p in pieces[1:]} == {repair.redo.chance, *(c for _, c in repair.grows)} - {0.0}


def test_lessons_shift_the_next_estimate_of_the_same_work() -> None:
    from driveout.lessons import HOURS, Job, fit

    learned = fit(tuple(Job("rep-clutch-fwd", 20.0, 34.0, True, HOURS) for _ in range(6)))
    plain = a_car().book.mends
    taught = a_car(Plan(hours=learned)).book.mends
    hours = [
        sum(p.hours.mean for p in next(m for m in book if m.fault == "drv_clutch_worn").pieces)
        for book in (plain, taught)
    ]

    assert hours[1] > 1.1 * hours[0]


def test_the_frozen_lines_hold_purchase_likely_repairs_and_a_reserve() -> None:
    lines = {line.key: line for line in estimate_lines(a_car(), 80_000.0)}

    assert lines["purchase"].planned_money("USD").minor == 80_000
    assert {"papers", "outside-work", "rep_clutch_fwd", "reserve"} <= lines.keys()
    assert "rep_head_gasket" not in lines
    clutch = lines["rep_clutch_fwd"]
    assert clutch.money is not None
    assert clutch.hours is not None
    assert clutch.money.low < clutch.money.likely < clutch.money.high
    assert clutch.hours.low < clutch.hours.likely < clutch.hours.high


def test_a_cheap_repair_that_seldom_cures_is_followed_by_the_next_best() -> None:
    held = catalogue()
    facts = {"eng_oil_burning": FaultFacts("Burns oil")}
    book, _ = cost_book(held, facts, Charge(1.0, 1500.0, 0.0), 490_000.0)
    (mend,) = book.mends
    repair = held.repairs[mend.repair]
    after = [p for p in mend.pieces if "did not cure it" in p.label]

    assert sum(p.chance for p in after) == pytest.approx(max(1.0 - repair.fixes - repair.redo.chance, 0.0))
