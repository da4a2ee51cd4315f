"""One invented car from first money to sale, and seeded random histories."""

from __future__ import annotations

import datetime
from dataclasses import replace
from decimal import Decimal

import numpy as np

from driveout.money import Entry, balances, checked, cost_of_car, open_cores
from driveout.money import bookings as book
from driveout.money.car_cost import is_sold, refundable
from driveout.money.journal import numbered, reversal, standing, take_back
from driveout.units import Money

CAR = "Car-1"
START = datetime.date(2026, 4, 1)


def usd(amount: str) -> Money:
    return Money.of(amount, "USD")


def day(number: int) -> datetime.date:
    return START + datetime.timedelta(days=number)


class Story:
    """Entries booked one after the other, as the store would number them."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def book(self, entry: Entry) -> Entry:
        entry = replace(checked(entry), number=len(self.entries) + 1)
        self.entries.append(entry)
        return entry


def car_story() -> tuple[Entry, ...]:
    """A clutch and a coolant leak: receipts, core deposit, return, supplies, deposit, sale."""
    story = Story()
    story.book(book.own_money_in(usd("3000"), day(0)))
    story.book(book.purchase(CAR, usd("1450"), day(0)))
    story.book(
        book.receipt(CAR, "fees", usd("35"), "Title transfer", day(1), shop="Brackenford county office")
    )
    story.book(book.travel(CAR, 462, "MI", day(1), what="Fetch the car", per_unit=Decimal("0.725")))
    kit = story.book(
        book.receipt(CAR, "parts", usd("188.60"), "Clutch kit", day(3), core=usd("40"), line="clutch")
    )
    pump = story.book(
        book.receipt(CAR, "parts", usd("64.99"), "Water pump; gasket | seal", day(3), line="cooling")
    )
    lot = story.book(book.supplies_bought(usd("30"), "Brake cleaner, 3 cans", day(4), Decimal(3), "can"))
    story.book(book.supplies_issued(lot, usd("30"), Decimal(3), {CAR: Decimal("1.5")}, day(5)))
    story.book(book.own_hours(CAR, 200, "clutch", day(5)))
    story.book(book.own_hours(CAR, 95, "cooling", day(6)))
    story.book(book.core_settled(CAR, kit, usd("40"), usd("40"), day(9)))
    story.book(book.refund(CAR, pump, usd("64.99"), usd("20"), day(9), fee=usd("3.25")))
    wrong = story.book(book.receipt(CAR, "outside", usd("99"), "Alignment =typed twice", day(10)))
    story.book(reversal(wrong, day(10), "typed twice"))
    story.book(book.receipt(CAR, "outside", usd("99"), "Alignment [two wheels] (front)", day(10)))
    story.book(book.tool_bought(usd("129"), "Clutch aligning tool", day(10)))
    story.book(book.tool_worn(usd("12.90"), "A tenth of the aligning tool", day(30)))
    story.book(book.by_product(CAR, usd("25"), "Sold the old radio", day(20)))
    story.book(book.buyer_deposit(CAR, usd("200"), "M. Penhalow", day(38)))
    story.book(
        book.sale(CAR, usd("3390"), balances(story.entries), day(41), fees=usd("29.50"), buyer="M. Penhalow")
    )
    return tuple(story.entries)


def random_history(rng: np.random.Generator, steps: int = 14, currency: str = "USD") -> tuple[Entry, ...]:
    """One garage with two cars doing whatever comes next, through the real booking functions."""
    story = Story()
    cars = ("Car-1", "Car-2")
    lots: list[tuple[Entry, Money, Decimal]] = []
    now = 0

    def some(most: int = 90_000) -> Money:
        return Money(int(rng.integers(1, most)), currency)

    story.book(book.own_money_in(some(900_000), day(0)))
    for car in cars:
        story.book(book.purchase(car, some(300_000), day(0)))
    for _ in range(steps):
        now += int(rng.integers(0, 5))
        car = cars[int(rng.integers(2))]
        sold = is_sold(story.entries, car)
        what = (
            f"step {now} {rng.choice(['plain', '=1+1', 'a;b', '[2026/01/01]', 'ümlaut', '(x) y: z', '* !'])}"
        )
        match int(rng.integers(13)):
            case 0 | 1 | 2:
                kind = str(rng.choice(list(book.COST_KINDS)[1:]))
                paid = some()
                core = Money(int(rng.integers(0, paid.minor + 1)), currency) if rng.random() < 0.4 else None
                story.book(
                    book.receipt(car, kind, paid, what, day(now), core=core, sold=sold, shop="a: b; c")
                )
            case 3:
                for owed in open_cores(story.entries, car, currency)[:1]:
                    back = Money(int(rng.integers(0, owed.owed.minor + 1)), currency)
                    story.book(book.core_settled(car, owed.receipt, owed.owed, back, day(now), sold=sold))
            case 4:
                for entry in [e for e in standing(story.entries) if e.fact("kind") in ("parts", "outside")][
                    -1:
                ]:
                    if (left := refundable(story.entries, entry, currency)).minor > 0:
                        owner = entry.links[0].title()
                        back = Money(int(rng.integers(1, left.minor + 1)), currency)
                        fee = Money(int(rng.integers(0, back.minor + 1)), currency)
                        late = is_sold(story.entries, owner)
                        story.book(book.refund(owner, entry, left, back, day(now), fee=fee, sold=late))
            case 5:
                lot = story.book(book.supplies_bought(some(), what, day(now), Decimal(7), "l"))
                lots.append((lot, Money(-lot.postings[1].amount, currency), Decimal(7)))
            case 6 if lots and not any(is_sold(story.entries, c) for c in cars):
                lot, worth, on_hand = lots.pop()
                taken = {c: Decimal(int(rng.integers(1, 4))) for c in cars}
                story.book(book.supplies_issued(lot, worth, on_hand, taken, day(now)))
            case 7:
                story.book(book.own_hours(car, int(rng.integers(1, 600)), "engine", day(now)))
            case 8:
                rate = Decimal("0.725") if rng.random() < 0.5 else None
                unit = str(rng.choice(["KM", "MI"]))
                story.book(
                    book.travel(
                        car,
                        int(rng.integers(1, 900)),
                        unit,
                        day(now),
                        per_unit=rate,
                        currency=currency,
                        sold=sold,
                    )
                )
            case 9:
                loose = [e for e in standing(story.entries) if e.fact("kind") in ("fees", "travel", "engine")]
                if loose:
                    leant_on = {link for e in standing(story.entries) for link in e.links}
                    free = [
                        e for e in loose if not {f"core-of-{e.number}", f"refund-of-{e.number}"} & leant_on
                    ]
                    for entry in free[-1:]:
                        story.book(take_back(story.entries, entry.number, day(now), what))
            case 10 if not sold:
                story.book(book.buyer_deposit(car, some(500), "R. Sorrel", day(now)))
            case 11 if not sold and rng.random() < 0.5:
                story.book(
                    book.sale(car, some(600_000) + Money(50_000, currency), balances(story.entries), day(now))
                )
            case 12:
                tool = story.book(book.tool_bought(some(), what, day(now), uses=20))
                story.book(book.tool_used(car, tool, int(rng.integers(1, 9)), day(now)))
            case _:
                story.book(book.by_product(car, some(), what, day(now), scrap=bool(rng.random() < 0.5)))
    return tuple(story.entries)


def profit_of_story() -> Money:
    return cost_of_car(car_story(), CAR, "USD").profit


__all__ = [
    "CAR",
    "START",
    "Story",
    "car_story",
    "day",
    "numbered",
    "profit_of_story",
    "random_history",
    "usd",
]
