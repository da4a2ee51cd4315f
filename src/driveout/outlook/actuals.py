"""What has happened replaces what was estimated, line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from driveout.outlook.book import NOTHING, CostBook, Piece
from driveout.outlook.forecast import Case
from driveout.outlook.from_catalogue import Plan, repair_pieces
from driveout.repairs import Catalogue, Repair
from driveout.uncertain import Fixed, Floored, Law, Scaled, ThreePoint, fitted

#: lines of the case whose work does not keep the car from being finished
AFTER_FINISH = frozenset({"outside-work", "selling", "idle-days", "until-sold"})
#: lines that are spent even when the car is let go
SPENT_FIRST = frozenset({"papers", "fetching", "viewing-trip"})
#: share of a job's planned minutes from which its own progress says how long the rest takes
TELLING_PROGRESS = 0.05
#: days from a deal to money in hand; common practice, no source
AFTER_A_DEAL = ThreePoint(0.0, 2.0, 7.0)


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
class PartsOf:
    """What the parts list says about one chosen repair.

    Parameters
    ----------
    unit
        Landed price of the unit where one was offered and not yet paid. [minor units]
    rest
        The same for gaskets, fluids and the like. [minor units]
    is_whole
        Whether everything on the list is priced or paid.
    is_unit_known
        Whether the unit is priced or paid.
    days
        Days until the last ordered part comes; None where something is not ordered yet.
    """

    unit: float = 0.0
    rest: float = 0.0
    is_whole: bool = False
    is_unit_known: bool = False
    days: Law | None = None


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
    parts
        By repair id, what the parts list says.
    progress
        By repair id, share of the planned work whose steps are recorded as done.
    elapsed_days
        Days since it was bought. [days]
    delay_days
        Days for which work cannot go on. [days]
    delay_why
        Why.
    until_sold
        Wait for a buyer once it is finished; None where the person's own rule must do.
    agreed
        Price of an accepted offer. [minor units]
    asked
        Price in the advert today; nobody pays more. [minor units]
    hours_per_week
        Own hours a week for this car where the plan of days says them; None for the rule.
    """

    price_paid: float | None = None
    chosen: Mapping[str, str] = field(default_factory=dict)
    done: frozenset[str] = frozenset()
    booked: tuple[Booked, ...] = ()
    received: float = 0.0
    sold_for: float | None = None
    parts: Mapping[str, PartsOf] = field(default_factory=dict)
    progress: Mapping[str, float] = field(default_factory=dict)
    elapsed_days: float = 0.0
    delay_days: float = 0.0
    delay_why: str = ""
    until_sold: Law | None = None
    agreed: float | None = None
    asked: float | None = None
    hours_per_week: float | None = None


