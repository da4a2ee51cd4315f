"""Command: the value of a car from similar ones."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.files import yaml_document
from driveout.market.actions import add_comparables, add_pasted, appraise_car, yearly_use_of
from driveout.market.appraisal import REFERS_TO_WORDS
from driveout.market.own_file import SCHEMA, appraise_case, case_from_document
from driveout.market.use_a_year import yearly_use


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("appraise")(appraise)


def appraise(
    ctx: typer.Context,
    car: Annotated[int | None, typer.Argument(help="Number of a car in the record.")] = None,
    comparables: Annotated[
        Path | None, typer.Argument(help="CSV of similar cars, or adverts as .txt, to add first (optional).")
    ] = None,
    file: Annotated[
        Path | None, typer.Option(help="Own file (driveout-comparables/1); needs no record.")
    ] = None,
    miles: Annotated[bool, typer.Option(help="A distance column that names no unit is in miles.")] = False,
    on: Annotated[str, typer.Option(help="Day of the value, year-month-day; today when left out.")] = "",
) -> Answer:
    """Value a car from similar cars, with the interval that holds 8 of 10."""
    if file is not None:
        if car is not None or comparables is not None:
            raise BadEntry("Give either --file, or a car's number; not both.", field="file")
        document = yaml_document(file.read_bytes(), file.name, SCHEMA)
        case = case_from_document(document, _day(on) or ctx.obj.now().date())
        found, use = appraise_case(case), yearly_use(case.car, case.comparables)
        words = [*found.sentences(), *_outliers(found.as_dict()), *([use.words] if use else [])]
        return Answer(found.as_dict(), words)
    if car is None:
        raise BadEntry("Say which car by its number, or give --file.", field="car", allowed="a car's number")
    if on:
        raise BadEntry("--on goes with --file; a recorded car is valued today.", field="on", value=on)
    unit = "mi" if miles else "km"
    with ctx.obj.writing() as tx:
        if comparables is not None:
            data, name, at = comparables.read_bytes(), comparables.name, ctx.obj.now()
            if comparables.suffix.lower() == ".txt":
                add_pasted(tx, car, data.decode("utf-8-sig", "replace"), at=at, mileage_unit=unit)
            else:
                add_comparables(tx, car, data, name, at=at, mileage_unit=unit)
        kept = appraise_car(tx, car, at=ctx.obj.now())
        use = yearly_use_of(tx, car, ctx.obj.now().date())
    lines = [
        f"Likely to sell at {kept.value.text()}; 8 of 10 such cars between {kept.low.text()} and {kept.high.text()}.",
        REFERS_TO_WORDS[kept.refers_to],
        f"From {kept.used} comparable{'' if kept.used == 1 else 's'}.",
        *kept.content["warnings"],
        *_outliers(kept.content),
        *([use.words] if use else []),
    ]
    return Answer(kept.content, lines)


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadEntry(
            f"{text[:40]!r} is not a day.", field="on", value=text[:40], allowed="a day such as 2026-06-05"
        ) from error


def _outliers(content: dict[str, object]) -> list[str]:
    pulls = content["pulls"]
    assert isinstance(pulls, list)
    return [f"{p['label']} counts little: {p['reason']}" for p in pulls if p["reason"]]
