"""Commands that invent: sample years to try driveout with, and many owners to compare ways of deciding."""

from __future__ import annotations

import shutil
from dataclasses import asdict

import typer

from driveout.answer import Answer

LARGE_CARS, LARGE_YEARS, LARGE_ENTRIES = 200, 8.0, 50_000


def register(cli: typer.Typer) -> None:
    """Add the commands ``sample`` and ``simulate``."""

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

    @cli.command()
    def simulate(
        owners: int = typer.Option(20, min=2, max=2000, help="How many invented owners."),
        cars: int = typer.Option(12, min=1, max=60, help="Cars each."),
        seed: int = typer.Option(3, min=0, help="The same seed gives the same owners and cars."),
        rule: list[str] = typer.Option(
            ["half-of-resale"], help="Way of deciding to compare with; repeatable."
        ),
        world: str = typer.Option("ordinary", help="How far the truth is from what is believed."),
        story: int = typer.Option(
            0, min=0, help="Tell this owner's years car by car instead (1 is the first)."
        ),
    ) -> Answer:
        """Let invented owners decide by driveout and by rules of thumb, on the very same cars."""
        from driveout.simulate.compare import compared, one_owner, result_table
        from driveout.simulate.play import play
        from driveout.simulate.story import years_story
        from driveout.simulate.ways import named
        from driveout.simulate.world import stream, world_named

        ways = {key: named(key) for key in dict.fromkeys(["driveout", *rule])}
        truth = world_named(world)
        if story:
            met = stream(truth, seed, story - 1)
            told = {key: years_story(met, way, play(met, way, cars)) for key, way in ways.items()}
            return Answer(
                {"owner": story, "seed": seed, "story": told},
                [line for some in told.values() for line in [*some, ""]],
            )
        found = compared([one_owner(truth, ways, seed, owner, cars) for owner in range(owners)], "driveout")
        return Answer(*result_table(found, owners, cars, seed, world))
