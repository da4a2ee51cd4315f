"""Dated moves of a car in hand: nothing twice, hoped-for sales only with a day."""

from __future__ import annotations

import dataclasses
import datetime
import xml.etree.ElementTree as ET

from driveout.lessons.cash_to_come import CarInHand, cash_svg, moves_of
from driveout.money import OpenCore
from driveout.money import bookings as book
from driveout.money.cash_ahead import Planned, cash_ahead
from driveout.parts import Offer, Part, PartLine
from tests.lessons import an_estimate
from tests.money.story import CAR, day, usd

TODAY = day(0)


def in_hand(**changes: object) -> CarInHand:
    given: dict = {
        "car_id": 1,
        "name": "Linnet",
        "estimate": an_estimate(),
        "booked": {},
        "parts": (),
        "cores": (),
        "held": usd("0"),
    }
    return CarInHand(**{**given, **changes})


def amounts(car: CarInHand) -> dict[datetime.date, int]:
    moves, _ = moves_of(car, TODAY)
    sums: dict[datetime.date, int] = {}
    for move in moves:
        sums[move.day] = sums.get(move.day, 0) + move.amount.minor
    return sums


def ordered(key: str, price: str, core: str = "0") -> Part:
    offer = Offer("Counter", usd(price), 3, core=usd(core) if core != "0" else None)
    return Part(7, 1, PartLine(key, "Clutch kit"), "ordered", offer, TODAY, day(3))


def rest(car: CarInHand) -> int:
    return amounts(car).get(TODAY, 0)


def test_what_the_estimate_still_holds_counts_today_without_the_purchase() -> None:
    said = an_estimate()
    planned = sum(line.planned_money("USD").minor for line in said.lines if line.kind != "purchase")

    assert rest(in_hand()) == -planned
    # Two tyres were estimated at exactly 120; 100 of them are booked, so 20 are left.
    assert rest(in_hand(booked={"tyres": 10000})) == -planned + 10000
    # A line that cost more than planned frees nothing elsewhere.
    assert rest(in_hand(booked={"tyres": 90000})) == -planned + 12000


def test_an_ordered_part_counts_on_its_day_and_not_again_in_the_estimate() -> None:
    car = in_hand(parts=(ordered("tyres", "90", core="15"),))
    moves, undated = moves_of(car, TODAY)

    assert amounts(car)[day(3)] == -10500
    assert rest(car) == rest(in_hand()) + 9000
    assert [one.amount for one in undated] == [usd("15")]
    assert len(moves) == 2


def test_a_core_deposit_comes_back_on_the_last_day_of_return_or_stays_without_a_day() -> None:
    receipt = dataclasses.replace(
        book.receipt(CAR, "parts", usd("188.60"), "Clutch kit", TODAY, core=usd("40")), number=5
    )
    core = OpenCore(receipt, usd("40"))
    here = Part(7, 1, PartLine("clutch", "Clutch kit"), "here", receipt=5, return_by=day(20))

    assert amounts(in_hand(estimate=None, cores=(core,), parts=(here,))) == {day(20): 4000}
    moves, undated = moves_of(in_hand(estimate=None, cores=(core,)), TODAY)
    assert (moves, [one.amount for one in undated]) == ((), [usd("40")])


def test_a_part_that_does_not_fit_brings_its_price_back() -> None:
    offer = Offer("Counter", usd("120"), 0, return_days=20)
    part = Part(7, 1, PartLine("x", "Pump"), "here", offer, fits=False, return_by=day(20))

    assert amounts(in_hand(estimate=None, parts=(part,))) == {day(20): 12000}


def test_a_sale_counts_on_its_typed_day_less_fees_and_the_deposit_held() -> None:
    sale = Planned(day(30), usd("3000"), "Linnet: expected sale", "sale", 1)

    # Fees of the frozen estimate: 20.
    assert amounts(in_hand(sale=sale, held=usd("100"))).get(day(30)) == 300000 - 10000 - 2000
    assert day(30) not in amounts(in_hand())


def test_the_drawing_keeps_every_word_inside_and_names_the_lowest_point() -> None:
    for at in (1, 15, 29):
        moves = [
            Planned(day(at), usd("-1200.50"), "out"),
            Planned(day(30), usd("3000"), "in"),
        ]
        svg = ET.fromstring(cash_svg(cash_ahead(usd("900"), moves, TODAY)))
        assert "lowest -300.50 USD" in svg.attrib["aria-label"]
        for text in svg.iter("text"):
            # A letter of 14 px is at most 9 px wide on average.
            wide, left = 9 * len(text.text or ""), float(text.attrib["x"])
            left -= {"end": wide, "middle": wide / 2}.get(text.attrib.get("text-anchor", ""), 0)
            assert left >= 0
            assert left + wide <= 360
    assert cash_svg(cash_ahead(usd("900"), [], TODAY)) == ""
