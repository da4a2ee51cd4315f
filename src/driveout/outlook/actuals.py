"""What has happened replaces what was estimated, line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from driveout.outlook.book import NOTHING, CostBook, Piece
from driveout.outlook.forecast import Case
from driveout.outlook.from_catalogue import Plan, law_of, repair_pieces, work_name
from driveout.repairs import Catalogue
from driveout.uncertain import Fixed, Floored, Law


@dataclass(frozen=True)
class Booked:
    """What was booked on one line.

    Parameters
    ----------
    key
        Key of the line; empty when nothing of the kind was planned.
    label
        What a person reads.
    money
        Spent so far. [minor units]
    hours
        Own hours so far. [h]
    """

    key: str
    label: str
    money: float = 0.0
    hours: float = 0.0


@dataclass(frozen=True)
class Known:
    """All that has happened to a car.

    Parameters
    ----------
    price_paid
        None while it is not bought. [minor units]
    chosen
        Repair id to the kind of part: what the person has decided to do.
    done
        Repairs that are finished.
    booked
        Receipts and hours by line.
    received
        Money that has come in besides the sale. [minor units]
    sold_for
        Sale price less selling fees, None while it is not sold. [minor units]
    """

    price_paid: float | None = None
    chosen: Mapping[str, str] = field(default_factory=dict)
    done: frozenset[str] = frozenset()
    booked: tuple[Booked, ...] = ()
    received: float = 0.0
    sold_for: float | None = None


def with_actuals(case: Case, catalogue: Catalogue, known: Known, plan: Plan | None = None) -> Case:
    """The case with everything known in place of its estimate.

    A chosen repair is certain, so it leaves the faults and becomes a line of its own; the
    faults it cures cost nothing more. Money and hours booked on a line are the least the line
    can come to; on a finished line they are what it came to. Bookings that no line foresaw are
    added. A sold car has no estimates left.

    Parameters
    ----------
    case
        The case by estimates alone.
    catalogue
        Known repairs.
    known
        What has happened.
    plan
        Personal factors.

    Returns
    -------
    Case
        The sharpened case.
    """
    booked = {one.key: one for one in known.booked if one.key}
    beside = [one for one in known.booked if not one.key]
    price = case.price if known.price_paid is None else known.price_paid
    if known.sold_for is not None:
        return replace(
            case,
            book=CostBook(always=tuple(_as_booked(one) for one in known.booked)),
            value=(max(known.sold_for, 1.0),) * 2,
            rules=replace(case.rules, sale_fee_share=0.0, holding_per_day=0.0),
            price=price,
            salvage=(),
            received=known.received,
            notes=(),
        )
    lines = [_sharpened(piece, booked, is_done=False) for piece in case.book.always]
    cured: set[str] = set()
    opened: set[str] = set()
    for repair_id, kind in known.chosen.items():
        repair = catalogue.repairs.get(repair_id)
        if repair is None:
            continue
        cured.update(repair.cures)
        choice = repair.choices.get(kind, repair.first_choice)
        pieces = repair_pieces(repair, choice, catalogue, plan)
        is_done = repair_id in known.done and repair_id in booked
        lines.append(_sharpened(pieces[0], booked, is_done=is_done))
        if is_done:
            continue
        lines += pieces[1:]
        if repair.access and repair.access not in opened:
            opened.add(repair.access)
            access = catalogue.access[repair.access]
            hours = law_of(
                access.hours, work_name(repair.id), plan.hours if plan else None, choice.hours_share
            )
            lines.append(Piece(access.name, hours=hours, key=access.id))
    foreseen = {piece.key for piece in lines}
    lines += [_as_booked(one) for one in (*beside, *(b for k, b in booked.items() if k not in foreseen))]
    mends = tuple(mend for mend in case.book.mends if mend.fault not in cured)
    return replace(
        case,
        book=CostBook(mends, case.book.access, case.book.swaps, tuple(lines)),
        price=price,
        received=case.received + known.received,
    )


def _sharpened(piece: Piece, booked: Mapping[str, Booked], *, is_done: bool) -> Piece:
    found = booked.get(piece.key) if piece.key else None
    if found is None:
        return piece
    if is_done:
        return replace(
            piece,
            money=Fixed(max(found.money, 0.0)),
            hours=Fixed(found.hours),
            also=(),
            days=NOTHING,
            chance=1.0,
        )
    also = piece.also if found.money <= 0 else ()
    return replace(
        piece,
        money=_at_least(piece.money, found.money),
        hours=_at_least(piece.hours, found.hours),
        also=also,
        chance=1.0,
    )


def _at_least(law: Law, done: float) -> Law:
    if done <= 0.0:
        return law
    return Fixed(done) if law == NOTHING or isinstance(law, Fixed) else Floored(law, done)


def _as_booked(one: Booked) -> Piece:
    return Piece(one.label, Fixed(max(one.money, 0.0)), Fixed(max(one.hours, 0.0)), key=one.key)
