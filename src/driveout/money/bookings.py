"""The kinds of entry a car project makes, each as a balanced journal entry."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.money.journal import MEMO_ROOT, MINUTES, USES, Entry, Posting, under
from driveout.units import Money

BANK = "Assets:Bank"
SUPPLIES = "Assets:Supplies"
TOOLS = "Assets:Tools:Bought"
# Kind of cost on a car -> last part of its work-in-progress account.
COST_KINDS = {
    "purchase": "Purchase",
    "parts": "Parts",
    "outside": "Outside",
    "fees": "Fees",
    "travel": "Travel",
    "supplies": "Supplies",
}
KIND_NAMES = {
    "purchase": "Purchase",
    "parts": "Parts",
    "outside": "Outside work",
    "fees": "Fees",
    "travel": "Travel",
    "supplies": "Supplies used",
}


def car_part(car_id: int) -> str:
    """The car's part of an account path: ``Car-7``."""
    return f"Car-{car_id}"


def wip(car: str, kind: str) -> str:
    """Work-in-progress account of one kind of cost of one car."""
    if kind not in COST_KINDS:
        raise BadEntry(
            f"{kind!r} is not a kind of cost. Choose one of {', '.join(COST_KINDS)}.",
            field="kind",
            value=kind,
            allowed=", ".join(COST_KINDS),
        )
    return f"Assets:WIP:{car}:{COST_KINDS[kind]}"


def cores(car: str) -> str:
    """Account of the core deposits still owed to the person for one car."""
    return f"Assets:CoreDeposits:{car}"


def _above_zero(amount: Money, field: str, what: str) -> Money:
    if amount.minor <= 0:
        raise BadEntry(
            f"{what} is {amount.text()}; it must be above 0. To take something back use reversal or a refund.",
            field=field,
            value=amount.text(),
            allowed="above 0",
        )
    return amount


def _links(car: str, *more: str) -> tuple[str, ...]:
    return (car.lower(), *(link for link in more if link))


def _facts(**facts: str) -> tuple[tuple[str, str], ...]:
    return tuple((name, text) for name, text in facts.items() if text)


def purchase(car: str, price: Money, day: datetime.date, *, source: str = BANK) -> Entry:
    """Buy the car: its price becomes work in progress."""
    _above_zero(price, "price", "The price paid")
    return Entry(
        day,
        f"Bought the car, {price.text()}",
        _moved(source, wip(car, "purchase"), price),
        _links(car),
        _facts(kind="purchase"),
    )


def _moved(source: str, target: str, amount: Money) -> tuple[Posting, ...]:
    return (Posting(target, amount.minor, amount.currency), Posting(source, -amount.minor, amount.currency))


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
    _above_zero(amount, "amount", "The amount")
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
        _links(car, f"line-{line}" if line else ""),
        _facts(kind=kind, shop=shop, photo=photo, quantity="" if quantity == 1 else str(quantity)),
    )


