"""Parts are ranked by what they really cost and followed until they are in or back."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from driveout.cars.actions import add_car, change_stage, trail_of
from driveout.errors import BadEntry, Conflict
from driveout.money import actions as money
from driveout.parts import Offer, PartLine, actions, order_by, ranked_offers
from driveout.store import Tx
from tests.money.story import usd

AT = datetime.datetime(2026, 5, 4, 18, 0, tzinfo=datetime.UTC)
DAY = AT.date()
NEAR = Offer("Counter in Brackenford", usd("120"), 0, core=usd("40"), return_days=30, warranty_days=365)
FAR = Offer("By post", usd("95"), 5, shipping=usd("6"))
KIT = PartLine("clutch", "Clutch kit")


@pytest.fixture
def car(tx: Tx) -> int:
    return add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=AT).id


def test_waiting_turns_the_cheaper_offer_into_the_dearer_one() -> None:
    # By hand: 95 + 6 = 101 against 120; five days at 3 a day are 15 (116), at 4 a day 20 (121).
    assert [one.offer.shop for one in ranked_offers([NEAR, FAR], usd("3"))] == [
        "By post",
        "Counter in Brackenford",
    ]
    assert [one.whole for one in ranked_offers([NEAR, FAR], usd("4"))] == [usd("120"), usd("121")]
    assert ranked_offers([], usd("4")) == ()


def test_days_that_are_waited_in_any_case_cost_nothing_extra() -> None:
    assert ranked_offers([FAR], usd("50"))[0].waiting == usd("0")


def test_a_core_deposit_is_paid_but_is_no_cost() -> None:
    assert (NEAR.landed, NEAR.to_pay) == (usd("120"), usd("160"))


def test_a_part_needed_on_a_day_is_ordered_its_lead_time_before() -> None:
    assert order_by(DAY, FAR) == DAY - datetime.timedelta(days=5)


def test_parts_are_put_on_the_list_once(tx: Tx, car: int) -> None:
    actions.need_parts(tx, car, [KIT, PartLine("cooling", "Water pump")], at=AT)

    assert actions.need_parts(tx, car, [KIT], at=AT) == ()
    assert [part.line.what for part in actions.parts_of(tx, car)] == ["Clutch kit", "Water pump"]


def an_ordered_kit(tx: Tx, car: int, offer: Offer = NEAR) -> int:
    (part,) = actions.need_parts(tx, car, [KIT], at=AT)
    kept = actions.add_offer(tx, car, part.id, offer, at=AT)
    actions.order_part(tx, car, part.id, kept.id, DAY, at=AT)
    return part.id


def test_a_part_received_is_paid_in_the_journal_with_its_core(tx: Tx, car: int) -> None:
    part = actions.receive_part(tx, car, an_ordered_kit(tx, car), DAY, at=AT)

    assert money.cost_so_far(tx, car).by_kind["parts"] == usd("120")
    assert [core.owed for core in money.cores_open(tx, car)] == [usd("40")]
    assert part.return_by == DAY + datetime.timedelta(days=30)
    assert part.warranty_until == DAY + datetime.timedelta(days=365)
    assert "line-clutch" in money.car_entries(tx, car)[0].links


def test_a_part_that_does_not_fit_goes_back_with_its_core_and_leaves_only_the_fee(tx: Tx, car: int) -> None:
    part = actions.receive_part(tx, car, an_ordered_kit(tx, car), DAY, at=AT, fits=False)
    words = [one.words for one in actions.parts_to_do(tx, car, DAY)]
    actions.give_back(tx, car, part.id, usd("120"), DAY, at=AT, fee=usd("18"))

    assert words == ["Give Clutch kit back: it does not fit", "Hand in the old unit for Clutch kit"]
    assert money.cost_so_far(tx, car).total_cost == usd("18")
    assert money.cores_open(tx, car) == ()
    assert actions.set_state(tx, car, part.id, "needed", at=AT).state == "needed"


def test_a_late_part_is_asked_after(tx: Tx, car: int) -> None:
    an_ordered_kit(tx, car, FAR)

    assert actions.parts_to_do(tx, car, DAY + datetime.timedelta(days=5)) == ()
    (late,) = actions.parts_to_do(tx, car, DAY + datetime.timedelta(days=6))
    assert late.words == "Ask after Clutch kit: 1 day late"


def test_a_part_that_comes_later_is_asked_after_later_and_the_trail_keeps_both_days(tx: Tx, car: int) -> None:
    part = an_ordered_kit(tx, car, FAR)
    new = DAY + datetime.timedelta(days=9)
    moved = actions.expect_later(tx, car, part, new, at=AT)

    assert moved.expected_on == new
    assert actions.parts_to_do(tx, car, DAY + datetime.timedelta(days=6)) == ()
    assert trail_of(tx, car)[0].data["before"] == str(DAY + datetime.timedelta(days=5))
    with pytest.raises(BadEntry, match="before the order"):
        actions.expect_later(tx, car, part, DAY - datetime.timedelta(days=1), at=AT)
    actions.receive_part(tx, car, part, DAY, at=AT)
    with pytest.raises(BadEntry, match="not ordered"):
        actions.expect_later(tx, car, part, new, at=AT)


def test_a_part_that_came_is_held_against_the_old_one(tx: Tx, car: int) -> None:
    part = actions.receive_part(tx, car, an_ordered_kit(tx, car, FAR), DAY, at=AT)
    assert "Hold Clutch kit against the old one" in actions.parts_to_do(tx, car, DAY)[0].words
    actions.note_fit(tx, car, part.id, True, at=AT)

    assert actions.parts_to_do(tx, car, DAY) == ()


def test_a_part_bought_over_the_counter_needs_its_price(tx: Tx, car: int) -> None:
    (part,) = actions.need_parts(tx, car, [KIT], at=AT)
    assert actions.parts_to_do(tx, car, DAY)[0].words == "Order Clutch kit"
    with pytest.raises(BadEntry, match="Say what was paid"):
        actions.receive_part(tx, car, part.id, DAY, at=AT)
    free = actions.receive_part(tx, car, part.id, DAY, at=AT, paid=usd("0"))

    assert free.receipt is None
    with pytest.raises(BadEntry, match="No payment"):
        actions.give_back(tx, car, part.id, usd("1"), DAY, at=AT)


def test_a_part_cannot_jump_states(tx: Tx, car: int) -> None:
    part_id = an_ordered_kit(tx, car)
    with pytest.raises(BadEntry, match="cannot become 'given back'"):
        actions.give_back(tx, car, part_id, usd("1"), DAY, at=AT)
    with pytest.raises(BadEntry, match="not here"):
        actions.note_fit(tx, car, part_id, True, at=AT)
    with pytest.raises(BadEntry, match="reached by ordering"):
        actions.set_state(tx, car, part_id, "here", at=AT)
    actions.set_state(tx, car, part_id, "not needed", at=AT)
    with pytest.raises(BadEntry, match="cannot become 'here'"):
        actions.receive_part(tx, car, part_id, DAY, at=AT, paid=usd("1"))


def test_two_windows_on_one_part_are_a_conflict(tx: Tx, car: int) -> None:
    part_id = an_ordered_kit(tx, car)
    with pytest.raises(Conflict, match="another window"):
        actions.receive_part(tx, car, part_id, DAY, at=AT, version=1)


def test_a_part_of_another_car_or_none_is_refused(tx: Tx, car: int) -> None:
    other = add_car(tx, name="Another", currency="EUR", at=AT).id
    part_id = an_ordered_kit(tx, car)
    with pytest.raises(BadEntry, match="another car"):
        actions.set_state(tx, other, part_id, "needed", at=AT)
    with pytest.raises(BadEntry, match="no part number"):
        actions.set_state(tx, car, 999, "needed", at=AT)
    (euro,) = actions.need_parts(tx, other, [KIT], at=AT)
    with pytest.raises(BadEntry, match="not in EUR"):
        actions.add_offer(tx, other, euro.id, NEAR, at=AT)
    with pytest.raises(BadEntry, match="no offer 77"):
        actions.order_part(tx, other, euro.id, 77, DAY, at=AT)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: PartLine("a", " "), "what part it is"),
        (lambda: PartLine("a", "Pump", Decimal(0)), "outside 0 to 1000"),
        (lambda: PartLine("a", "Pump", Decimal(1001)), "outside 0 to 1000"),
        (lambda: Offer(" ", usd("1"), 0), "who sells it"),
        (lambda: Offer("x", usd("1"), -1), "outside 0 to 3650"),
        (lambda: Offer("x", usd("1"), 0, "mint"), "not a condition"),
        (lambda: Offer("x", usd("-1"), 0), "not below 0"),
        (lambda: Offer("x", usd("1"), 0, core=type(usd("1"))(5, "EUR")), "must be in USD"),
    ],
)
def test_parts_and_offers_that_make_no_sense_are_refused(make: object, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        make()  # type: ignore[operator]


def test_nothing_is_ordered_for_a_car_that_is_sold(tx: Tx, car: int) -> None:
    actions.need_parts(tx, car, [KIT], at=AT)
    for stage in ("bought", "for sale", "sold"):
        change_stage(tx, car, stage, AT)

    assert actions.parts_to_do(tx, car, DAY) == ()
