"""The estimate as it stood when the person decided, frozen so that later knowledge cannot mend it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from driveout.errors import BadEntry
from driveout.money import COST_KINDS
from driveout.uncertain import ThreePoint, fitted
from driveout.units import Money

# Kind of work of a line that holds money and hours for what may or may not turn up.
RESERVE = "unforeseen"


@dataclass(frozen=True)
class EstimateLine:
    """One line of an estimate.

    Parameters
    ----------
    key
        Short name without spaces; receipts and hours point to it.
    kind
        Kind of cost, one of the money record's kinds.
    label
        What it is, in words.
    money
        Cost of the whole line, low / likely / high. [major units]
    hours
        Own work, low / likely / high. [h]
    quantity
        How many the cost was estimated for, above 0.
    kind_of_work
        Kind of own work the hours belong to; ``RESERVE`` for what may or may not turn up.
    hours_learned, money_learned
        Factor by which lessons had already moved the hours and the money when they were frozen: the
        actual is held against the estimate without it, or each lesson would undo the one before.
    """

    key: str
    kind: str
    label: str
    money: ThreePoint | None = None
    hours: ThreePoint | None = None
    quantity: Decimal = Decimal(1)
    kind_of_work: str = ""
    hours_learned: float = 1.0
    money_learned: float = 1.0

    def __post_init__(self) -> None:
        if not (self.hours_learned > 0 and self.money_learned > 0):
            raise BadEntry(
                f"The factors of {self.label!r} must be above 0.",
                field="hours_learned",
                value=self.hours_learned,
                allowed="above 0",
            )
        if not self.key or " " in self.key or len(self.key) > 60:
            raise BadEntry(
                f"{self.key!r} is not a key of an estimate line. Use 1 to 60 characters without spaces.",
                field="key",
                value=self.key,
            )
        if self.kind not in COST_KINDS:
            raise BadEntry(
                f"{self.kind!r} is not a kind of cost.",
                field="kind",
                value=self.kind,
                allowed=", ".join(COST_KINDS),
            )
        if self.quantity <= 0:
            raise BadEntry(f"Quantity {self.quantity} of {self.label!r} must be above 0.", field="quantity")
        for name, points in (("money", self.money), ("hours", self.hours)):
            if points is not None and points.low < 0:
                raise BadEntry(
                    f"The {name} of {self.label!r} begin at {points.low:g}; nothing below 0 can be estimated.",
                    field=name,
                    value=points.low,
                    allowed="0 or more",
                )

    def planned_money(self, currency: str) -> Money:
        """Mean cost of the line, to the cent; means are what adds up over lines."""
        mean = fitted(self.money).mean if self.money else 0.0
        return Money.of(Decimal(repr(float(mean))), currency)

    @property
    def planned_minutes(self) -> int:
        """Minutes of own work planned on the line, on average."""
        return round(60 * fitted(self.hours).mean) if self.hours else 0


@dataclass(frozen=True)
class Estimate:
    """A frozen estimate of one car.

    Parameters
    ----------
    currency
        Currency of every amount.
    lines
        Cost and work, purchase included.
    sale_price
        Price expected, as money.
    selling_fees
        Fees expected at the sale.
    wage
        Worth of one own hour to the person, 0 when it is not counted.
    frozen_on
        Day of the decision.
    """

    currency: str
    lines: tuple[EstimateLine, ...]
    sale_price: Money
    selling_fees: Money
    wage: Money
    frozen_on: datetime.date

    def __post_init__(self) -> None:
        keys = [line.key for line in self.lines]
        double = next((key for key in keys if keys.count(key) > 1), "")
        if double:
            raise BadEntry(f"The estimate line {double!r} stands twice.", field="key", value=double)
        for amount in (self.sale_price, self.selling_fees, self.wage):
            if amount.currency != self.currency or amount.minor < 0:
                raise BadEntry(
                    f"{amount.text()} must be in {self.currency} and not below 0.",
                    field="amount",
                    value=amount.text(),
                )

    def as_data(self) -> dict[str, Any]:
        """Plain data, for the record and for files."""

        def points(three: ThreePoint | None) -> list[float] | None:
            return [three.low, three.likely, three.high] if three else None

        return {
            "currency": self.currency,
            "sale_price": str(self.sale_price.major),
            "selling_fees": str(self.selling_fees.major),
            "wage": str(self.wage.major),
            "frozen_on": self.frozen_on.isoformat(),
            "lines": [
                {
                    "key": line.key,
                    "kind": line.kind,
                    "label": line.label,
                    "money": points(line.money),
                    "hours": points(line.hours),
                    "quantity": str(line.quantity),
                    "kind_of_work": line.kind_of_work,
                    "hours_learned": line.hours_learned,
                    "money_learned": line.money_learned,
                }
                for line in self.lines
            ],
        }


def estimate_from(data: dict[str, Any]) -> Estimate:
    """Read back what ``Estimate.as_data`` wrote."""
    currency = data["currency"]

    def points(values: list[float] | None) -> ThreePoint | None:
        return ThreePoint(*values) if values else None

    return Estimate(
        currency=currency,
        lines=tuple(
            EstimateLine(
                row["key"],
                row["kind"],
                row["label"],
                points(row["money"]),
                points(row["hours"]),
                Decimal(row["quantity"]),
                row["kind_of_work"],
                row.get("hours_learned", 1.0),
                row.get("money_learned", 1.0),
            )
            for row in data["lines"]
        ),
        sale_price=Money.of(data["sale_price"], currency),
        selling_fees=Money.of(data["selling_fees"], currency),
        wage=Money.of(data["wage"], currency),
        frozen_on=datetime.date.fromisoformat(data["frozen_on"]),
    )
