"""Commands: choose among repairs from an own file, put work into days, look at the catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.repairs.actions import days_plan
from driveout.repairs.catalogue import catalogue
from driveout.repairs.choice_file import answer_of, read_choice
from driveout.repairs.choose import in_words
from driveout.repairs.days import session_words
from driveout.repairs.order import attempt_order
from driveout.units import Money
from driveout.workshop.finish import finish_as_data, finish_chances
from driveout.workshop.plan_file import read_plan
from driveout.workshop.schedule import plan_work, schedule_as_data
from driveout.workshop.schedule_shown import ics


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("choose")(choose)
    cli.command("repairs")(repairs)
    cli.command("plan")(plan)


def choose(
    file: Annotated[Path, typer.Argument(help="Own repairs and limits (driveout-repair-choice/1).")],
) -> Answer:
    """Say which repairs pay within the limits, and in which order to try things."""
    case = read_choice(_bytes(file), file.name)
    lines = in_words(case.choice(), case.currency) if case.options else []
    if case.attempts:
        order = attempt_order(case.causes, case.attempts)
        lines += [
            f"Try in this order: {', '.join(order.order)}",
            f"Average cost {order.expected_cost:.4g} (simple rule {order.ratio_cost:.4g}, no order below {order.bound:.4g}).",
        ]
    return Answer(answer_of(case), lines)


def repairs(
    fault: Annotated[str, typer.Option(help="Only repairs that cure this fault.")] = "",
    layout: Annotated[str, typer.Option(help="front_drive or rear_drive.")] = "front_drive",
    own: Annotated[
        Path | None, typer.Option(help="Own file (driveout-repairs/1) laid over the list.")
    ] = None,
) -> Answer:
    """List the known repairs with their likely money and hours."""
    held = catalogue(_bytes(own) if own else None, layout=layout)
    chosen = held.for_fault(fault) if fault else tuple(held.repairs.values())
    if fault and not chosen:
        raise BadEntry(f"No repair cures {fault!r}.", field="fault", value=fault)
    rows = [
        {
            "id": repair.id,
            "name": repair.name,
            "cures": list(repair.cures),
            "safety": repair.safety,
            "hours": [repair.hours.low, repair.hours.likely, repair.hours.high],
            "own_hours": [repair.own_hours.low, repair.own_hours.likely, repair.own_hours.high],
            "access": repair.access,
            "choices": {
                kind: {
                    "money_minor": [part.money.low, part.money.likely, part.money.high],
                    "lead_days": [part.lead_days.low, part.lead_days.likely, part.lead_days.high],
                }
                for kind, part in repair.choices.items()
            },
            "fixes": repair.fixes,
        }
        for repair in chosen
    ]
    lines = [
        f"{repair.name}: {Money(round(repair.first_choice.money.likely), held.currency).text()}, "
        f"{repair.hours.likely:g} h ({repair.id})"
        for repair in chosen
    ]
    return Answer({"currency": held.currency, "basis": held.basis, "repairs": rows}, lines)


def plan(
    ctx: typer.Context,
    car: Annotated[int | None, typer.Argument(help="Number of the car; its chosen work is planned.")] = None,
    file: Annotated[
        Path | None, typer.Option(help="Own work (driveout-plan/1) instead of a car; needs no record.")
    ] = None,
    ics_out: Annotated[
        Path | None, typer.Option("--ics", help="Also write the days as a calendar file.")
    ] = None,
    seconds: Annotated[float, typer.Option(min=0.1, max=600, help="Longest time of the exact solver.")] = 2.0,
) -> Answer:
    """Put work into days: who does what when, the planned finish, and when it is likely to be done."""
    if file is not None and car is None:
        held = read_plan(_bytes(file), file.name)
    elif file is not None or car is None:
        raise BadEntry("Name a car or --file, one of the two.", field="car", value=car)
    else:
        with ctx.obj.reading() as tx:
            held = days_plan(tx, car, at=ctx.obj.now())
    schedule = plan_work(held, seconds=seconds)
    if ics_out is not None:
        try:
            ics_out.write_text(ics(schedule, ctx.obj.now()), newline="")
        except OSError as error:
            raise BadEntry(
                f"{ics_out} cannot be written: {error.strerror or error}.", field="ics", value=str(ics_out)
            ) from error
    chances = finish_chances(schedule, np.random.default_rng(1)) if schedule.placed else None
    facts = {
        "days": schedule_as_data(schedule),
        "chances": finish_as_data(chances) if chances else None,
    }
    lines = [
        f"{placed.start:%a %d %b %H:%M} to {placed.end:%a %d %b %H:%M}  {placed.operation.title}"
        for placed in schedule.placed
    ]
    lines += [f"NO DATE  {trouble.message}" for trouble in schedule.troubles]
    if chances:
        lines += [
            f"Planned finish {schedule.finish:%A %d %B %Y %H:%M}. {schedule.proof}",
            f"In 5 of 10 runs by {session_words(chances.p50)}, in 8 of 10 by {session_words(chances.p80)}.",
        ]
    return Answer(facts, lines)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error
