"""Commands: choose among repairs from the person's own file, and look at the catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.repairs.catalogue import catalogue
from driveout.repairs.choice_file import answer_of, read_choice
from driveout.repairs.choose import in_words
from driveout.repairs.order import attempt_order
from driveout.units import Money


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("choose")(choose)
    cli.command("repairs")(repairs)


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


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{path} cannot be read: {error.strerror or error}.", field="file", value=str(path)
        ) from error
