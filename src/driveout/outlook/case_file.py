"""A car case of one's own: fault network or chances, costs, resale, rules, in one file.

``driveout-car-case/1``, YAML or JSON, described in docs/formats/car-case.md. Money in major
units of the file's currency, ranges as low / likely / high.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.faults import infer, read_network, with_silence
from driveout.faults.network_file import Entries, Path
from driveout.files import yaml_document
from driveout.outlook.book import NOTHING, CostBook, Mend, Piece
from driveout.outlook.car_case import chances_or_draws
from driveout.outlook.chances import Block, FaultChances
from driveout.outlook.draws import FaultDraws
from driveout.outlook.forecast import Case, Forecast, Salvage
from driveout.outlook.shown import outlook_as_data
from driveout.outlook.spread import FINE
from driveout.outlook.walk_away import ceiling_from
from driveout.rules import Rules, default_rules, rules_from
from driveout.uncertain import Law, Scaled, ThreePoint, fitted
from driveout.units import minor_digits

SCHEMA = "driveout-car-case/1"
KEYS = {
    "schema", "name", "note", "currency", "price", "value", "network", "evidence", "silence", "chances",
    "costs", "access", "swaps", "always", "salvage", "rules", "points",
}  # fmt: skip
PIECE = {"label", "money", "hours", "days", "chance", "law"}
MEND = {*PIECE, "opens", "swap", "forces_swap"}
LAWS = ("tail", "gamma", "bounded", "lognormal")


@dataclass(frozen=True, eq=False)
class OwnCase:
    """A car case from a file.

    Parameters
    ----------
    name
        What the person calls it.
    case
        Everything the outlook is made from.
    chances
        Chance of each fault after the evidence.
    points
        Grid points of the money distribution.
    """

    name: str
    case: Case
    chances: Mapping[str, float] = field(default_factory=dict)
    points: int = FINE


def case_from_file(text: str | bytes, name: str = "car case", network: str | bytes | None = None) -> OwnCase:
    """Read a car case.

    Parameters
    ----------
    text
        Content of a ``driveout-car-case/1`` file.
    name
        Its name, for messages.
    network
        Content of a ``driveout-network/1`` file that takes the place of the case's own network.

    Returns
    -------
    OwnCase
        The case, ready for `case_result`.

    Raises
    ------
    BadEntry
        Names file, line and key of what cannot be used; several together as ``BadRows``.
    """
    entries = Entries(yaml_document(text, name, SCHEMA))
    data = entries.mapping(entries.document.data, ())
    entries.only(data, KEYS, ())
    currency = entries.text(data.get("currency"), ("currency",), "USD")
    scale = entries.collect(lambda: _scale(entries, currency)) or 100.0
    rules = entries.collect(lambda: _rules(entries, data.get("rules"), currency)) or Rules()
    value = entries.collect(lambda: _value(entries, data.get("value"), scale))
    chances = entries.collect(lambda: _chances(entries, data, network))
    book = entries.collect(lambda: _book(entries, data, scale))
    salvage = entries.collect(lambda: _salvage(entries, data.get("salvage"), scale))
    price = entries.collect(lambda: _amount(entries, data.get("price"), ("price",), scale))
    points = data.get("points", FINE)
    entries.done()
    assert value is not None
    assert chances is not None
    assert book is not None
    named = {name for names in chances.faults for name in names}
    for mend in book.mends:
        if mend.fault not in named:
            raise entries.refuse(
                ("costs", mend.fault),
                f"{mend.fault!r} has a cost but is no fault of this case.",
                mend.fault,
                ", ".join(sorted(named)),
            )
    case = Case(chances, book, value, rules, price, salvage or ())
    return OwnCase(entries.text(data.get("name"), ("name",), name), case, chances.of_fault, int(points))


def case_result(own: OwnCase) -> dict[str, Any]:
    """Outlook and walk-away price of a car case, as plain values.

    Parameters
    ----------
    own
        The case.

    Returns
    -------
    dict[str, Any]
        Chances, walk-away price by rule, outlook; money in minor units.

    Raises
    ------
    CannotSay
        If a chosen rule has no answer.
    """
    made = Forecast(own.case, own.points)
    ceiling = ceiling_from(made)
    return {
        "name": own.name,
        "currency": ceiling.currency,
        "money_unit": "minor",
        "chances": dict(own.chances),
        "walk_away_minor": ceiling.money.minor,
        "walk_away": ceiling.money.text(),
        "binding_rule": ceiling.binding,
        "rules": [
            {
                "rule": rule.rule,
                "price_minor": rule.minor,
                "chosen": rule.rule in ceiling.chosen,
                "why": rule.why,
            }
            for rule in ceiling.rules
        ],
        "outlook": outlook_as_data(made.outlook()),
    }


def _scale(entries: Entries, currency: str) -> float:
    try:
        return 10.0 ** minor_digits(currency)
    except BadEntry as trouble:
        raise entries.refuse(("currency",), trouble.message, currency, trouble.allowed) from trouble


def _rules(entries: Entries, data: Any, currency: str) -> Rules:
    given = entries.mapping(data, ("rules",))
    plain = {
        "scrap": 0.0, "part_out": 0.0, "part_out_hours": 0.0, "holding_per_day": 0.0,
        "capital_share_per_year": 0.0, "purchase_tax_share": 0.0,
    }  # fmt: skip
    try:
        return rules_from({**plain, **given, "currency": currency}, default_rules(currency))
    except BadEntry as trouble:
        raise entries.refuse(
            ("rules", trouble.field), trouble.message, trouble.value, trouble.allowed
        ) from trouble


def _range(entries: Entries, data: Any, path: Path) -> ThreePoint:
    try:
        return ThreePoint.of(data, str(path[-1]), least=0.0)
    except BadEntry as trouble:
        raise entries.refuse(path, trouble.message, str(data), trouble.allowed) from trouble


def _amount(entries: Entries, data: Any, path: Path, scale: float) -> float | None:
    return None if data is None else entries.number(data, path, 0.0, 1e12) * scale


def _value(entries: Entries, data: Any, scale: float) -> tuple[float, float]:
    if data is None:
        raise entries.refuse(
            ("value",), "The value of the mended car is missing.", None, "[low, likely, high]"
        )
    points = _range(entries, data, ("value",))
    if not points.low > 0:
        raise entries.refuse(("value",), "The value must be above 0.", points.low, "above 0")
    return points.low * scale, points.high * scale


def _chances(
    entries: Entries, data: Mapping[str, Any], network: str | bytes | None
) -> FaultChances | FaultDraws:
    inline = data.get("network")
    if network is None and inline is None:
        return _given_chances(entries, data.get("chances"))
    if network is None:
        body = {"schema": "driveout-network/1", **entries.mapping(inline, ("network",))}
        network = json.dumps(body, default=str)
    known = read_network(network, f"{entries.document.name} network")
    evidence = {
        key: entries.text(value, ("evidence", key))
        for key, value in entries.mapping(data.get("evidence"), ("evidence",)).items()
    }
    if data.get("silence") is True:
        evidence = with_silence(known, evidence)
    try:
        return chances_or_draws(infer(known, evidence))
    except BadEntry as trouble:
        raise entries.refuse(
            ("evidence", trouble.field), trouble.message, trouble.value, trouble.allowed
        ) from trouble


def _given_chances(entries: Entries, data: Any) -> FaultChances:
    """Chances without a network: a number a fault, or a set of faults that exclude each other."""
    causes, faults, blocks = [], [], []
    for number, (cause, given) in enumerate(entries.mapping(data, ("chances",)).items()):
        if isinstance(given, dict):
            states = {
                key: entries.number(value, ("chances", cause, key))
                for key, value in entries.mapping(given, ("chances", cause)).items()
            }
        else:
            states = {cause: entries.number(given, ("chances", cause))}
        if sum(states.values()) > 1.0 + 1e-12:
            raise entries.refuse(
                ("chances", cause),
                f"The faults of {cause!r} exclude each other, but their chances add up to {sum(states.values()):g}.",
                sum(states.values()),
                "at most 1",
            )
        causes.append(cause)
        faults.append(tuple(states))
        row = np.array([[max(1.0 - sum(states.values()), 0.0), *states.values()]])
        blocks.append(Block((number,), np.ones(1), (row,)))
    return FaultChances(tuple(causes), tuple(faults), ((1.0, tuple(blocks)),))


def _book(entries: Entries, data: Mapping[str, Any], scale: float) -> CostBook:
    access = tuple(
        (key, _piece(entries, row, ("access", key), scale, PIECE))
        for key, row in entries.mapping(data.get("access"), ("access",)).items()
    )
    swaps = tuple(
        (key, _piece(entries, row, ("swaps", key), scale, PIECE))
        for key, row in entries.mapping(data.get("swaps"), ("swaps",)).items()
    )
    mends = []
    for fault, row in entries.mapping(data.get("costs"), ("costs",)).items():
        path = ("costs", fault)
        piece = _piece(entries, row, path, scale, MEND)
        given = entries.mapping(row, path)
        mends.append(
            Mend(
                fault,
                piece.label,
                (piece,),
                entries.words(given.get("opens"), (*path, "opens")),
                entries.text(given.get("swap"), (*path, "swap")),
                given.get("forces_swap") is True,
                repair=fault,
            )
        )
    rows = data.get("always") or []
    if not isinstance(rows, list):
        raise entries.refuse(("always",), "'always' must be a list of lines.", str(rows))
    always = tuple(_piece(entries, row, ("always", k), scale, PIECE) for k, row in enumerate(rows))
    try:
        return CostBook(tuple(mends), access, swaps, always)
    except BadEntry as trouble:
        raise entries.refuse(("costs",), trouble.message, trouble.value, trouble.allowed) from trouble


def _piece(entries: Entries, row: Any, path: Path, scale: float, keys: set[str]) -> Piece:
    given = entries.mapping(row, path)
    entries.only(given, keys, path)
    law = entries.text(given.get("law"), (*path, "law"), "tail")
    if law not in LAWS:
        raise entries.refuse((*path, "law"), f"{law!r} is no law.", law, ", ".join(LAWS))

    def amount(name: str, factor: float) -> Law:
        if given.get(name) is None:
            return NOTHING
        points = _range(entries, given[name], (*path, name))
        if points.high <= 0.0:
            return NOTHING
        try:
            made = fitted(points, law)
        except BadEntry as trouble:
            raise entries.refuse(
                (*path, name), trouble.message, str(given[name]), trouble.allowed
            ) from trouble
        return made if factor == 1.0 else Scaled(made, factor)

    return Piece(
        entries.text(given.get("label"), (*path, "label"), str(path[-1])),
        amount("money", scale),
        amount("hours", 1.0),
        amount("days", 1.0),
        entries.number(given.get("chance", 1.0), (*path, "chance")),
    )


def _salvage(entries: Entries, rows: Any, scale: float) -> tuple[Salvage, ...]:
    if rows is None:
        return ()
    if not isinstance(rows, list):
        raise entries.refuse(("salvage",), "'salvage' must be a list of ways out.", str(rows))
    found = []
    for number, row in enumerate(rows):
        path = ("salvage", number)
        given = entries.mapping(row, path)
        entries.only(given, {"label", "money", "hours"}, path)
        found.append(
            Salvage(
                entries.text(given.get("label"), (*path, "label"), "let it go"),
                entries.number(given.get("money", 0.0), (*path, "money"), 0.0, 1e12) * scale,
                entries.number(given.get("hours", 0.0), (*path, "hours"), 0.0, 1e6),
            )
        )
    return tuple(found)
