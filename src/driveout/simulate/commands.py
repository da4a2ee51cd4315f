"""Commands that invent: sample years to try driveout with."""

from __future__ import annotations

import shutil
from dataclasses import asdict

import typer

from driveout.answer import Answer

LARGE_CARS, LARGE_YEARS, LARGE_ENTRIES = 200, 8.0, 50_000


def register(cli: typer.Typer) -> None:
    """Add the command ``sample``."""

    @cli.command()
    def sample(
        ctx: typer.Context,
        cars: int = typer.Option(12, min=1, max=2000, help="How many cars."),
        years: float = typer.Option(2.0, min=0.5, max=20.0, help="Years from the first advert to today."),
        seed: int = typer.Option(7, min=0, help="The same seed on the same day gives the same yard."),
        large: bool = typer.Option(
            False, help="A large record for trying speed: 200 cars over 8 years, 50,000 journal entries."
        ),
        fresh: bool = typer.Option(False, help="Make it anew; your own record is never touched."),
        serve: bool = typer.Option(False, help="Serve its pages afterwards."),
        port: int = typer.Option(8321, min=1, max=65535, help="Port on this machine."),
        browser: bool = typer.Option(True, help="With --serve: open the page in a browser."),
    ) -> Answer:
        """Make an invented yard with years of history, in a record of its own."""
        from driveout.cars.actions import list_cars
        from driveout.simulate.actions import load_years

        desk = ctx.obj.apart("sample-large" if large else "sample")
        if fresh and desk.home.exists():
            shutil.rmtree(desk.home)
        with desk.store.reading() as tx:
            here = len(list_cars(tx))
        data = {"home": str(desk.home), "cars": here, "made": False}
        lines = [f"The sample record with {here} cars is in {desk.home}; --fresh makes it anew."]
        if not here:
            made = (
                load_years(desk.store, cars=LARGE_CARS, years=LARGE_YEARS, seed=seed, entries=LARGE_ENTRIES)
                if large
                else load_years(desk.store, cars=cars, years=years, seed=seed)
            )
            data |= {**asdict(made), "made": True}
            stages = ", ".join(f"{count} {stage}" for stage, count in made.stages.items())
            lines = [
                f"Made {made.cars} invented cars ({stages}) with {made.entries:,} journal entries.",
                f"The record is in {desk.home}. Look at it: driveout sample{' --large' if large else ''} --serve",
            ]
        if not serve:
            return Answer(data, lines)
        answer: Answer = desk.serve(port, browser)
        return answer