def _late(car: str, kind: str, sold: bool) -> str:
    return f"Expenses:AfterSale:{car}" if sold else wip(car, kind)


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
        postings.append(Posting(_late(car, of.fact("kind") or "parts", sold), lost.minor, lost.currency))
    word = "Core handed in" if back.minor else "Core deposit given up"
    line = tuple(link for link in of.links if link.startswith("line-"))
    return Entry(
        day, f"{word}: {of.narration}"[:400], tuple(postings), _links(car, f"core-of-{of.number}", *line)
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
    _above_zero(back, "back", "The refund")
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
    postings = [Posting(_late(car, of.fact("kind") or "parts", sold), -back.minor, back.currency)]
    if came.minor:
        postings.append(Posting(source, came.minor, came.currency))
    if kept.minor:
        postings.append(Posting(_late(car, "fees", sold), kept.minor, kept.currency))
    line = tuple(link for link in of.links if link.startswith("line-"))
    return Entry(
        day,
        f"Money back: {of.narration}"[:400],
        tuple(postings),
        _links(car, f"refund-of-{of.number}", *line),
    )


def own_hours(
    car: str, minutes: int, kind_of_work: str, day: datetime.date, *, line: str = "", began: str = ""
) -> Entry:
    """Record own time on a car; a memo without money."""
    if not 0 < minutes <= 24 * 60:
        raise BadEntry(
            f"{minutes / 60:.2f} h of own work in one go is outside 0 to 24 h. Book each day by itself.",
            field="hours",
            value=minutes / 60,
            allowed="above 0, at most 24 h",
        )
    work = work_name(kind_of_work)
    return Entry(
        day,
        f"Own work: {work_words(kind_of_work)}"[:400],
        (
            Posting(f"{MEMO_ROOT}:Time:{car}", minutes, MINUTES),
            Posting(f"{MEMO_ROOT}:Time:Given", -minutes, MINUTES),
        ),
        _links(car, f"work-{work}" if work else "", f"line-{line}" if line else ""),
        _facts(kind=kind_of_work, began=began),
    )


def work_words(kind_of_work: str) -> str:
    """A kind of work as a person reads it; keys of repairs lose their marks."""
    return kind_of_work.removeprefix("rep-").removeprefix("rep_").replace("-", " ").replace("_", " ")


def work_name(kind_of_work: str) -> str:
    """A kind of work as a link can carry it: small letters, digits and '-'."""
    return re.sub(r"[^a-z0-9]+", "-", kind_of_work.lower()).strip("-")[:60]


def travel(
    car: str,
    distance_tenths: int,
    unit: str,
    day: datetime.date,
    *,
    what: str = "",
    per_unit: Decimal | None = None,
    currency: str = "USD",
    sold: bool = False,
) -> Entry:
    """Record a trip for a car, with or without an allowance for the use of one's own vehicle.

    Parameters
    ----------
    car
        The car's account part.
    distance_tenths
        Distance in tenths of the unit, above 0.
    unit
        ``KM`` or ``MI``.
    day
        Day of the trip.
    what
        Where to and why.
    per_unit
        Allowance per km or mile in major money; None books distance alone.
    currency
        Currency of the allowance.
    sold
        Whether the car is sold already.

    Returns
    -------
    Entry
        Distance as a memo, the allowance as travel cost against the owner's equity.

    Raises
    ------
    BadEntry
        If the unit or the distance is not usable.
    """
    if unit not in ("KM", "MI"):
        raise BadEntry(f"Distance unit {unit!r} is not KM or MI.", field="unit", value=unit, allowed="KM, MI")
    if not 0 < distance_tenths <= 100_000:
        raise BadEntry(
            f"A trip of {distance_tenths / 10:g} {unit} is outside 0 to 10,000. Check the distance.",
            field="distance",
            value=distance_tenths / 10,
            allowed="above 0, at most 10,000",
        )
    postings = [
        Posting(f"{MEMO_ROOT}:Distance:{car}", distance_tenths, unit),
        Posting(f"{MEMO_ROOT}:Distance:Driven", -distance_tenths, unit),
    ]
    if per_unit is not None:
        cost = Money.of(per_unit * distance_tenths / 10, currency)
        if cost.minor:
            postings += _moved("Equity:OwnVehicle", _late(car, "travel", sold), cost)
    return Entry(day, what or "Trip", tuple(postings), _links(car), _facts(kind="travel"))


def supplies_bought(amount: Money, what: str, day: datetime.date, quantity: Decimal, unit: str) -> Entry:
    """Buy shared supplies; they wait on the shelf until issued to a car."""
    _above_zero(amount, "amount", "The amount")
    if quantity <= 0:
        raise BadEntry(
            f"The quantity is {quantity}; it must be above 0.", field="quantity", value=str(quantity)
        )
    return Entry(
        day, what, _moved(BANK, SUPPLIES, amount), ("supplies",), _facts(quantity=str(quantity), unit=unit)
    )


def shares(worth: Money, on_hand: Decimal, taken: Mapping[str, Decimal]) -> dict[str, Money]:
    """What each car's share of a supply is worth; the cents add up (largest remainder).

    Parameters
    ----------
    worth
        Book worth of what is on the shelf.
    on_hand
        Quantity on the shelf, above 0.
    taken
        Quantity by car, each above 0.

    Returns
    -------
    dict
        Money by car; what is not taken keeps the rest of the worth.

    Raises
    ------
    BadEntry
        If more is taken than is there, or a quantity is not above 0.
    """
    rest = on_hand - sum(taken.values(), Decimal(0))
    if not taken or min(taken.values()) <= 0 or rest < 0:
        raise BadEntry(
            f"Taken {sum(taken.values(), Decimal(0))} of {on_hand} on the shelf. "
            "Each share must be above 0 and all together at most what is there.",
            field="quantity",
            value=str(sum(taken.values(), Decimal(0))),
            allowed=f"above 0, at most {on_hand}",
        )
    places = max(-int(quantity.as_tuple().exponent) for quantity in (rest, *taken.values()))
    weights = [int(quantity.scaleb(max(places, 0))) for quantity in (*taken.values(), rest)]
    parts = worth.split(weights)
    return dict(zip(taken, parts[:-1], strict=True))


def supplies_issued(
    of: Entry, worth: Money, on_hand: Decimal, taken: Mapping[str, Decimal], day: datetime.date
) -> Entry:
    """Issue supplies from the shelf to cars, by measured quantity."""
    parts = shares(worth, on_hand, taken)
    total = sum(part.minor for part in parts.values())
    postings = [Posting(wip(car, "supplies"), part.minor, part.currency) for car, part in parts.items()]
    return Entry(
        day,
        f"Used: {of.narration}"[:400],
        (*postings, Posting(SUPPLIES, -total, worth.currency)),
        (*(car.lower() for car in taken), f"issue-of-{of.number}"),
        _facts(kind="supplies", quantity=str(sum(taken.values(), Decimal(0)))),
    )


def tool_bought(amount: Money, what: str, day: datetime.date, *, uses: int = 0) -> Entry:
    """Buy a tool: an asset of the garage, never a cost of one car.

    ``uses`` is how often it will probably be used in its life; 0 when nobody can say.
    """
    if not 0 <= uses <= 100_000:
        raise BadEntry(
            f"{uses} uses in the life of a tool is outside 0 to 100,000.",
            field="uses",
            value=uses,
            allowed="0 to 100,000",
        )
    postings = _moved(BANK, TOOLS, _above_zero(amount, "amount", "The amount"))
    return Entry(day, what, postings, ("tools",), _facts(uses=str(uses) if uses else ""))


def tool_used(car: str, tool: Entry, times: int, day: datetime.date) -> Entry:
    """Record that a tool was used on a car: a memo without money, so no car is charged for it."""
    if not 0 < times <= 1000:
        raise BadEntry(
            f"A tool used {times} times at once is outside 1 to 1000.",
            field="times",
            value=times,
            allowed="1 to 1000",
        )
    return Entry(
        day,
        f"Used the tool: {tool.narration}"[:400],
        (Posting(f"{MEMO_ROOT}:Tools:{car}", times, USES), Posting(f"{MEMO_ROOT}:Tools:Given", -times, USES)),
        _links(car, f"tool-{tool.number}"),
        _facts(kind="tool"),
    )


def tool_worn(amount: Money, what: str, day: datetime.date) -> Entry:
    """Write part of the tools off as an expense of the garage."""
    _above_zero(amount, "amount", "The amount")
    return Entry(day, what, _moved("Assets:Tools:WrittenOff", "Expenses:Depreciation", amount), ("tools",))


def own_money_in(amount: Money, day: datetime.date, what: str = "Own money put in") -> Entry:
    """Put own money into the project's bank account."""
    return Entry(day, what, _moved("Equity:Owner", BANK, _above_zero(amount, "amount", "The amount")))


def buyer_deposit(car: str, amount: Money, buyer: str, day: datetime.date) -> Entry:
    """Take a deposit from a buyer: owed back until the sale."""
    _above_zero(amount, "amount", "The deposit")
    return Entry(
        day,
        f"Deposit from {buyer or 'a buyer'}",
        _moved(f"Liabilities:Deposits:{car}", BANK, amount),
        _links(car),
        _facts(kind="deposit"),
    )


def deposit_back(car: str, held: Money, back: Money, day: datetime.date) -> Entry:
    """Give a deposit back, in whole or in part; what is kept is income of the car."""
    if held.minor <= 0 or back.minor < 0 or back > held:
        raise BadEntry(
            f"{back.text()} back is outside 0 to {held.text()}, the deposit held.",
            field="back",
            value=back.text(),
            allowed=f"0 to {held.text()}",
        )
    kept = held - back
    postings = [Posting(f"Liabilities:Deposits:{car}", held.minor, held.currency)]
    if back.minor:
        postings.append(Posting(BANK, -back.minor, back.currency))
    if kept.minor:
        postings.append(Posting(f"Income:DepositsKept:{car}", -kept.minor, kept.currency))
    return Entry(day, "Deposit settled without a sale", tuple(postings), _links(car))


def by_product(car: str, amount: Money, what: str, day: datetime.date, *, scrap: bool = False) -> Entry:
    """Sell a leftover part or scrap of a car."""
    _above_zero(amount, "amount", "The amount")
    name = "Scrap" if scrap else "PartsSold"
    return Entry(
        day, what, _moved(f"Income:{name}:{car}", BANK, amount), _links(car), _facts(kind=name.lower())
    )


@dataclass(frozen=True)
class PartExchange:
    """A car taken in for part of the price: its account part and what it counted for."""

    car: str
    allowance: Money


def sale(
    car: str,
    price: Money,
    sums: Mapping[tuple[str, str], int],
    day: datetime.date,
    *,
    fees: Money | None = None,
    buyer: str = "",
    exchange: PartExchange | None = None,
) -> Entry:
    """Sell the car: price to income, all its work in progress to cost of sale.

    Parameters
    ----------
    car
        The car's account part.
    price
        Agreed price, above 0.
    sums
        Balances of the journal on that day.
    day
        Day of the sale.
    fees
        Fees of this sale.
    buyer
        Name of the buyer.
    exchange
        Car taken in part exchange, which becomes stock at its allowance.

    Returns
    -------
    Entry
        After it every work-in-progress account of the car is exactly 0.

    Raises
    ------
    BadEntry
        If the price is not above 0, the car holds costs in another currency, or the deposit
        and the part exchange are above the price.
    """
    if price.minor <= 0:
        raise BadEntry(
            f"A sale at {price.text()} is not a sale. A car given away or scrapped is booked as scrap.",
            field="price",
            value=price.text(),
            allowed="above 0",
        )
    currency = price.currency
    stock = {
        name: held for (name, unit), held in sums.items() if name.startswith(f"Assets:WIP:{car}:") and held
    }
    for (name, unit), held in sums.items():
        if (
            held
            and unit != currency
            and name.startswith((f"Assets:WIP:{car}:", f"Liabilities:Deposits:{car}"))
        ):
            raise BadEntry(
                f"The car holds {unit} on {name}, but the sale is in {currency}. Exchange it first.",
                field="price",
                value=currency,
                allowed=unit,
            )
    deposit = -under(sums, f"Liabilities:Deposits:{car}", currency)
    taken_in = exchange.allowance.minor if exchange else 0
    if exchange and exchange.allowance.currency != currency:
        raise BadEntry("The part exchange must count in the currency of the sale.", field="exchange")
    cash = price.minor - deposit - taken_in
    if cash < 0 or taken_in < 0:
        raise BadEntry(
            f"Deposit and part exchange are above the price of {price.text()}. Give the difference back first.",
            field="price",
            value=price.text(),
        )
    fee = fees or Money(0, currency)
    if fee.minor < 0:
        raise BadEntry(
            f"Fees of {fee.text()} are below 0.", field="fees", value=fee.text(), allowed="0 or more"
        )
    cost = sum(stock.values())
    wanted = [
        Posting(BANK, cash, currency),
        Posting(f"Liabilities:Deposits:{car}", deposit, currency),
        Posting(wip(exchange.car, "purchase"), taken_in, currency)
        if exchange
        else Posting(BANK, 0, currency),
        Posting(f"Income:Sales:{car}", -price.minor, currency),
        Posting(f"Expenses:COGS:{car}", cost, currency),
        *(Posting(name, -held, currency) for name, held in sorted(stock.items())),
        Posting(f"Expenses:SellingFees:{car}", fee.minor, fee.currency),
        Posting(BANK, -fee.minor, fee.currency),
    ]
    links = _links(car, exchange.car.lower() if exchange else "")
    words = f"Sold the car{f' to {buyer}' if buyer else ''}, {price.text()}"
    return Entry(day, words[:400], tuple(p for p in wanted if p.amount), links, _facts(kind="sale"))


def scrapped(car: str, got: Money, sums: Mapping[tuple[str, str], int], day: datetime.date) -> Entry:
    """End a project without a buyer: whatever the scrap man pays, all cost leaves the books."""
    stock = {
        name: held
        for (name, unit), held in sums.items()
        if name.startswith(f"Assets:WIP:{car}:") and unit == got.currency and held
    }
    wanted = [
        Posting(BANK, got.minor, got.currency),
        Posting(f"Income:Scrap:{car}", -got.minor, got.currency),
        Posting(f"Expenses:COGS:{car}", sum(stock.values()), got.currency),
        *(Posting(name, -held, got.currency) for name, held in sorted(stock.items())),
    ]
    return Entry(
        day,
        "Let the car go for scrap",
        tuple(p for p in wanted if p.amount),
        _links(car),
        _facts(kind="sale"),
    )


def exchanged(gave: Money, got: Money, day: datetime.date, *, source: str = BANK) -> Entry:
    """Change money into another currency; each currency balances by itself through equity."""
    _above_zero(gave, "gave", "The money given")
    _above_zero(got, "got", "The money received")
    if gave.currency == got.currency:
        raise BadEntry("An exchange needs two currencies.", field="got", value=got.currency)
    return Entry(
        day,
        f"Exchanged {gave.text()} for {got.text()}",
        (*_moved(source, "Equity:Exchange", gave), *_moved("Equity:Exchange", source, got)),
    )


@dataclass(frozen=True)
class CoreBill:
    """What a part with a core deposit costs now, what comes back, and the net."""

    pay: Money
    back: Money

    @property
    def net(self) -> Money:
        """Cost once the old unit is handed in."""
        return self.pay - self.back


def core_bill(
    part: Money, core: Money, tax_rate: Decimal, *, core_taxed: bool, tax_refunded: bool
) -> CoreBill:
    """Bill of a part with a core deposit under the place's two sales-tax habits.

    Whether the deposit is taxed and whether that tax comes back differs from place to place;
    the person sets both from their own receipts. No tax advice.

    Parameters
    ----------
    part
        Price of the part without deposit and tax.
    core
        Core deposit.
    tax_rate
        Sales tax as a fraction, 0.065 for 6.5 %.
    core_taxed
        Whether tax is charged on the deposit.
    tax_refunded
        Whether the tax on the deposit comes back with it.

    Returns
    -------
    CoreBill
        To pay, to come back.

    Raises
    ------
    BadEntry
        If the rate is outside 0 to 1.

    References
    ----------
    state-core-deposit-tax, worked examples.
    """
    if not 0 <= tax_rate <= 1:
        raise BadEntry(
            f"Sales tax rate {tax_rate} is outside 0 to 1. Write 0.065 for 6.5 %.",
            field="tax_rate",
            value=str(tax_rate),
            allowed="0 to 1",
        )
    taxed = part + core if core_taxed else part
    back = core + core.times(tax_rate) if core_taxed and tax_refunded else core
    return CoreBill(part + core + taxed.times(tax_rate), back)
