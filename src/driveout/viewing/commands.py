"""Commands: decide a problem of one's own, save the viewing sheet of a car."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.errors import BadEntry
from driveout.viewing import actions
from driveout.viewing.answers import decision_as_data, plan_as_data, viewing_as_data
from driveout.viewing.car_plan import KEPT
from driveout.viewing.decide import Decision, decide
from driveout.viewing.problem_file import read_problem
from driveout.viewing.viewing_file import SCHEMA as VIEWING
from driveout.viewing.viewing_file import read_viewing, schema_of

MOST_BYTES = 5_000_000


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("decide")(decide_file)
    cli.command("sheet")(save_sheet)


def decide_file(
    file: Annotated[
        str,
        typer.Argument(
            help="Decision (driveout-decision/1) or viewing (driveout-viewing/1), or - for stdin."
        ),
    ],
    price: Annotated[
        float | None, typer.Option(help="Price asked now, instead of the one in the file.")
    ] = None,
    network: Annotated[
        str | None,
        typer.Option(help="Fault network (driveout-network/1) of a viewing that does not hold its own."),
    ] = None,
) -> Answer:
    """Which check next, up to which price, and what each check is worth, for a case of your own."""
    if price is not None and not 0.0 <= price < 1e12:
        raise BadEntry(
            f"The price {price:g} cannot be asked.", field="price", value=price, allowed="0 or more"
        )
    content, name = _content(file)
    if schema_of(content, name) == VIEWING:
        case = read_viewing(content, name, _content(network) if network else None)
        asked = case.asking if price is None else price
        data = viewing_as_data(case, asked)
        return Answer(data, _viewing_lines(data))
    problem, found = read_problem(content, name)
    decision = decide(problem, found)
    asked = problem.asking if price is None else price
    return Answer(decision_as_data(decision, asked), _lines(decision, asked))


def save_sheet(
    ctx: typer.Context,
    car: Annotated[int, typer.Argument(help="Number of the car.")],
    out: Annotated[Path, typer.Option(help="File to write, for example viewing.html.")],
    price: Annotated[float | None, typer.Option(help="Price asked now, in whole units.")] = None,
    minutes: Annotated[float, typer.Option(help="Time for checks. [min]")] = 60.0,
    checks: Annotated[int, typer.Option(help="Checks to plan with, 1 to 14.")] = KEPT,
) -> Answer:
    """Save the viewing sheet of a car: one file that works with no signal."""
    with ctx.obj.reading() as tx:
        minor = None if price is None else actions.in_minor(tx, car, price)
        made = actions.plan_of(tx, car, price_minor=minor, minutes=minutes, kept=checks)
        text = actions.sheet_of(tx, car, at=ctx.obj.now(), made=made)
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadEntry(
            f"{out} cannot be written: {error.strerror}. Name a file in a folder that exists.", field="out"
        ) from error
    size = len(text.encode())
    return Answer(
        {**plan_as_data(made), "file": str(out), "bytes": size},
        [f"Wrote {out} ({size / 1000:.0f} kB). It needs no network.", *made.why],
    )


def _content(file: str) -> tuple[bytes, str]:
    if file == "-":
        return sys.stdin.buffer.read(MOST_BYTES + 1), "standard input"
    try:
        return Path(file).read_bytes(), file
    except OSError as error:
        raise BadEntry(f"{file} cannot be read: {error.strerror}.", field="file", value=file) from error


def _viewing_lines(data: dict[str, Any]) -> list[str]:
    currency = data["currency"]
    lines = [
        f"At {data['price']:,.2f} {currency}: {data['first_step']}. Worth {data['value']:,.4f} on average.",
        f"Walk away above {data['ceiling']:,.4f} {currency}; without checks above {data['ceiling_without_checks']:,.4f}.",
    ]
    if data["left_out"]:
        lines.append(
            f"Planned with {len(data['planned'])} checks; no plan with all of them is worth more than "
            f"{data['most_value']:,.4f}."
        )
    for worth in data["checks"]:
        state = "" if worth["allowed"] else f" ({worth['why_not']})"
        lines.append(
            f"  {worth['check']}: alone worth {worth['gross']:,.4f}, takes {worth['cost']:,.4f}{state}"
        )
    return lines


def _lines(decision: Decision, price: float) -> list[str]:
    currency = decision.problem.currency
    ceiling = decision.ceiling
    lines = [
        f"At {price:,.2f} {currency}: {decision.first_step(price)}. Worth {decision.value(price):,.4f} on average.",
        "Walk away at any price." if ceiling is None else f"Walk away above {ceiling:,.4f} {currency}.",
        f"Deciding without checks: {decision.value_without_checks(price):,.4f}.",
        f"Knowing everything would add {decision.perfect_information(price):,.4f} to that.",
    ]
    for worth in decision.worth_alone(price):
        state = "" if worth.allowed else f" ({worth.why_not})"
        lines.append(f"  {worth.name}: alone worth {worth.gross:,.4f}, takes {worth.cost:,.4f}{state}")
    return lines
