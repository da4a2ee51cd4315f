"""A page to try ways of deciding on invented owners; small, so that it answers in seconds."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.errors import BadEntry, DriveoutError
from driveout.simulate.chart import rates_svg
from driveout.simulate.compare import Result, compared, one_owner
from driveout.simulate.play import play
from driveout.simulate.story import years_story
from driveout.simulate.ways import WAYS, named
from driveout.simulate.world import WORLDS, stream, world_named
from driveout.web import Form, page

router = APIRouter()
MOST_OWNERS, MOST_CARS = 6, 6


@router.get("/simulate")
def simulate(request: Request) -> Response:
    """Many invented cars bought and sold by different ways of deciding, compared."""
    form = Form({name: value[:60] for name, value in request.query_params.items()})
    error: DriveoutError | None = None
    found: tuple[Result, ...] = ()
    story: list[str] = []
    if form.raw.get("rule"):
        try:
            found, story = _played(form)
        except BadEntry as refused:
            error = refused
    return page(
        request,
        "simulate/simulate.html",
        form=form,
        error=error,
        status=200 if error is None else 422,
        found=found,
        story=story,
        chart=Markup(rates_svg(found)) if found else "",
        rules=[(key, way.name) for key, way in WAYS.items() if key != "driveout"],
        worlds=[(key, world.name) for key, world in WORLDS.items()],
        most_owners=MOST_OWNERS,
        most_cars=MOST_CARS,
    )


def _played(form: Form) -> tuple[tuple[Result, ...], list[str]]:
    owners = form.whole("owners", least=2, most=MOST_OWNERS) or 2
    cars = form.whole("cars", least=1, most=MOST_CARS) or 1
    seed = form.whole("seed", least=0, most=10**6) or 0
    rule, world = form.text("rule"), world_named(form.raw.get("world") or "ordinary")
    ways = {"driveout": named("driveout"), rule: named(rule)}
    found = compared([one_owner(world, ways, seed, owner, cars) for owner in range(owners)], "driveout")
    met = stream(world, seed, 0)
    return found, years_story(met, ways["driveout"], play(met, ways["driveout"], cars))
