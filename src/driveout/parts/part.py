"""A part on its way: needed, ordered, here, given back; and what to do about it next."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.units import Money

STATES = ("needed", "ordered", "here", "given back", "not needed")
CONDITIONS = ("new", "rebuilt", "used")
# A return or a core is named this many days before its last day.
NOTICE_DAYS = 7


@dataclass(frozen=True)
class PartLine:
    """A part that chosen work needs, as handed in.

    Parameters
    ----------
    key
        Short name, also the key of the frozen estimate line it is paid on.
    what
        In words.
    quantity
        How many, above 0.
    number
        Part number, empty when not known.
    """

    key: str
    what: str
    quantity: Decimal = Decimal(1)
    number: str = ""

    def __post_init__(self) -> None:
        if not self.what.strip() or len(self.what) > 200:
            raise BadEntry("Say in 1 to 200 characters what part it is.", field="what", value=self.what[:40])
        if not self.quantity.is_finite() or not 0 < self.quantity <= 1000:
            raise BadEntry(
                f"A quantity of {self.quantity} of {self.what!r} is outside 0 to 1000.",
                field="quantity",
                value=str(self.quantity),
                allowed="above 0, at most 1000",
            )


@dataclass(frozen=True)
class Offer:
    """Where a part can be had.

    Parameters
    ----------
    shop
        Who sells it.
    price
        For the whole quantity, without core deposit.
    lead_days
        Days from order to hand, 0 when it lies on the shelf.
    condition
        new, rebuilt or used.
    shipping
        Carriage or the trip to fetch it.
    core
        Deposit that comes back with the old unit.
    warranty_days
        Days of warranty, 0 when none.
    return_days
        Days in which it can be given back, 0 when not.
    id
        Row number, 0 while not kept.
    """

    shop: str
    price: Money
    lead_days: int
    condition: str = "new"
    shipping: Money | None = None
    core: Money | None = None
    warranty_days: int = 0
    return_days: int = 0
    id: int = 0

    def __post_init__(self) -> None:
        if not self.shop.strip():
            raise BadEntry("Say who sells it.", field="shop", value=self.shop)
        if self.condition not in CONDITIONS:
            raise BadEntry(
                f"{self.condition!r} is not a condition.",
                field="condition",
                value=self.condition,
                allowed=", ".join(CONDITIONS),
            )
        for name, days in (
            ("lead_days", self.lead_days),
            ("warranty_days", self.warranty_days),
            ("return_days", self.return_days),
        ):
            if not 0 <= days <= 3650:
                raise BadEntry(
                    f"{days} days is outside 0 to 3650.", field=name, value=days, allowed="0 to 3650 days"
                )
        for field, amount in (("price", self.price), ("shipping", self.shipping), ("core", self.core)):
            if amount is not None and (amount.minor < 0 or amount.currency != self.price.currency):
                raise BadEntry(
                    f"{amount.text()} must be in {self.price.currency} and not below 0.",
                    field=field,
                    value=amount.text(),
                )

    @property
    def landed(self) -> Money:
        """Price with carriage; a core deposit comes back and is no cost."""
        return self.price + (self.shipping or Money(0, self.price.currency))

    @property
    def to_pay(self) -> Money:
        """What leaves the pocket now, deposit included."""
        return self.landed + (self.core or Money(0, self.price.currency))


@dataclass(frozen=True)
class Part:
    """One part of one car as the record knows it."""

    id: int
    car_id: int
    line: PartLine
    state: str
    offer: Offer | None = None
    ordered_on: datetime.date | None = None
    expected_on: datetime.date | None = None
    received_on: datetime.date | None = None
    fits: bool | None = None
    return_by: datetime.date | None = None
    warranty_until: datetime.date | None = None
    receipt: int | None = None
    version: int = 1


@dataclass(frozen=True)
class RankedOffer:
    """An offer with what it really costs when waiting costs money too."""

    offer: Offer
    waiting: Money
    whole: Money
    because: str


def ranked_offers(offers: Iterable[Offer], cost_of_a_day: Money) -> tuple[RankedOffer, ...]:
    """Offers by landed price plus the cost of the days waited, cheapest first.

    Days up to the soonest offer are waited in any case and cost nothing extra. A used part is
    not marked down for its shorter life here; that belongs to the repair's choice.

    Parameters
    ----------
    offers
        For the same part.
    cost_of_a_day
        What a day of waiting costs, 0 when the part is not what the work waits for.

    Returns
    -------
    tuple of RankedOffer
        Each with the reason in words; equal costs stand soonest first.
    """
    offers = tuple(offers)
    soonest = min((offer.lead_days for offer in offers), default=0)
    ranked = []
    for offer in offers:
        extra = offer.lead_days - soonest
        waiting = cost_of_a_day.times(extra)
        because = f"{offer.landed.text()} landed"
        if extra and cost_of_a_day.minor:
            because += f", {extra} {'day' if extra == 1 else 'days'} later than the soonest at {cost_of_a_day.text()} a day"
        ranked.append(RankedOffer(offer, waiting, offer.landed + waiting, because))
    return tuple(sorted(ranked, key=lambda one: (one.whole.minor, one.offer.lead_days, one.offer.shop)))


@dataclass(frozen=True)
class ToDo:
    """Something to do about a part, most pressing first."""

    part: Part
    words: str
    by: datetime.date | None


def to_do(parts: Sequence[Part], cores_open: Sequence[int], today: datetime.date) -> tuple[ToDo, ...]:
    """What the parts of a car ask for today.

    Parameters
    ----------
    parts
        Parts of the car.
    cores_open
        Receipt numbers whose core deposit has not come back.
    today
        The day.

    Returns
    -------
    tuple of ToDo
        Overdue and dated things first, by day.
    """
    soon = today + datetime.timedelta(days=NOTICE_DAYS)
    found: list[ToDo] = []
    for part in parts:
        what = part.line.what
        if part.state == "needed":
            found.append(ToDo(part, f"Order {what}", None))
        elif part.state == "ordered" and part.expected_on and part.expected_on < today:
            late = (today - part.expected_on).days
            found.append(
                ToDo(
                    part, f"Ask after {what}: {late} {'day' if late == 1 else 'days'} late", part.expected_on
                )
            )
        elif part.state == "here":
            if part.fits is None:
                found.append(
                    ToDo(part, f"Hold {what} against the old one before its return runs out", part.return_by)
                )
            elif not part.fits:
                found.append(ToDo(part, f"Give {what} back: it does not fit", part.return_by))
            if part.receipt in cores_open:
                by = part.return_by if part.return_by and part.return_by <= soon else None
                found.append(ToDo(part, f"Hand in the old unit for {what}", by))
    return tuple(sorted(found, key=lambda one: (one.by or datetime.date.max, one.part.id)))


def order_by(needed_on: datetime.date, offer: Offer) -> datetime.date:
    """Last day to order so that the part is here on the day it is needed."""
    return needed_on - datetime.timedelta(days=offer.lead_days)
