"""What a person books is booked once, in order, and moves the car."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from driveout.cars.actions import add_car, get_car, trail_of
from driveout.errors import BadEntry, Conflict
from driveout.money import actions, balances
from driveout.money.bank_file import BankLine
from driveout.money.journal import reversed_number
from driveout.store import Tx
from driveout.units import Money
from tests.money.judges import cents_off
from tests.money.story import usd

AT = datetime.datetime(2026, 5, 4, 18, 0, tzinfo=datetime.UTC)
DAY = AT.date()


@pytest.fixture
def car(tx: Tx) -> int:
    car_id = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=AT).id
    actions.book_purchase(tx, car_id, usd("1450"), DAY, at=AT, token="buy")
    return car_id


def test_buying_moves_the_car_on_and_is_said_in_its_trail(tx: Tx, car: int) -> None:
    assert get_car(tx, car).stage == "bought"
    assert any("Bought for 1,450.00 USD" in event.summary for event in trail_of(tx, car))
    assert actions.cost_so_far(tx, car).total_cost == usd("1450")


def test_a_form_sent_twice_is_booked_once(tx: Tx, car: int) -> None:
    first = actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT, token="t1")
    second = actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT, token="t1")

    assert first.number == second.number
    assert actions.cost_so_far(tx, car).by_kind["parts"] == usd("60")
    assert sum("Receipt: Pump" in event.summary for event in trail_of(tx, car)) == 1


def test_a_car_is_not_bought_twice(tx: Tx, car: int) -> None:
    assert actions.book_purchase(tx, car, usd("1450"), DAY, at=AT, token="buy").number == 1
    with pytest.raises(BadEntry, match="was bought already"):
        actions.book_purchase(tx, car, usd("1450"), DAY, at=AT, token="other")


def test_what_is_booked_comes_back_as_it_was(tx: Tx, car: int) -> None:
    booked = actions.book_receipt(
        tx,
        car,
        "parts",
        usd("188.60"),
        "Clutch kit",
        "Brackenford Motor Factors",
        DAY,
        at=AT,
        core=usd("40"),
        line="clutch",
        quantity=Decimal(2),
        photo="ab12",
    )

    assert actions.car_entries(tx, car)[-1] == booked
    assert actions.all_balances(tx) == balances(actions.every_entry(tx))


def test_a_core_goes_out_and_comes_back(tx: Tx, car: int) -> None:
    kit = actions.book_receipt(tx, car, "parts", usd("188.60"), "Clutch kit", "", DAY, at=AT, core=usd("40"))
    (open_core,) = actions.cores_open(tx, car)
    actions.book_core_return(tx, car, kit.number, DAY, at=AT, token="c")
    actions.book_core_return(tx, car, kit.number, DAY, at=AT, token="c")

    assert open_core.owed == usd("40")
    assert actions.cores_open(tx, car) == ()
    with pytest.raises(BadEntry, match="No core deposit is open"):
        actions.book_core_return(tx, car, kit.number, DAY, at=AT)


def test_a_refund_above_what_was_paid_is_refused(tx: Tx, car: int) -> None:
    pump = actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT)
    actions.book_refund(tx, car, pump.number, usd("60"), DAY, at=AT, fee=usd("6"), token="r")
    actions.book_refund(tx, car, pump.number, usd("60"), DAY, at=AT, fee=usd("6"), token="r")

    assert actions.cost_so_far(tx, car).total_cost == usd("1456")
    with pytest.raises(BadEntry, match=r"above the 0\.00 USD still paid"):
        actions.book_refund(tx, car, pump.number, usd("0.01"), DAY, at=AT)


def test_the_same_photo_is_not_booked_twice(tx: Tx, car: int) -> None:
    actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT, photo="ab")
    with pytest.raises(BadEntry, match="photo was booked before"):
        actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT, photo="ab")


def test_another_currency_and_a_day_to_come_are_refused(tx: Tx, car: int) -> None:
    with pytest.raises(BadEntry, match="kept in USD"):
        actions.book_receipt(tx, car, "parts", Money(100, "EUR"), "Pump", "", DAY, at=AT)
    with pytest.raises(BadEntry, match="lies in the future"):
        actions.book_receipt(tx, car, "parts", usd("1"), "Pump", "", DAY + datetime.timedelta(days=2), at=AT)


def test_the_same_work_on_the_same_day_needs_a_word(tx: Tx, car: int) -> None:
    actions.book_hours(tx, car, "clutch", 1.5, AT)
    with pytest.raises(BadEntry, match="stands on 2026-05-04 already"):
        actions.book_hours(tx, car, "clutch", 1.5, AT)
    actions.book_hours(tx, car, "clutch", 1.5, AT, again=True)

    assert actions.cost_so_far(tx, car).minutes == 180


def test_a_timed_hour_is_not_booked_twice_even_on_another_car(tx: Tx, car: int) -> None:
    other = add_car(tx, name="Another", currency="USD", at=AT).id
    began = AT - datetime.timedelta(hours=3)
    actions.book_hours(tx, car, "clutch", 1, AT, began=began)
    with pytest.raises(BadEntry, match="overlaps entry"):
        actions.book_hours(tx, other, "paint", 1, AT, began=began + datetime.timedelta(minutes=59))

    assert actions.book_hours(tx, other, "paint", 1, AT, began=began + datetime.timedelta(minutes=60))


def test_overlap_is_seen_through_a_clock_change_and_over_midnight(tx: Tx, car: int) -> None:
    # 2025-10-26 in central Europe: 02:30 summer time and 02:30 winter time are an hour apart.
    summer = datetime.timezone(datetime.timedelta(hours=2))
    winter = datetime.timezone(datetime.timedelta(hours=1))
    first = datetime.datetime(2025, 10, 26, 2, 30, tzinfo=summer)
    actions.book_hours(tx, car, "clutch", 1, AT, began=first)
    actions.book_hours(tx, car, "clutch", 1, AT, began=first.replace(tzinfo=winter))
    late = datetime.datetime(2025, 10, 27, 23, 30, tzinfo=datetime.UTC)
    actions.book_hours(tx, car, "paint", 1, AT, began=late)
    with pytest.raises(BadEntry, match="overlaps entry"):
        actions.book_hours(tx, car, "paint", 1, AT, began=late + datetime.timedelta(minutes=40))


def test_a_day_has_24_hours_over_all_cars_and_reversed_hours_are_free_again(tx: Tx, car: int) -> None:
    entry = actions.book_hours(tx, car, "clutch", 20, AT)
    with pytest.raises(BadEntry, match="more than a day has"):
        actions.book_hours(tx, car, "paint", 4.5, AT)
    actions.reverse_entry(tx, entry.number, "typed 20 for 2", at=AT)

    assert actions.book_hours(tx, car, "paint", 4.5, AT)
    with pytest.raises(BadEntry, match="what kind of work"):
        actions.book_hours(tx, car, " ", 1, AT)


def test_reversal_takes_back_once_and_only_what_nothing_leans_on(tx: Tx, car: int) -> None:
    kit = actions.book_receipt(tx, car, "parts", usd("188.60"), "Clutch kit", "", DAY, at=AT, core=usd("40"))
    back = actions.book_core_return(tx, car, kit.number, DAY, at=AT)
    with pytest.raises(BadEntry, match="leans on entry"):
        actions.reverse_entry(tx, kit.number, "wrong car", at=AT)
    actions.reverse_entry(tx, back.number, "wrong car", at=AT, token="x")
    actions.reverse_entry(tx, back.number, "wrong car", at=AT, token="x")
    mirror = actions.reverse_entry(tx, kit.number, "wrong car", at=AT)

    assert reversed_number(mirror) == kit.number
    assert actions.cost_so_far(tx, car).total_cost == usd("1450")
    with pytest.raises(BadEntry, match="taken back before"):
        actions.reverse_entry(tx, kit.number, "again", at=AT)
    with pytest.raises(BadEntry, match="no entry 999"):
        actions.reverse_entry(tx, 999, "", at=AT)


def test_supplies_go_from_the_shelf_to_two_cars_and_the_cents_add_up(tx: Tx, car: int) -> None:
    other = add_car(tx, name="Another", currency="USD", at=AT).id
    lot = actions.buy_supplies(tx, usd("10"), "Grease", Decimal(3), "tube", DAY, at=AT)
    actions.issue_supplies(tx, lot.number, {car: Decimal(1), other: Decimal(1)}, DAY, at=AT, token="i")
    actions.issue_supplies(tx, lot.number, {car: Decimal(1), other: Decimal(1)}, DAY, at=AT, token="i")
    (shelf,) = actions.supplies_on_shelf(tx)
    costs = [actions.cost_so_far(tx, c).by_kind["supplies"].minor for c in (car, other)]

    assert (shelf.left, shelf.worth.minor + sum(costs)) == (Decimal(1), 1000)
    actions.issue_supplies(tx, lot.number, {car: Decimal(1)}, DAY, at=AT)
    assert actions.supplies_on_shelf(tx) == ()
    assert actions.all_balances(tx)["Assets:Supplies", "USD"] == 0
    with pytest.raises(BadEntry, match="not on the shelf"):
        actions.issue_supplies(tx, lot.number, {car: Decimal(1)}, DAY, at=AT)


def test_a_sale_empties_the_car_moves_it_on_and_happens_once(tx: Tx, car: int) -> None:
    actions.book_buyer_deposit(tx, car, usd("200"), "R. Sorrel", DAY, at=AT)
    actions.book_sale(tx, car, usd("3390"), usd("29.50"), DAY, at=AT, buyer="R. Sorrel", token="s")
    actions.book_sale(tx, car, usd("3390"), usd("29.50"), DAY, at=AT, buyer="R. Sorrel", token="s")

    assert get_car(tx, car).stage == "sold"
    assert actions.cost_so_far(tx, car).profit == usd("1910.50")
    assert actions.cost_so_far(tx, car).work_in_progress == usd("0")
    with pytest.raises(Conflict, match="sold already"):
        actions.book_sale(tx, car, usd("3390"), None, DAY, at=AT)
    with pytest.raises(BadEntry, match="sold already"):
        actions.book_buyer_deposit(tx, car, usd("1"), "", DAY, at=AT)


def test_a_receipt_in_a_sold_cars_cost_is_refunded_not_reversed(tx: Tx, car: int) -> None:
    pump = actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT)
    actions.book_sale(tx, car, usd("3000"), None, DAY, at=AT)
    with pytest.raises(BadEntry, match="Take the sale back first"):
        actions.reverse_entry(tx, pump.number, "returned", at=AT)
    actions.book_refund(tx, car, pump.number, usd("60"), DAY, at=AT)

    assert actions.cost_so_far(tx, car).profit == usd("1550")


def test_a_sale_that_fell_through_can_be_taken_back_and_sold_again(tx: Tx, car: int) -> None:
    sale = actions.book_sale(tx, car, usd("3000"), None, DAY, at=AT)
    actions.reverse_entry(tx, sale.number, "cheque bounced", at=AT)
    actions.book_receipt(tx, car, "fees", usd("15"), "Bank fee", "", DAY, at=AT)
    actions.book_sale(tx, car, usd("2900"), None, DAY, at=AT)

    assert actions.cost_so_far(tx, car).profit == usd("1435")


def test_a_car_taken_in_exchange_is_bought_at_its_allowance(tx: Tx, car: int) -> None:
    other = add_car(tx, name="Taken in", currency="USD", at=AT).id
    actions.book_sale(tx, car, usd("3000"), None, DAY, at=AT, exchange=(other, usd("700")))

    assert get_car(tx, other).stage == "bought"
    assert actions.cost_so_far(tx, other).by_kind["purchase"] == usd("700")
    assert actions.cost_so_far(tx, car).profit == usd("1550")
    assert actions.all_balances(tx)["Assets:Bank", "USD"] == -145000 + 230000


def test_a_car_is_not_taken_in_exchange_for_itself(tx: Tx, car: int) -> None:
    with pytest.raises(BadEntry, match="for itself"):
        actions.book_sale(tx, car, usd("3000"), None, DAY, at=AT, exchange=(car, usd("700")))


def test_a_deposit_given_back_and_scrap_sold(tx: Tx, car: int) -> None:
    actions.book_buyer_deposit(tx, car, usd("200"), "", DAY, at=AT)
    actions.settle_deposit(tx, car, usd("150"), DAY, at=AT)
    actions.book_by_product(tx, car, usd("12"), "Old clutch", DAY, at=AT, scrap=True)
    actions.buy_tool(tx, usd("80"), "Aligning tool", DAY, at=AT)
    actions.book_travel(tx, car, Decimal("46.2"), "mi", DAY, at=AT, per_unit=Decimal("0.725"))

    assert actions.cost_so_far(tx, car).other_income == usd("62")
    assert actions.cost_so_far(tx, car).distance_mi_tenths == 462
    assert actions.all_balances(tx)["Assets:Tools:Bought", "USD"] == 8000


def test_a_closed_period_stays_closed(tx: Tx, car: int) -> None:
    actions.close_period(tx, DAY, at=AT)
    with pytest.raises(BadEntry, match="closed period"):
        actions.book_receipt(tx, car, "parts", usd("60"), "Pump", "", DAY, at=AT)
    with pytest.raises(BadEntry, match="not opened again"):
        actions.close_period(tx, DAY - datetime.timedelta(days=1), at=AT)


def test_a_journal_file_is_taken_in_once_with_its_references_kept(tx: Tx, car: int) -> None:
    from driveout.money import Journal
    from tests.money.story import car_story

    first = actions.import_journal(tx, Journal("USD", car_story()), at=AT)
    again = actions.import_journal(tx, Journal("USD", car_story()), at=AT)
    number = {entry.narration: entry.number for entry in first}
    core = next(entry for entry in first if entry.narration == "Core handed in: Clutch kit")

    assert (len(first), again) == (len(car_story()), ())
    assert f"core-of-{number['Clutch kit']}" in core.links


def test_a_journal_file_for_a_car_that_is_not_here_is_refused_whole(tx: Tx) -> None:
    from driveout.money import Journal
    from tests.money.story import car_story

    with pytest.raises(BadEntry, match="no car number 1"):
        actions.import_journal(tx, Journal("USD", car_story()), at=AT)
    assert actions.every_entry(tx) == ()


def test_three_programs_agree_on_what_the_record_holds(tx: Tx, car: int, tmp_path: Path) -> None:
    kit = actions.book_receipt(tx, car, "parts", usd("188.60"), "Clutch kit", "", DAY, at=AT, core=usd("40"))
    actions.book_core_return(tx, car, kit.number, DAY, at=AT, back=usd("25"))
    actions.book_hours(tx, car, "clutch", Decimal("3.3333"), AT)
    actions.book_sale(tx, car, usd("3390"), usd("29.50"), DAY, at=AT)
    journal = actions.journal_of(tx, "USD")

    assert cents_off(journal.entries, tmp_path) == {"beancount": 0, "hledger": 0, "ledger": 0}


def test_a_bank_movement_goes_where_it_is_sent_once(tx: Tx, car: int) -> None:
    line = BankLine(DAY, usd("-60"), "Motor Factors", "k1")
    for _ in range(2):
        actions.book_bank_line(tx, line, f"car:{car}:parts", at=AT)
    actions.book_bank_line(tx, BankLine(DAY, usd("-9"), "Coffee", "k2"), "overhead", at=AT)
    actions.book_bank_line(tx, BankLine(DAY, usd("900"), "Transfer", "k3"), "own", at=AT)

    assert actions.cost_so_far(tx, car).by_kind["parts"] == usd("60")
    assert actions.all_balances(tx)["Assets:Bank", "USD"] == -145000 - 6000 - 900 + 90000
    assert actions.suggestions(tx, [line])[0].booked is not None


@pytest.mark.parametrize(
    ("amount", "to", "words"),
    [
        ("60", "car:1:parts", "brought money in"),
        ("-60", "car:x:parts", "names no car"),
        ("-60", "moon", "place for money"),
    ],
)
def test_a_bank_movement_without_a_place_is_refused(
    tx: Tx, car: int, amount: str, to: str, words: str
) -> None:
    with pytest.raises(BadEntry, match=words):
        actions.book_bank_line(tx, BankLine(DAY, usd(amount), "x", "k"), to, at=AT)
