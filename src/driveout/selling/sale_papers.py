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
from driveout.selling.buyers_file import car_rows, printed
from driveout.selling.listing import ListingFacts
from driveout.sources import cite

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
    """What the printed papers are filled with.

    Attributes
    ----------
    facts
        What the record holds; its known faults are printed to be initialled.
    vin
        Identification number.
    buyer, price
        Of the accepted offer; empty leaves a line to write on.
    odometer
        Fact on the odometer disclosure.
    on
        Day of printing.
    """

    facts: ListingFacts
    vin: str
    buyer: str
    price: str
    odometer: str
    on: date


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
    data = {
        "rows": car_rows(papers.facts, papers.vin),
        "remains": papers.facts.remains,
        "name": papers.facts.name,
        "buyer": papers.buyer,
        "price": papers.price,
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
