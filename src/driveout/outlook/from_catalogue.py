"""A cost book from the repair catalogue: for each fault the way out that costs least on average.

Ways out of one fault: each repair that cures it, with each choice of part, and leaving it and
saying so, which lowers the sale price. Nothing critical is ever left. A repair that cures
several faults is one unit of work, paid once; access shared by repairs is paid once. Where a
repair does not always cure its fault, the next best way follows with that chance.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from driveout.lessons import Bias, corrected
from driveout.outlook.book import NOTHING, Charge, CostBook, Mend, Piece, moments
from driveout.repairs import Catalogue, PartChoice, Repair
from driveout.uncertain import Law, Scaled, ThreePoint, fitted

#: kind of cost under which lessons about money of repairs are kept
PARTS = "parts"


@dataclass(frozen=True)
class FaultFacts:
    """What leaving a fault costs.

    Parameters
    ----------
    name
        What a person reads.
    value_loss
        Share of the clean value lost when it is left and said; None when unknown.
    is_critical
        Whether the car may not be sold for the road with it.
    """

    name: str = ""
    value_loss: ThreePoint | None = None
    is_critical: bool = False


@dataclass(frozen=True)
class Plan:
    """What the person has already settled.

    Parameters
    ----------
    chosen
        Repair id to the kind of part chosen for it.
    left
        Faults to be left and said.
    hours, money
        What finished cars taught about own hours and about money; None when nothing yet.
    """

    chosen: Mapping[str, str] = field(default_factory=dict)
    left: Collection[str] = ()
    hours: Bias | None = None
    money: Bias | None = None


def cost_book(
    catalogue: Catalogue,
    faults: Mapping[str, FaultFacts],
    charge: Charge,
    clean_value: float,
    plan: Plan | None = None,
    always: tuple[Piece, ...] = (),
) -> tuple[CostBook, tuple[str, ...]]:
    """What each fault takes, by the catalogue.

    Parameters
    ----------
    catalogue
        Known repairs.
    faults
        The faults that may be there, with what leaving them costs.
    charge
        How money, hours and days compare, for choosing among ways out.
    clean_value
        Value of the mended car. [minor units]
    plan
        What is settled already.
    always
        Lines that come whatever is wrong.

    Returns
    -------
    tuple[CostBook, tuple[str, ...]]
        The book, and the faults that have neither a repair nor a known loss.
    """
    plan = plan or Plan()
    key = (
        id(catalogue),
        tuple(faults.items()),
        charge,
        clean_value,
        tuple(plan.chosen.items()),
        tuple(plan.left),
        id(plan.hours),
        id(plan.money),
        always,
    )
    if key not in _books:
        if len(_books) >= MOST_BOOKS:
            _books.clear()
        # what the numbers in the key stand for is kept, so that no other object can take its number
        _books[key] = (_made(catalogue, faults, charge, clean_value, plan, always), catalogue, plan)
    return _books[key][0]


#: cost books kept between calls
MOST_BOOKS = 64
_books: dict[tuple[Any, ...], tuple[tuple[CostBook, tuple[str, ...]], Catalogue, Plan]] = {}


def _made(
    catalogue: Catalogue,
    faults: Mapping[str, FaultFacts],
    charge: Charge,
    clean_value: float,
    plan: Plan,
    always: tuple[Piece, ...],
) -> tuple[CostBook, tuple[str, ...]]:
    mends: list[Mend] = []
    shared: dict[str, Piece] = {}
    unknown: list[str] = []
    known = _ways_for(catalogue, faults, charge, plan)
    for fault, facts in faults.items():
        way = _way_out(catalogue, fault, facts, charge, clean_value, plan, known)
        if way is None:
            unknown.append(fault)
            continue
        mend, groups = way
        mends.append(mend)
        shared.update(groups)
    return CostBook(tuple(mends), tuple(shared.items()), (), always), tuple(unknown)


def repair_pieces(
    repair: Repair, choice: PartChoice, catalogue: Catalogue, plan: Plan | None = None, *, alone: bool = False
) -> tuple[Piece, ...]:
    """Work and spending of one repair with one choice of part.

    Parameters
    ----------
    repair
        What is done, and with which part.
    choice
        What is done, and with which part.
    catalogue
        For the repairs that may turn out to be needed with it.
    plan
        Personal factors.
    alone
        Whether the hours of getting in count here instead of in the shared access.

    Returns
    -------
    tuple[Piece, ...]
        The job itself, doing it again, and what it may grow into.
    """
    plan, work = plan or Plan(), work_name(repair.id)
    hours = repair.hours if alone or not repair.access else repair.own_hours
    waits = max([choice.lead_days, *(w.days for w in repair.waits)], key=lambda days: days.likely)
    pieces = [
        Piece(
            f"{repair.name} ({choice.kind})",
            law_of(choice.money, PARTS, plan.money),
            law_of(hours, work, plan.hours, choice.hours_share),
            law_of(waits),
            also=tuple(
                law_of(points, PARTS, plan.money)
                for points in (repair.consumables, *(work.money for work in repair.outside))
                if points.high > 0
            ),
            key=repair.id,
        )
    ]
    if repair.redo.chance > 0:
        pieces.append(
            Piece(
                f"{repair.name}: done again",
                law_of(_sure(repair.redo.money)),
                law_of(_sure(repair.redo.hours)),
                chance=repair.redo.chance,
            )
        )
    for other, chance in repair.grows:
        more = catalogue.repairs.get(other)
        if more is not None:
            pieces.append(
                Piece(
                    f"{repair.name}: grows into {more.name.lower()}",
                    law_of(more.first_choice.money, PARTS, plan.money),
                    law_of(more.own_hours, work_name(other), plan.hours, more.first_choice.hours_share),
                    chance=chance,
                    also=(law_of(more.consumables, PARTS, plan.money),) if more.consumables.high > 0 else (),
                )
            )
    return tuple(pieces)


def _way_out(
    catalogue: Catalogue,
    fault: str,
    facts: FaultFacts,
    charge: Charge,
    clean_value: float,
    plan: Plan,
    known: _Ways,
) -> tuple[Mend, dict[str, Piece]] | None:
    found: list[_Way] = []
    repairs = catalogue.for_fault(fault)
    settled = [r for r in repairs if r.id in plan.chosen]
    if fault not in plan.left:
        for repair in settled or repairs:
            kinds = [plan.chosen[repair.id]] if repair.id in plan.chosen else list(repair.choices)
            found += [
                _repaired_once(known, catalogue, fault, facts, repair, repair.choices[kind], charge, plan)
                for kind in kinds
                if kind in repair.choices
            ]
    left: list[_Way] = []
    if not settled and facts.value_loss is not None and not (facts.is_critical and found):
        loss = Piece(f"Left and said: {facts.name or fault}", law_of(facts.value_loss, share=clean_value))
        left.append(_Way(moments((loss,), charge)[0], Mend(fault, loss.label, (loss,)), {}, loss))
    ways = [_with_second_try(way, [*found, *left], charge) for way in found] + left
    if not ways:
        return None
    best = min(ways, key=lambda way: way.cost)
    return best.mend, best.groups


@dataclass(frozen=True)
class _Way:
    cost: float
    mend: Mend
    groups: dict[str, Piece]
    alone: Piece
    fails: float = 0.0


def _with_second_try(way: _Way, ways: list[_Way], charge: Charge) -> _Way:
    """The way with what follows when it does not cure the fault: the cheapest other way, or it again."""
    if way.fails <= 0.0:
        return way
    others = [w for w in ways if w.mend.repair != way.mend.repair and w.fails <= way.fails] or [way]
    second = min(others, key=lambda w: w.cost).alone
    extra = replace(
        second,
        label=f"{way.mend.label}: did not cure it, then {second.label[0].lower()}{second.label[1:]}",
        chance=way.fails * second.chance,
        key="",
    )
    mend = replace(way.mend, pieces=(*way.mend.pieces, extra))
    return replace(way, cost=way.cost + moments((extra,), charge)[0], mend=mend)


@dataclass
class _Ways:
    """Ways of mending worked out for one catalogue, charge and plan, whatever the car is worth."""

    kept_for: tuple[Catalogue, Plan, Mapping[str, FaultFacts]]
    by_choice: dict[tuple[str, str, str], _Way] = field(default_factory=dict)


def _repaired_once(
    ways: _Ways,
    catalogue: Catalogue,
    fault: str,
    facts: FaultFacts,
    repair: Repair,
    choice: PartChoice,
    charge: Charge,
    plan: Plan,
) -> _Way:
    key = (fault, repair.id, choice.kind)
    if key not in ways.by_choice:
        ways.by_choice[key] = _repaired(catalogue, fault, facts, repair, choice, charge, plan)
    return ways.by_choice[key]


#: the same for the last few settings, by the numbers of what they are made for
_ways: dict[tuple[Any, ...], _Ways] = {}


def _ways_for(catalogue: Catalogue, faults: Mapping[str, FaultFacts], charge: Charge, plan: Plan) -> _Ways:
    names = tuple((fault, facts.name) for fault, facts in faults.items())
    key = (id(catalogue), names, charge, id(plan.hours), id(plan.money))
    if key not in _ways:
        if len(_ways) >= MOST_BOOKS:
            _ways.clear()
        _ways[key] = _Ways((catalogue, plan, faults))
    return _ways[key]


def _repaired(
    catalogue: Catalogue,
    fault: str,
    facts: FaultFacts,
    repair: Repair,
    choice: PartChoice,
    charge: Charge,
    plan: Plan,
) -> _Way:
    pieces = repair_pieces(repair, choice, catalogue, plan)
    alone = repair_pieces(repair, choice, catalogue, plan, alone=True)[0]
    fails = max(1.0 - repair.fixes - repair.redo.chance, 0.0)
    label = f"{facts.name or fault}: {repair.name[0].lower()}{repair.name[1:]} ({choice.kind})"
    groups: dict[str, Piece] = {}
    cost = moments(pieces, charge)[0]
    if repair.access:
        opened = catalogue.access[repair.access]
        groups[repair.access] = Piece(
            opened.name, hours=law_of(opened.hours, work_name(repair.id), plan.hours, choice.hours_share)
        )
        cost += moments((groups[repair.access],), charge)[0]
    if len(repair.cures) > 1:
        # the job itself is one unit of work for all its faults; what may grow stays with each
        unit = f"{repair.id}/{choice.kind}"
        groups[unit] = pieces[0]
        return _Way(cost, Mend(fault, label, pieces[1:], (*groups,), repair=repair.id), groups, alone, fails)
    return _Way(cost, Mend(fault, label, pieces, (*groups,), repair=repair.id), groups, alone, fails)


def law_of(points: ThreePoint, kind: str = "", learned: Bias | None = None, share: float = 1.0) -> Law:
    """The law of a range, shifted and widened by what was learned of its kind, times a share."""
    if points.high <= 0.0 or share <= 0.0:
        return NOTHING
    law = fitted(points if learned is None else corrected(kind, points, learned))
    return law if share == 1.0 else Scaled(law, share)


def work_name(text: str) -> str:
    """A kind of work as the money record writes it: small letters, digits and dashes."""
    plain = "".join(letter if letter.isalnum() else " " for letter in text.lower())
    return "-".join(plain.split())[:60]


def _sure(value: float) -> ThreePoint:
    return ThreePoint(value, value, value)
