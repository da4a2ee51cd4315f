"""Papers of the sale: bill of sale, deposit receipt, odometer facts, lists, and the gate before the keys go.

Facts with their source, never legal advice: what must be written, and what may be, is said by the local form.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document
from driveout.money.car_sale import DepositPaid
from driveout.selling.buyers_file import car_rows, printed
from driveout.selling.listing import ListingFacts
from driveout.sources import cite
from driveout.units import Money

LISTS = ("papers", "same_day", "cautions", "no_show", "deposit", "after_sale")


@dataclass(frozen=True)
class SaleFact:
    """One sentence and where it comes from, in words."""

    text: str
    source: str


@dataclass(frozen=True)
class Payment:
    """A way to be paid; ``clear`` when the money cannot be taken back once it is there."""

    key: str
    name: str
    clear: bool
    caution: str
    source: str


@dataclass(frozen=True)
class Gate:
    """Whether keys and papers may go, as far as the person said; ``missing`` says what stands in the way."""

    missing: tuple[str, ...]
    caution: str

    @property
    def is_open(self) -> bool:
        """Nothing is missing."""
        return not self.missing


@cache
def _data() -> dict[str, Any]:
    name = "data/sale_papers.yaml"
    data: dict[str, Any] = yaml_document(
        shipped("driveout.selling", name), name, "driveout-sale-papers/1"
    ).data
    return data


def _origin(key: str) -> str:
    return "common practice, no source" if key == "common-practice" else cite(key).title


def sale_facts(which: str) -> tuple[SaleFact, ...]:
    """One of the lists `LISTS`, each sentence with its source."""
    if which not in LISTS:
        raise BadEntry(f"{which!r} is no list.", field="which", value=which, allowed=", ".join(LISTS))
    return tuple(SaleFact(row["text"], _origin(row["source"])) for row in _data()[which])


def payments() -> tuple[Payment, ...]:
    """Ways to be paid, those that cannot be taken back first."""
    rows = _data()["payments"].items()
    return tuple(
        Payment(key, row["name"], row["clear"], row["caution"], _origin(row["source"])) for key, row in rows
    )


def gate_questions() -> dict[str, str]:
    """What must be true before keys and papers go, by key."""
    return dict(_data()["gate"])


def handover_gate(payment: str, said: Collection[str]) -> Gate:
    """Whether keys and papers may go.

    Parameters
    ----------
    payment
        Key of one of `payments`.
    said
        Keys of `gate_questions` that the person ticked.

    Returns
    -------
    Gate
        What is missing. A payment that can be taken back is missing until it is there for good.

    Raises
    ------
    BadEntry
        If the payment or a tick is none of these.

    References
    ----------
    own-reasoning, docs/method/asking.md.
    """
    kinds = {kind.key: kind for kind in payments()}
    questions = gate_questions()
    if payment not in kinds:
        raise BadEntry(
            f"{payment!r} is no way to pay that is known.",
            field="payment",
            value=payment,
            allowed=", ".join(kinds),
        )
    strange = [key for key in said if key not in questions]
    if strange:
        raise BadEntry(
            f"{strange[0]!r} is not asked.", field="said", value=strange[0], allowed=", ".join(questions)
        )
    missing = [text for key, text in questions.items() if key not in said]
    kind = kinds[payment]
    if not kind.clear:
        missing.insert(0, f"A payment that cannot be taken back, instead of: {kind.name}")
    return Gate(tuple(missing), kind.caution)


@dataclass(frozen=True)
class SalePapers:
    """What the printed papers are filled with; whatever is not known leaves a line to write on.

    Attributes
    ----------
    facts
        What the record holds; its known faults are printed to be initialled.
    vin
        Identification number.
    buyer
        Of the booked sale, the deposit or the accepted offer.
    price
        Booked or agreed; None when there is none yet.
    odometer
        Fact on the odometer disclosure.
    on
        Day of printing.
    deposits
        Deposits booked that count towards the price.
    sold_on
        Day of the booked sale.
    paid_by
        Way of payment last said before the keys go.
    taken_in
        What a car in part exchange counted for.
    """

    facts: ListingFacts
    vin: str
    buyer: str
    price: Money | None
    odometer: str
    on: date
    deposits: tuple[DepositPaid, ...] = ()
    sold_on: date | None = None
    paid_by: str = ""
    taken_in: Money | None = None

    def __post_init__(self) -> None:
        amounts = [one.amount for one in self.deposits] + ([self.taken_in] if self.taken_in else [])
        currency = self.price.currency if self.price else amounts[0].currency if amounts else ""
        for amount in amounts:
            if amount.currency != currency or amount.minor <= 0:
                raise BadEntry(
                    f"{amount.text()} cannot stand on papers in {currency}.",
                    field="deposits",
                    value=amount.text(),
                    allowed=f"above 0, in {currency}",
                )
        if self.price is not None and (self.price.minor <= 0 or (self.rest or self.price).minor < 0):
            raise BadEntry(
                f"The price {self.price.text()} must be above 0 and not below what was paid or counted already, "
                f"{Money(sum(amount.minor for amount in amounts), currency).text()}.",
                field="price",
                value=self.price.text(),
                allowed="above 0, at least what was paid",
            )

    @property
    def deposit(self) -> Money | None:
        """All deposits together, None without one."""
        if not self.deposits:
            return None
        return Money(sum(one.amount.minor for one in self.deposits), self.deposits[0].amount.currency)

    @property
    def rest(self) -> Money | None:
        """Price less deposits and part exchange; None without a price."""
        if self.price is None:
            return None
        less = sum(one.amount.minor for one in self.deposits) + (self.taken_in.minor if self.taken_in else 0)
        return Money(self.price.minor - less, self.price.currency)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text of major units."""

        def plain(money: Money | None) -> str | None:
            return None if money is None else str(money.major)

        return {
            "schema": "driveout-sale-papers-filled/1",
            "car": dict(car_rows(self.facts, self.vin)),
            "buyer": self.buyer,
            "price": plain(self.price),
            "deposit": plain(self.deposit),
            "deposits": [
                {
                    "day": one.day.isoformat(),
                    "amount": plain(one.amount),
                    "buyer": one.buyer,
                    "paid": one.paid,
                }
                for one in self.deposits
            ],
            "taken_in": plain(self.taken_in),
            "rest": plain(self.rest),
            "sold_on": self.sold_on.isoformat() if self.sold_on else None,
            "paid_by": self.paid_by,
            "odometer": self.odometer,
            "known_faults": list(self.facts.remains),
        }

    def lines(self) -> list[str]:
        """What the papers say, for the terminal."""
        said = [f"{name}: {value}" for name, value in car_rows(self.facts, self.vin)]
        for name, value in (
            ("Buyer", self.buyer),
            ("Price", self.price.text() if self.price else ""),
            *((f"Deposit of {one.day}", _deposit_words(one)) for one in self.deposits),
            ("Car in part exchange", self.taken_in.text() if self.taken_in else ""),
            ("Still to pay", self.rest.text() if self.rest and (self.deposits or self.taken_in) else ""),
            ("Paid by", self.paid_by),
        ):
            said.append(f"{name}: {value or 'to be written in by hand'}")
        said += [f"Known fault: {fault}" for fault in self.facts.remains] or ["Known faults: none recorded"]
        if self.odometer:
            said.append(f"Odometer, United States: {self.odometer}")
        return [*said, "Facts, no legal advice: check your local form."]


