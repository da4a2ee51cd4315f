"""The commands ``today`` and ``yard``: the best list for the hours at hand, and what to do with each car."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from driveout.answer import Answer
from driveout.units import Money
from driveout.yard.actions import Typed, list_for_today, yard_ahead
from driveout.yard.today import Hours


def register(cli: typer.Typer) -> None:
    """Add the commands of this part."""
    cli.command("today")(today)
    cli.command("yard")(yard)


def today(
    context: typer.Context,
    hours: Annotated[float, typer.Argument(help="Own hours at hand.")],
    daylight: Annotated[float, typer.Option("--daylight", help="Hours of daylight left.")] = 0.0,
    helper: Annotated[float, typer.Option("--helper", help="Hours the helper is here.")] = 0.0,
    rental: Annotated[float, typer.Option("--rental", help="Hours until the rented tool goes back.")] = 0.0,
    currency: Annotated[str, typer.Option("--currency", help="Cars in this currency.")] = "USD",
) -> Answer:
    """Say what to do in the hours at hand, over all cars, and why."""
    at_hand = Hours(60.0 * hours, 60.0 * daylight, 60.0 * helper, 60.0 * rental)
    with context.obj.reading() as tx:
        made = list_for_today(tx, at_hand, at=context.obj.now(), currency=currency)

    def text(minor: float) -> str:
        return Money(round(minor), currency).text()

    rows = [
        {
            "car": one.job.car_id,
            "what": one.job.what,
            "detail": one.job.detail,
            "begins_minutes": round(one.begins),
            "ends_minutes": round(one.ends),
            "worth_minor": round(one.job.worth),
            "because": [{"words": why.words, "minor": round(why.minor)} for why in one.job.reasons],
        }
        for one in made.today.placed
    ]
    lines = [
        f"{one.job.car}: {one.job.what} {one.job.detail}".rstrip()
        + f" ({one.job.minutes:.0f} min, worth {text(one.job.worth)})"
        for one in made.today.placed
    ]
    left = [
        {"car": one.job.car_id, "what": one.job.what, "why": one.why, "worth_minor": round(one.job.worth)}
        for one in made.today.left
    ]
    total = f"In all worth {text(made.today.worth)} against leaving it for tomorrow."
    return Answer(
        {
            "currency": currency,
            "worth_minor": round(made.today.worth),
            "is_exact": made.today.is_exact,
            "list": rows,
            "left": left,
        },
        [*lines, total] if lines else ["Nothing fits into these hours."],
    )


def yard(
    context: typer.Context,
    bays: Annotated[int | None, typer.Option("--bays", help="Bays you have.")] = None,
    currency: Annotated[str, typer.Option("--currency", help="Cars in this currency.")] = "USD",
) -> Answer:
    """Say of each car in hand: finish it, sell it as it stands, or stop; with the yard's cash and bays."""
    with context.obj.reading() as tx:
        made = yard_ahead(tx, Typed(bays=bays), at=context.obj.now(), currency=currency)
    cars: list[dict[str, Any]] = [
        {
            "car": one.car.id,
            "name": one.car.name,
            "says": one.verdict.says if one.verdict else "",
            "because": list(one.verdict.reasons) if one.verdict else [one.missing],
        }
        for one in made.cars
    ]
    run = made.run.before
    lines = [
        f"{row['name']}: {row['says'] or 'not to be said yet'}. {' '.join(row['because'])}" for row in cars
    ]
    lines.append(f"Bays free now: {made.bays.free_now}.")
    lines.append(f"Least cash, carefully read: {made.cash.ahead.lowest.text()}.")
    return Answer(
        {
            "currency": currency,
            "cars": cars,
            "bays_free": made.bays.free_now,
            "next_free": made.bays.next_free.isoformat() if made.bays.next_free else None,
            "lowest_cash_minor": made.cash.ahead.lowest.minor,
            "money_to_come_minor": round(run.money),
            "hours_to_come": round(run.hours, 1),
            "rate_per_bay_day_minor": made.per_day.rate if made.per_day else None,
        },
        lines,
    )