def with_actuals(case: Case, catalogue: Catalogue, known: Known, plan: Plan | None = None) -> Case:
    """The case with everything known in place of its estimate.

    A chosen repair is certain, so it leaves the faults and becomes a line of its own; the
    faults it cures cost nothing more, and what lies behind the same opened access no longer pays
    for it. Priced parts stand in place of their estimate, ordered parts in place of their wait.
    Money and hours booked on a line are the least it can come to; where steps are recorded, the
    hours are those booked and the share of the estimate that is not done; on a finished line they
    are what it came to. Bookings that no line foresaw are added. A sold car has no estimates left.

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
            usual=(0.0, 0.0),
            notes=(),
        )
    if known.hours_per_week is not None:
        case = replace(case, rules=replace(case.rules, hours_per_week=known.hours_per_week))
    always = [piece for piece in case.book.always if known.until_sold is None or piece.key != "idle-days"]
    if known.until_sold is not None:
        always.append(Piece("Days until it is sold", days=known.until_sold, key="until-sold"))
    if known.delay_days > 0.0:
        label = f"Delay: {known.delay_why}" if known.delay_why else "Delay"
        always.append(Piece(label, days=Fixed(known.delay_days)))
    lines = [_sharpened(piece, booked) for piece in always]
    cured: set[str] = set()
    opened: set[str] = set()
    worked = 0.0
    for repair_id, kind in known.chosen.items():
        repair = catalogue.repairs.get(repair_id)
        if repair is None:
            continue
        cured.update(repair.cures)
        choice = repair.choices.get(kind, repair.first_choice)
        is_done = repair_id in known.done and repair_id in booked
        opens = bool(repair.access) and not is_done and repair.access not in opened
        if opens:
            opened.add(repair.access)
        first, *more = repair_pieces(repair, choice, catalogue, plan, alone=opens)
        if is_done:
            lines.append(_as_done(first, booked[repair_id]))
            continue
        share = min(known.progress.get(repair_id, 0.0), 1.0)
        listed = known.parts.get(repair_id)
        sharper = _with_parts(first, listed, has_consumables=repair.consumables.high > 0, repair=repair)
        found = booked.get(repair_id)
        sharper = _sharpened(sharper, booked, listed)
        if share >= TELLING_PROGRESS:
            so_far = found.hours if found is not None else 0.0
            if so_far > 0.0:
                sharper = replace(sharper, hours=_rest_of(first.hours, 1.0 - share, so_far))
            else:
                worked += share * first.hours.mean
        lines += [sharper, *more]
    foreseen = {piece.key for piece in lines}
    lines += [_as_booked(one) for one in (*beside, *(b for k, b in booked.items() if k not in foreseen))]
    mends = tuple(
        replace(mend, opens=tuple(name for name in mend.opens if name not in opened))
        if opened.intersection(mend.opens)
        else mend
        for mend in case.book.mends
        if mend.fault not in cured
    )
    low, high = case.value
    if known.asked is not None:
        low, high = min(low, known.asked), min(high, known.asked)
    if known.agreed is not None:
        low = high = known.agreed
    return replace(
        case,
        book=CostBook(mends, case.book.access, case.book.swaps, tuple(lines)),
        value=(low, high),
        price=price,
        received=case.received + known.received,
        elapsed_days=known.elapsed_days,
        hours_done=worked + sum(one.hours for one in known.booked),
        hours_done_after=sum(one.hours for one in known.booked if one.key in AFTER_FINISH),
        sunk=sum(one.money for one in known.booked if one.key not in SPENT_FIRST),
        sunk_first=sum(one.money for one in known.booked if one.key in SPENT_FIRST),
        after_finish=AFTER_FINISH,
    )


def _as_done(piece: Piece, found: Booked) -> Piece:
    return replace(
        piece, money=Fixed(max(found.money, 0.0)), hours=Fixed(found.hours), also=(), days=NOTHING, chance=1.0
    )


def _with_parts(piece: Piece, listed: PartsOf | None, *, has_consumables: bool, repair: Repair) -> Piece:
    """A repair's line with its parts as priced and ordered."""
    if listed is None:
        return piece
    money = Fixed(listed.unit) if listed.is_unit_known and listed.unit > 0.0 else piece.money
    also = piece.also
    if has_consumables and listed.is_whole:
        also = (Fixed(listed.rest), *also[1:])
    elif has_consumables and listed.rest > 0.0:
        also = (_at_least(also[0], listed.rest), *also[1:])
    days = piece.days
    if listed.days is not None:
        others = [fitted(wait.days) for wait in repair.waits if wait.days.high > 0.0]
        days = max([listed.days, *others], key=lambda law: law.mean)
    return replace(piece, money=money, also=also, days=days)


def _rest_of(law: Law, share: float, so_far: float) -> Law:
    """Hours so far and the share of the estimate that is still to do."""
    if share <= 1e-9:
        return Fixed(so_far)
    return Scaled(law, share, so_far)


def _sharpened(piece: Piece, booked: Mapping[str, Booked], listed: PartsOf | None = None) -> Piece:
    found = booked.get(piece.key) if piece.key else None
    if found is None:
        return piece
    to_pay = 0.0 if listed is None else listed.unit + listed.rest
    also = piece.also if found.money <= 0 else ()
    money = piece.money
    if found.money > 0.0:
        whole = listed is not None and listed.is_whole
        money = Fixed(found.money + to_pay) if whole else _at_least(piece.money, found.money + to_pay)
    return replace(piece, money=money, hours=_at_least(piece.hours, found.hours), also=also, chance=1.0)


def _at_least(law: Law, done: float) -> Law:
    if done <= 0.0:
        return law
    return Fixed(done) if law == NOTHING or isinstance(law, Fixed) else Floored(law, done)


def _as_booked(one: Booked) -> Piece:
    return Piece(one.label, Fixed(max(one.money, 0.0)), Fixed(max(one.hours, 0.0)), key=one.key)
