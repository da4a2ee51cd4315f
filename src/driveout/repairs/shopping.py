"""What to buy for a chosen repair: the unit itself, and what its strip plan needs new."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from driveout.parts import PartLine
from driveout.repairs.catalogue import PartChoice, Repair
from driveout.workshop import Assembly, StripPlan


def part_lines(repair: Repair, part: PartChoice, plan: StripPlan | None, reached: str = "") -> list[PartLine]:
    """Parts that one repair puts on the car's list, under the repair's key.

    Parameters
    ----------
    repair
        The repair.
    part
        The kind of part chosen.
    plan
        Strip plan of its targets alone; None when none is shipped.
    reached
        Target that only opens the way (the engine is out, the head is off): what it needs new is
        not yet the unit that the repair fits.

    Returns
    -------
    list[PartLine]
        The same thing once, its counts added; nothing for work done outside.
    """
    if part.kind == "outside":
        return []
    unit = set[str]()
    counts: dict[str, Decimal] = {}
    if plan is not None:
        for target in repair.targets:
            renew = plan.assembly.targets[target].renew if target in plan.assembly.targets else ()
            if target != reached and renew:
                unit.add(renew[0].what)
        for renewal in plan.renewals:
            kind = f" ({part.kind})" if renewal.what in unit and part.kind != "new" else ""
            words = renewal.what + kind + ("" if renewal.unit == "pc" else f" [{renewal.unit}]")
            counts[words] = counts.get(words, Decimal(0)) + Decimal(str(renewal.count))
    if not unit and part.money.high > 0:
        counts = {f"Parts for: {repair.name} ({part.kind})"[:200]: Decimal(1), **counts}
    return [PartLine(repair.id, words[:200], count) for words, count in counts.items()]


def unit_words(repair: Repair, part: PartChoice, assembly: Assembly | None, reached: str = "") -> set[str]:
    """What stands on the list for the unit itself that a repair fits, not for gaskets and fluids."""
    unit = {f"Parts for: {repair.name} ({part.kind})"[:200]}
    kind = f" ({part.kind})" if part.kind != "new" else ""
    for target in repair.targets:
        held = assembly.targets.get(target) if assembly is not None and target != reached else None
        if held is not None and held.renew:
            unit.add((held.renew[0].what + kind)[:200])
    return unit


def still_to_add(lines: Iterable[PartLine], listed: Iterable[str]) -> list[PartLine]:
    """Lines whose words are not yet on the list: a washer that two repairs share is bought once."""
    there = set(listed)
    return [line for line in lines if line.what not in there]
