"""What a car costs: bought, receipts, core deposits settled, money back."""

from __future__ import annotations

import datetime
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import (
    BANK,
    above_zero,
    car_links,
    cores,
    cost_account,
    moved,
    said,
    wip,
)
from driveout.money.journal import Entry, Posting
from driveout.units import Money


def purchase(car: str, price: Money, day: datetime.date, *, source: str = BANK) -> Entry:
    """Buy the car: its price becomes work in progress."""
    above_zero(price, "price", "The price paid")
    return Entry(
        day,
        f"Bought the car, {price.text()}",
        moved(source, wip(car, "purchase"), price),
        car_links(car),
        said(kind="purchase"),
    )


def receipt(
    car: str,
    kind: str,
    amount: Money,
    what: str,
    day: datetime.date,
    *,
    core: Money | None = None,
    shop: str = "",
    line: str = "",
    quantity: Decimal = Decimal(1),
    photo: str = "",
    source: str = BANK,
    sold: bool = False,
) -> Entry:
    """Book a receipt on a car.

    Parameters
    ----------
    car
        The car's account part.
    kind
        Kind of cost, one of ``COST_KINDS``.
    amount
        All that was paid, core deposit and tax included.
    what
        What was bought, in the person's words.
    day
        Day on the receipt.
    core
        The part of the amount that comes back when the old unit is handed in; None when none.
    shop
        Where it was bought.
    line
        Key of the frozen estimate line it belongs to, empty when unplanned.
    quantity
        How many, above 0.
    photo
        Hash of the photographed receipt.
    source
        Account the money came from.
    sold
        Whether the car is sold already; then the cost is an after-sale expense.

    Returns
    -------
    Entry
        Balanced, not yet booked.

    Raises
    ------
    BadEntry
        If an amount is not above 0, or the deposit is above the amount.
    """
    above_zero(amount, "amount", "The amount")
    if quantity <= 0:
        raise BadEntry(
            f"The quantity is {quantity}; it must be above 0.", field="quantity", value=str(quantity)
        )
    back = core or Money(0, amount.currency)
    if back.minor < 0 or back > amount:
        raise BadEntry(
            f"The core deposit {back.text()} is outside 0 to {amount.text()}, the amount paid. "
            "Type the total paid first, then how much of it comes back.",
            field="core",
            value=back.text(),
            allowed=f"0 to {amount.text()}",
        )
    target = f"Expenses:AfterSale:{car}" if sold else wip(car, kind)
    own = amount - back
    postings = [Posting(target, own.minor, own.currency)] if own.minor else []
    if back.minor:
        postings.append(Posting(cores(car), back.minor, back.currency))
    postings.append(Posting(source, -amount.minor, amount.currency))
    return Entry(
        day,
        what,
        tuple(postings),
        car_links(car, f"line-{line}" if line else ""),
        said(kind=kind, shop=shop, photo=photo, quantity="" if quantity == 1 else str(quantity)),
    )


def core_settled(
    car: str,
    of: Entry,
    owed: Money,
    back: Money,
    day: datetime.date,
    *,
    sold: bool = False,
    source: str = BANK,
) -> Entry:
    """Settle a core deposit: what comes back is money, the rest becomes part cost.

    Parameters
    ----------
    car
        The car's account part.
    of
        The booked receipt that carried the deposit.
    owed
        Deposit still open on it.
    back
        What the shop paid back; 0 when the deposit is given up.
    day
        Day of the return.
    sold
        Whether the car is sold already.
    source
        Account the money went to.

    Returns
    -------
    Entry
        Linked ``core-of-<number>``.

    Raises
    ------
    BadEntry
        If nothing is owed, or more would come back than is owed.
    """
    if owed.minor <= 0:
        raise BadEntry(f"No core deposit is open on {of.narration!r} (entry {of.number}).", field="core")
    if back.minor < 0 or back > owed:
        raise BadEntry(
            f"{back.text()} back is outside 0 to {owed.text()}, the deposit still open. "
            "Book anything above it as a refund of the part.",
            field="back",
            value=back.text(),
            allowed=f"0 to {owed.text()}",
        )
    lost = owed - back
    postings = [Posting(cores(car), -owed.minor, owed.currency)]
    if back.minor:
        postings.append(Posting(source, back.minor, back.currency))
    if lost.minor:
        postings.append(
            Posting(cost_account(car, of.fact("kind") or "parts", sold), lost.minor, lost.currency)
        )
    word = "Core handed in" if back.minor else "Core deposit given up"
    line = tuple(link for link in of.links if link.startswith("line-"))
    return Entry(
        day, f"{word}: {of.narration}"[:400], tuple(postings), car_links(car, f"core-of-{of.number}", *line)
    )


def refund(
    car: str,
    of: Entry,
    left: Money,
    back: Money,
    day: datetime.date,
    *,
    fee: Money | None = None,
    sold: bool = False,
    source: str = BANK,
) -> Entry:
    """Book money back on a receipt: a part returned, a price corrected, a warranty paid.

    Parameters
    ----------
    car
        The car's account part.
    of
        The booked receipt.
    left
        Cost of the receipt not yet refunded.
    back
        Cost taken off the receipt, before the restocking fee.
    day
        Day of the refund.
    fee
        Restocking fee the shop kept; it stays on the car as a fee.
    sold
        Whether the car is sold already.
    source
        Account the money went to.

    Returns
    -------
    Entry
        Linked ``refund-of-<number>``.

    Raises
    ------
    BadEntry
        If more would come back than was paid, or the fee is above what comes back.
    """
    above_zero(back, "back", "The refund")
    if back > left:
        raise BadEntry(
            f"A refund of {back.text()} is above the {left.text()} still paid on {of.narration!r} (entry {of.number}). "
            "Check the receipt.",
            field="back",
            value=back.text(),
            allowed=f"at most {left.text()}",
        )
    kept = fee or Money(0, back.currency)
    if kept.minor < 0 or kept > back:
        raise BadEntry(
            f"The restocking fee {kept.text()} is outside 0 to {back.text()}, the refund.",
            field="fee",
            value=kept.text(),
            allowed=f"0 to {back.text()}",
        )
    came = back - kept
    postings = [Posting(cost_account(car, of.fact("kind") or "parts", sold), -back.minor, back.currency)]
    if came.minor:
        postings.append(Posting(source, came.minor, came.currency))
    if kept.minor:
        postings.append(Posting(cost_account(car, "fees", sold), kept.minor, kept.currency))
    line = tuple(link for link in of.links if link.startswith("line-"))
    return Entry(
        day,
        f"Money back: {of.narration}"[:400],
        tuple(postings),
        car_links(car, f"refund-of-{of.number}", *line),
    )
