"""A yard with three cars in work, one of them far over its estimate, and a history of closed ones."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from driveout.demo.actions import finished_car, usd, value
from driveout.hunt.actions import add_advert, buy, reading_of
from driveout.lessons.actions import close_car, frozen_estimate
from driveout.money.actions import book_hours, book_own_money, book_receipt
from driveout.outlook.actions import OwnWays, set_own_ways
from driveout.repairs.actions import choose_repair, finish_repair
from driveout.selling.actions import make_plan, put_ask, record_offer, sell_car
from driveout.store import Tx

ADVERT = """Tarnwick {model}, made {year}, {miles} miles, Brackenford. {story} Clean title in hand. Asking ${asking}."""


def a_car(tx: Tx, at: datetime, model: str, story: str, asking: int, likely: int, **more: object) -> int:
    """Read an advert of an invented car; return its number."""
    text = ADVERT.format(
        model=model,
        story=story,
        asking=asking,
        year=more.get("year", 2013),
        miles=more.get("miles", "96,000"),
    )
    read = reading_of(tx, text, "USD", at)
    advert = read.advert(
        clean_value=value(str(round(0.9 * likely)), str(likely), str(round(1.1 * likely))),
        distance_km=20,
        seen_on=at.date(),
    )
    advert = replace(advert, name=f"Tarnwick {model}")
    return add_advert(tx, advert, at=at, original=text, shown=read.text, items=read.as_dict()["read"]).id


def three_cars(tx: Tx, at: datetime) -> tuple[int, int, int]:
    """Three cars in hand: one worth finishing, one worth more as it stands, one far over its hours."""
    book_own_money(tx, usd("9000"), (at - timedelta(days=60)).date(), at=at)
    day = at - timedelta(days=40)
    finish = a_car(tx, day, "Linnet 1.4", "Starter is dead, runs once going.", 950, 7200)
    buy(tx, finish, usd("900"), at=day)
    choose_repair(tx, finish, "rep_starter", "new", at=day)

    selling = a_car(tx, day, "Pipit 1.2", "Clutch slips in high gears.", 700, 2600)
    buy(tx, selling, usd("650"), at=day)
    choose_repair(tx, selling, "rep_clutch_fwd", "new", at=day)
    set_own_ways(tx, selling, OwnWays(as_it_stands=150000), at=day)

    over = a_car(
        tx, day, "Dunnock 2.0", "Engine knocks, smokes blue, drinks oil.", 800, 3000, miles="148,000"
    )
    buy(tx, over, usd("780"), at=day)
    choose_repair(tx, over, "rep_clutch_fwd", "new", at=day)
    for n in range(18):
        when = day + timedelta(days=2 + n)
        book_hours(tx, over, "rep-clutch-fwd", 8 + n / 4, when, day=when.date(), line="rep_clutch_fwd")
    book_receipt(
        tx, over, "parts", usd("640"), "Parts nobody foresaw", "Quillan Motor Factors", day.date(), at=day
    )
    return finish, selling, over


def with_an_offer(tx: Tx, at: datetime) -> int:
    """A car for sale on which an offer waits."""
    day = at - timedelta(days=20)
    car = a_car(tx, day, "Wagtail 1.0", "Starter is dead, runs once going.", 700, 2600)
    buy(tx, car, usd("650"), at=day)
    choose_repair(tx, car, "rep_starter", "new", at=day)
    finish_repair(tx, car, "rep_starter", at=day + timedelta(days=3))
    make_plan(tx, car, {"value": "2550", "value_sd": 0.1, "fallback": "1200"}, at=day + timedelta(days=5))
    put_ask(tx, car, usd("2500"), at=day + timedelta(days=5))
    record_offer(tx, car, usd("2300"), buyer="M. Penhalow", at=at - timedelta(days=1))
    return car


def closed_cars(tx: Tx, at: datetime, count: int = 8, factor: float = 1.3) -> None:
    """Cars whose work took that much longer than said, closed one after the other."""
    for n in range(count):
        day = at - timedelta(days=40 * (count - n) + 60)
        car = a_car(tx, day, f"Pipit 1.{n}", "Clutch slips in high gears.", 700, 2600)
        buy(tx, car, usd("650"), at=day)
        choose_repair(tx, car, "rep_clutch_fwd", "new", at=day)
        estimate = frozen_estimate(tx, car)
        assert estimate is not None
        when = day
        for line in estimate.lines:
            left = (
                # The truth is that much of what was said, whatever earlier lessons have made of it.
                Decimal(str(round(factor * line.planned_minutes / 60 / line.hours_learned, 2)))
                if line.key != "reserve"
                else Decimal(0)
            )
            while left > 0:
                when += timedelta(days=1)
                piece = min(Decimal(20), left)
                book_hours(tx, car, line.kind_of_work, piece, when, day=when.date(), line=line.key)
                left -= piece
        sell_car(
            tx,
            car,
            usd("2400"),
            at=day + timedelta(days=30),
            day=(day + timedelta(days=30)).date(),
            buyer="R. Sorrel",
        )
        close_car(tx, car, day + timedelta(days=31))


__all__ = ["a_car", "closed_cars", "finished_car", "three_cars", "with_an_offer"]
