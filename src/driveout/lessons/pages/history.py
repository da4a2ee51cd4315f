"""The page Lessons over all cars, and the same for other programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import list_cars
from driveout.errors import DriveoutError
from driveout.lessons import actions
from driveout.lessons.bias import HOURS
from driveout.lessons.calibration import LEAST_JOBS
from driveout.lessons.drift import drift_svg
from driveout.lessons.lesson_file import as_text, lessons_yaml, read_lessons
from driveout.lessons.reply import plain, what_was_learned
from driveout.web import Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")


@router.get("/lessons")
def show_lessons(request: Request, start: int = 0) -> Response:
    """Draw the page Lessons; ``start`` leaves out that many of the newest."""
    with reading(request) as tx:
        return _lessons_page(request, tx, start=max(0, start))


_LESSONS_SHOWN = 40


def _lessons_page(
    request: Request, tx: Tx, form: Form | None = None, error: DriveoutError | None = None, start: int = 0
) -> Response:
    history = actions.taught_history(tx)
    says = what_was_learned(history)
    newest_first = actions.lessons_of(tx)[::-1]
    return page(
        request,
        "lessons/lessons.html",
        form=form,
        error=error,
        says=says,
        lessons=newest_first[start : start + _LESSONS_SHOWN],
        older=start + _LESSONS_SHOWN if len(newest_first) > start + _LESSONS_SHOWN else None,
        cars={car.id: car.name for car in list_cars(tx)},
        drift_charts=[(drift, Markup(drift_svg(drift.path, drift.measure))) for drift in says.drifts],
        enough=LEAST_JOBS,
        hours=HOURS,
    )


@router.post("/lessons/count")
def count(request: Request, form: PostedForm) -> Response:
    """Set a lesson aside, or take it up again."""
    return submit(
        request,
        lambda tx: actions.set_aside(
            tx,
            form.whole("lesson", least=1) or 0,
            form.whole("version", least=1) or 0,
            now(request),
            counts=form.ticked("counts"),
        ),
        then="/lessons",
        again=lambda tx, error: _lessons_page(request, tx, form, error),
    )


@router.get("/lessons/export")
def export(request: Request) -> Response:
    """Give the history as a file to share."""
    with reading(request) as tx:
        text = lessons_yaml(actions.taught_history(tx))
    headers = {"Content-Disposition": 'attachment; filename="driveout-lessons.yaml"'}
    return Response(text, media_type="application/yaml", headers=headers)


@api.post("/lessons")
def lessons_of_file(
    document: Annotated[dict[str, Any], Body(description="A history, schema driveout-lessons/1.")],
) -> dict[str, Any]:
    """Say what a history of estimates and actuals teaches; needs no record."""
    read = read_lessons(as_text(document), "request")
    return plain(what_was_learned(read.taught), read.taught, read.asked)
