"""Freeze, work, sell, close: the lesson changes the next estimate and can be taken back."""

from __future__ import annotations

import datetime

import pytest

from driveout.cars.actions import add_car
from driveout.errors import BadEntry, CannotSay, Conflict
from driveout.lessons import actions, next_estimate
from driveout.money import actions as money
from driveout.store import Tx
from driveout.uncertain import ThreePoint
from tests.lessons import an_estimate
from tests.money.story import usd

AT = datetime.datetime(2026, 5, 4, 18, 0, tzinfo=datetime.UTC)
DAY = AT.date()
SAID = ThreePoint(3, 4, 7)


def a_worked_car(tx: Tx, clutch_hours: float = 8) -> int:
    car_id = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=AT).id
    said = an_estimate()
    actions.freeze(
        tx, car_id, said.lines, AT, sale_price=said.sale_price, selling_fees=said.selling_fees, wage=said.wage
    )
    money.book_purchase(tx, car_id, usd("1450"), DAY, at=AT)
    money.book_receipt(
        tx, car_id, "parts", usd("188.60"), "Kit", "", DAY, at=AT, core=usd("40"), line="clutch"
    )
    money.book_hours(tx, car_id, "clutch", clutch_hours, AT)
    return car_id


def a_closed_car(tx: Tx, clutch_hours: float = 8) -> int:
    car_id = a_worked_car(tx, clutch_hours)
    (core,) = money.cores_open(tx, car_id)
    money.book_core_return(tx, car_id, core.receipt.number, DAY, at=AT)
    money.book_sale(tx, car_id, usd("3000"), None, DAY, at=AT)
    actions.close_car(tx, car_id, AT)
    return car_id


def test_the_lesson_of_one_car_changes_the_next_ones_estimate(tx: Tx) -> None:
    assert next_estimate("clutch", SAID, actions.history(tx)) == SAID
    a_closed_car(tx)
    after = next_estimate("clutch", SAID, actions.history(tx))

    assert after.likely > SAID.likely


def test_a_closed_car_has_profit_per_hour_and_a_variance_to_the_cent(tx: Tx) -> None:
    result = actions.result_of(tx, a_closed_car(tx))

    # By hand: 3000 - 1450 - 148.60 = 1401.40; over 8 h = 175.175, half to even.
    assert result.profit == usd("1401.40")
    assert result.per_hour == usd("175.18")
    assert result.variance is not None
    assert sum(line.effect.minor for line in result.variance.lines) == result.variance.total.minor


def test_a_frozen_estimate_may_change_until_the_car_is_bought(tx: Tx) -> None:
    car_id = add_car(tx, name="Linnet", currency="USD", at=AT).id
    actions.freeze(tx, car_id, an_estimate().lines[:1], AT)
    actions.freeze(tx, car_id, an_estimate().lines, AT)
    money.book_purchase(tx, car_id, usd("1450"), DAY, at=AT)
    with pytest.raises(BadEntry, match="It stays as it was"):
        actions.freeze(tx, car_id, an_estimate().lines[:1], AT)

    frozen = actions.frozen_estimate(tx, car_id)
    assert frozen is not None
    assert frozen.lines == an_estimate().lines


def test_hours_of_a_car_sold_but_not_closed_are_no_lower_bound(tx: Tx) -> None:
    car_id = a_worked_car(tx)
    assert any(not job.finished for job in actions.history(tx))
    money.book_sale(tx, car_id, usd("3000"), None, DAY, at=AT)

    assert actions.history(tx) == ()


def test_the_day_of_closing_is_known_without_the_journal(tx: Tx) -> None:
    assert actions.closed_at(tx, a_worked_car(tx)) is None
    assert actions.closed_at(tx, a_closed_car(tx)) == AT


def test_a_car_not_sold_cannot_be_closed(tx: Tx) -> None:
    with pytest.raises(CannotSay, match="not sold yet"):
        actions.close_car(tx, a_worked_car(tx), AT)


def test_a_car_with_an_open_core_deposit_cannot_be_closed(tx: Tx) -> None:
    car_id = a_worked_car(tx)
    money.book_sale(tx, car_id, usd("3000"), None, DAY, at=AT)
    with pytest.raises(Conflict, match=r"Core deposits of 40\.00 USD"):
        actions.close_car(tx, car_id, AT)


def test_closing_twice_is_a_conflict_and_reopening_takes_the_lesson_back(tx: Tx) -> None:
    car_id = a_closed_car(tx)
    with pytest.raises(Conflict, match="was closed on"):
        actions.close_car(tx, car_id, AT)
    with pytest.raises(BadEntry, match="Say why"):
        actions.reopen_car(tx, car_id, " ", AT)
    actions.reopen_car(tx, car_id, "a receipt turned up", AT)

    assert not actions.lessons_of(tx, car_id)
    with pytest.raises(Conflict, match="is not closed"):
        actions.reopen_car(tx, car_id, "again", AT)
    money.book_receipt(tx, car_id, "fees", usd("20"), "Late bill", "", DAY, at=AT)
    assert actions.close_car(tx, car_id, AT).profit == usd("1381.40")


def test_a_lesson_set_aside_teaches_nothing_until_taken_up_again(tx: Tx) -> None:
    a_closed_car(tx)
    clutch = next(lesson for lesson in actions.lessons_of(tx) if lesson.taught.job.measure == "hours")
    aside = actions.set_aside(tx, clutch.id, clutch.version, AT)

    assert next_estimate("clutch", SAID, actions.history(tx)) == SAID
    with pytest.raises(Conflict, match="another window"):
        actions.set_aside(tx, clutch.id, clutch.version, AT)
    actions.set_aside(tx, clutch.id, aside.version, AT, counts=True)
    assert next_estimate("clutch", SAID, actions.history(tx)).likely > SAID.likely
    with pytest.raises(BadEntry, match="no lesson 999"):
        actions.set_aside(tx, 999, 1, AT)


def test_work_under_way_beyond_its_estimate_already_teaches(tx: Tx) -> None:
    a_worked_car(tx, clutch_hours=9)
    jobs = actions.history(tx)

    assert [(job.kind, job.finished, job.actual) for job in jobs] == [("clutch", False, 9.0)]
    assert next_estimate("clutch", SAID, jobs).likely > SAID.likely
    assert actions.history(tx, under_way=False) == ()


def test_a_car_without_an_estimate_has_a_result_but_no_variance(tx: Tx) -> None:
    car_id = add_car(tx, name="Linnet", currency="USD", at=AT).id
    money.book_purchase(tx, car_id, usd("1000"), DAY, at=AT)
    money.book_sale(tx, car_id, usd("1500"), None, DAY, at=AT)
    result = actions.close_car(tx, car_id, AT)

    assert (result.variance, result.taught, result.per_hour) == (None, (), None)
    assert actions.so_far(tx, car_id).estimate is None


def test_cost_so_far_stands_beside_the_estimate_before_the_sale(tx: Tx) -> None:
    shown = actions.so_far(tx, a_worked_car(tx))

    assert [(a.key, a.cost) for a in shown.booked] == [("purchase", usd("1450")), ("clutch", usd("148.60"))]
    assert shown.booked[1].minutes == 480