def _deposit_words(one: DepositPaid) -> str:
    return one.amount.text() + (f" (paid {one.paid})" if one.paid else "")


def sale_papers_pdf(papers: SalePapers) -> bytes:
    """Bill of sale, deposit receipt, odometer facts and lists as one PDF, A4, to be filled in by hand.

    Parameters
    ----------
    papers
        What to fill in.

    Returns
    -------
    bytes
        A PDF.
    """
    lists = {which: [[fact.text, fact.source] for fact in sale_facts(which)] for which in LISTS}
    rest = papers.rest.text() if papers.rest else ""
    data = {
        "rows": car_rows(papers.facts, papers.vin),
        "remains": papers.facts.remains,
        "name": papers.facts.name,
        "buyer": papers.buyer,
        "price": papers.price.text() if papers.price else "",
        "deposit_paid": papers.deposit.text() if papers.deposit else "",
        "deposits": [[one.day.isoformat(), _deposit_words(one)] for one in papers.deposits],
        "taken_in": papers.taken_in.text() if papers.taken_in else "",
        "rest": rest,
        "sold_on": papers.sold_on.isoformat() if papers.sold_on else "",
        "paid_by": papers.paid_by,
        "odometer": papers.odometer,
        "odometer_source": cite("cfr-49-580").title,
        "on": papers.on.isoformat(),
        "as_is": _data()["as_is"],
        "payments": [
            [kind.name, "yes" if kind.clear else "no", kind.caution, kind.source] for kind in payments()
        ],
        "gate": list(gate_questions().values()),
        **lists,
    }
    return printed("data/sale_papers.typ", data)
