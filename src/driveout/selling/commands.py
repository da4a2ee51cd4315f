"""Commands: what to ask, what to answer to an offer, and the papers of a sale."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.files import yaml_document
from driveout.selling.actions import current_situation, sale_papers
from driveout.selling.asking import SaleSituation, asking_plan
from driveout.selling.offers import answer_offer
from driveout.selling.own_file import SCHEMA, situation_from_document
from driveout.selling.sale_file import SALE_SCHEMA, sale_from_document
from driveout.selling.sale_papers import sale_papers_pdf
from driveout.units import money_from_text


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("ask")(ask)
    cli.command("offer")(offer)
    cli.command("papers")(papers)


def ask(
    ctx: typer.Context,
    car: Annotated[int | None, typer.Argument(help="Number of a car in the record.")] = None,
    file: Annotated[Path | None, typer.Option(help="Own file (driveout-asking/1); needs no record.")] = None,
) -> Answer:
    """Say what to ask now, what to take today, and when to come down."""
    plan = asking_plan(_situation(ctx, car, file))
    rows = [
        f"day {s.from_day:>3} to {s.to_day:>3}: ask {s.ask.text()}, take {s.take_it.text()}, sold by then {s.sold_by:.0%}"
        for s in plan.steps
    ]
    return Answer(plan.as_dict(), [*plan.reasons, *rows])


def offer(
    ctx: typer.Context,
    words: Annotated[list[str], typer.Argument(help="AMOUNT with --file, or CAR AMOUNT.")],
    file: Annotated[Path | None, typer.Option(help="Own file (driveout-asking/1); needs no record.")] = None,
) -> Answer:
    """Say whether to accept, counter or decline an offer, and what each other answer gives away."""
    if len(words) != (1 if file is not None else 2):
        raise BadEntry(
            "Give the amount with --file, or a car's number and the amount.",
            field="amount",
            value=" ".join(words),
        )
    car: int | None = None
    if file is None:
        if not words[0].isdigit():
            raise BadEntry(f"{words[0]!r} is not a car's number.", field="car", value=words[0])
        car = int(words[0])
    situation = _situation(ctx, car, file)
    advice = answer_offer(situation, money_from_text(words[-1], situation.currency))
    return Answer(advice.as_dict(), list(advice.reasons))


def papers(
    ctx: typer.Context,
    car: Annotated[int | None, typer.Argument(help="Number of a car in the record.")] = None,
    file: Annotated[Path | None, typer.Option(help="Own file (driveout-sale/1); needs no record.")] = None,
    out: Annotated[Path | None, typer.Option(help="PDF to write; without it they are only said.")] = None,
) -> Answer:
    """Fill the papers of a sale: bill of sale, receipt of a deposit, odometer facts, keys and papers."""
    today = ctx.obj.now().date()
    if (file is None) == (car is None):
        raise BadEntry(
            "Say which car by its number, or give --file.", field="car", allowed="a car's number or --file"
        )
    if file is not None:
        filled = sale_from_document(yaml_document(_bytes(file), file.name, SALE_SCHEMA), today)
    else:
        with ctx.obj.reading() as tx:
            filled = sale_papers(tx, car or 0, today)
    lines = filled.lines()
    if out is not None:
        try:
            out.write_bytes(sale_papers_pdf(filled))
        except OSError as error:
            raise BadEntry(
                f"{out} cannot be written: {error.strerror or error}.", field="out", value=str(out)
            ) from error
        lines.append(f"Written: {out}")
    return Answer(filled.as_dict() | {"file": str(out) if out else None}, lines)


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadEntry(
            f"{file} cannot be read: {error.strerror or error}.", field="file", value=str(file)
        ) from error


def _situation(ctx: typer.Context, car: int | None, file: Path | None) -> SaleSituation:
    if file is not None:
        if car is not None:
            raise BadEntry("Give either --file or a car's number; not both.", field="file")
        return situation_from_document(yaml_document(_bytes(file), file.name, SCHEMA))
    if car is None:
        raise BadEntry("Say which car by its number, or give --file.", field="car", allowed="a car's number")
    with ctx.obj.reading() as tx:
        return current_situation(tx, car, at=ctx.obj.now())
