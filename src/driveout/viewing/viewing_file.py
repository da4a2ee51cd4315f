"""A viewing over faults as a file of one's own: `driveout-viewing/1`, described in docs/formats/decision.md."""

import json
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.faults import compile_network, read_network
from driveout.files import yaml_document
from driveout.viewing.fault_viewing import FaultCheck, FaultViewing, SharedCost
from driveout.viewing.file_reader import FileReader

SCHEMA = "driveout-viewing/1"
PRICES = 61

_TOP = (
    "schema", "name", "currency", "asking", "prices", "resale", "price_factor", "costs", "shared", "serious",
    "wage_per_hour", "minutes_available", "one_of", "checks", "evidence", "network",
)  # fmt: skip
_CHECK = ("findings", "name", "cost", "minutes", "lose_deal", "after", "caution")


@dataclass(frozen=True, eq=False)
class ViewingCase:
    """A viewing of one's own and what is asked about it.

    Parameters
    ----------
    viewing
        The viewing; amounts in the money of the file.
    asking
        Price asked now. [money]
    prices
        Prices that the table is made for. [money]
    name
        What it is called.
    currency
        ISO 4217 code.
    """

    viewing: FaultViewing
    asking: float
    prices: tuple[float, ...]
    name: str
    currency: str


def read_viewing(
    text: str | bytes, name: str = "viewing", network: tuple[str | bytes, str] | None = None
) -> ViewingCase:
    """Read a viewing over faults.

    Parameters
    ----------
    text
        Content of the file, YAML or JSON.
    name
        Name of the file, for messages.
    network
        Content and name of a network file (``driveout-network/1``); None if the network stands
        in the viewing itself.

    Returns
    -------
    ViewingCase
        The viewing.

    Raises
    ------
    BadEntry
        With file, line and key of the first thing that cannot be used.
    """
    reader = FileReader(yaml_document(text, name, SCHEMA))
    top = reader.mapping((), _TOP)
    for needed in ("resale", "checks"):
        if needed not in top:
            raise reader.document.bad((), f"The key {needed!r} is missing. Add it.", allowed=", ".join(_TOP))
    if network is None:
        body = {"schema": "driveout-network/1", **reader.mapping(("network",))}
        network = (json.dumps(body), f"{name}:{reader.document.line('network')} network")
    asking = reader.number(("asking",), 0.0)
    viewing = FaultViewing(
        compiled=compile_network(read_network(*network)),
        evidence=_words(reader, ("evidence",)),
        checks=tuple(_check(reader, check) for check in reader.mapping(("checks",))),
        resale=reader.number(("resale",)),
        costs={
            str(f): reader.number(("costs", f))
            for f in (reader.mapping(("costs",)) if "costs" in top else ())
        },
        shared=tuple(_shared(reader, n) for n in range(len(reader.listed(("shared",))))),
        wage_per_hour=reader.number(("wage_per_hour",), 0.0),
        minutes_available=reader.number(("minutes_available",), inf),
        one_of=tuple(frozenset(reader.names(("one_of", n))) for n in range(len(reader.listed(("one_of",))))),
        serious=frozenset(reader.names(("serious", "faults"))),
        most_serious_chance=reader.number(("serious", "most_chance"), 1.0),
        price_factor=reader.number(("price_factor",), 1.0),
    )
    if viewing.price_factor <= 0.0 or asking < 0.0:
        bad = BadEntry(
            "The price factor must be above 0 and the price asked 0 or more.", field="price_factor"
        )
        raise reader.placed(bad)
    return ViewingCase(
        viewing,
        asking,
        _prices(reader, viewing),
        reader.text(("name",), ""),
        reader.text(("currency",), "USD"),
    )


def schema_of(text: str | bytes, name: str) -> str:
    """The schema that a file names, or empty."""
    data = yaml_document(text, name, None).data
    return str(data.get("schema", "")) if isinstance(data, dict) else ""


def _words(reader: FileReader, path: tuple[Any, ...]) -> dict[str, str]:
    if reader.at(path) is None:
        return {}
    # YAML reads a bare yes or no as true or false; both are outcomes here.
    spoken = {True: "yes", False: "no"}
    return {str(key): spoken.get(value, str(value)) for key, value in reader.mapping(path).items()}


def _check(reader: FileReader, name: Any) -> FaultCheck:
    path = ("checks", name)
    body = reader.mapping(path, _CHECK) if reader.at(path) is not None else {}
    return FaultCheck(
        id=str(name),
        findings=reader.names((*path, "findings")) if "findings" in body else (str(name),),
        name=reader.text((*path, "name"), str(name)),
        cost=reader.number((*path, "cost"), 0.0),
        minutes=reader.number((*path, "minutes"), 0.0),
        lose_deal=reader.number((*path, "lose_deal"), 0.0),
        after=reader.after((*path, "after")),
        caution=reader.text((*path, "caution"), ""),
    )


def _shared(reader: FileReader, number: int) -> SharedCost:
    path = ("shared", number)
    reader.mapping(path, ("faults", "cost"))
    return SharedCost(frozenset(reader.names((*path, "faults"))), reader.number((*path, "cost")))


def _prices(reader: FileReader, viewing: FaultViewing) -> tuple[float, ...]:
    """Prices of the table: as listed, or 61 between two ends, or up to what a sound car brings."""
    listed = [reader.number(("prices", n)) for n in range(len(reader.listed(("prices",))))]
    if len(listed) > 2:
        return tuple(listed)
    low, high = listed if listed else (0.0, max(viewing.resale / viewing.price_factor, 1.0))
    if not low < high:
        raise reader.document.bad(
            ("prices",), f"The prices {low:g} to {high:g} do not rise.", value=[low, high]
        )
    return tuple(float(price) for price in np.linspace(low, high, PRICES))
