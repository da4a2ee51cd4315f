"""A cost book from the repair catalogue: for each fault the way out that costs least on average.

Ways out of one fault: each repair that cures it, with each choice of part, and leaving it and
saying so, which lowers the sale price. Nothing critical is ever left. A repair that cures
several faults is one unit of work, paid once; access shared by repairs is paid once.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

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
    mends: list[Mend] = []
    shared: dict[str, Piece] = {}
    unknown: list[str] = []
    for fault, facts in faults.items():
        way = _way_out(catalogue, fault, facts, charge, clean_value, plan)
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
    repair, choice
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
) -> tuple[Mend, dict[str, Piece]] | None:
    found: list[tuple[float, Mend, dict[str, Piece]]] = []
    repairs = catalogue.for_fault(fault)
    settled = [r for r in repairs if r.id in plan.chosen]
    if fault not in plan.left:
        for repair in settled or repairs:
            kinds = [plan.chosen[repair.id]] if repair.id in plan.chosen else list(repair.choices)
            for kind in kinds:
                if kind in repair.choices:
                    found.append(
                        _repaired(catalogue, fault, facts, repair, repair.choices[kind], charge, plan)
                    )
    if not settled and facts.value_loss is not None and not (facts.is_critical and found):
        loss = Piece(f"Left and said: {facts.name or fault}", law_of(facts.value_loss.times(clean_value)))
        found.append((moments((loss,), charge)[0], Mend(fault, loss.label, (loss,)), {}))
    if not found:
        return None
    _, mend, groups = min(found, key=lambda way: way[0])
    return mend, groups


def _repaired(
    catalogue: Catalogue,
    fault: str,
    facts: FaultFacts,
    repair: Repair,
    choice: PartChoice,
    charge: Charge,
    plan: Plan,
) -> tuple[float, Mend, dict[str, Piece]]:
    pieces = repair_pieces(repair, choice, catalogue, plan)
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
        return cost, Mend(fault, label, pieces[1:], (*groups,), repair=repair.id), groups
    return cost, Mend(fault, label, pieces, (*groups,), repair=repair.id), groups


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
