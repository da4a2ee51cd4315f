"""The page Lessons over all cars, and the same for other programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import list_cars
from driveout.errors import BadEntry, DriveoutError
from driveout.faults import actions as faults
from driveout.lessons import actions
from driveout.lessons.actions.sold import sold_cars
from driveout.lessons.bias import HOURS
from driveout.lessons.calibration import LEAST_JOBS
from driveout.lessons.calibration_chart import calibration_svg
from driveout.lessons.drift import drift_svg
from driveout.lessons.lesson_file import as_text, read_lessons
from driveout.lessons.reply import plain, what_was_learned
from driveout.web import Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")


@router.get("/lessons")
def show_lessons(request: Request, start: int = 0) -> Response:
    """How your estimates came out, kind by kind, and whether your ranges hold.

    ``start`` leaves out that many of the newest.
    """
    with reading(request) as tx:
        return _lessons_page(request, tx, start=max(0, start))


_LESSONS_SHOWN, _BELIEFS_SHOWN = 40, 12


def _lessons_page(
    request: Request, tx: Tx, form: Form | None = None, error: DriveoutError | None = None, start: int = 0
) -> Response:
    says = actions.learned(tx)
    cars = list_cars(tx)
    currency = cars[0].currency if cars else "USD"
    newest_first = actions.lessons_of(tx)[::-1]
    return page(
        request,
        "lessons/lessons.html",
        form=form,
        error=error,
        says=says,
        coverage_chart=Markup(calibration_svg(says.calibration)),
        sold=sold_cars(tx, currency),
        teachers=faults.teachers(tx),
        beliefs=faults.moved_beliefs(tx)[:_BELIEFS_SHOWN],
        files=actions.shared_files(tx),
        lessons=newest_first[start : start + _LESSONS_SHOWN],
        older=start + _LESSONS_SHOWN if len(newest_first) > start + _LESSONS_SHOWN else None,
        cars={car.id: car.name for car in cars},
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


@router.post("/lessons/faults")
def teach(request: Request, form: PostedForm) -> Response:
    """Let the proved faults of a car teach nothing, or teach again."""
    return submit(
        request,
        lambda tx: faults.let_teach(
            tx, form.whole("car", least=1) or 0, form.ticked("counts"), at=now(request)
        ),
        then="/lessons",
        again=lambda tx, error: _lessons_page(request, tx, form, error),
    )


@router.post("/lessons/take-in")
def take_in(request: Request, form: PostedForm) -> Response:
    """Take in a colleague's file with a weight."""

    def do(tx: Tx) -> Any:
        sent = form.file("lessons_file")
        if sent is None:
            raise BadEntry("Choose the file first.", field="lessons_file", value="")
        name = form.text("name", required=False, longest=200) or sent.name
        weight = float(form.number("weight", least=0, most=1) or 0)
        return actions.take_in(tx, sent.data, name, weight, at=now(request))

    return submit(
        request, do, then="/lessons", again=lambda tx, error: _lessons_page(request, tx, form, error)
    )


@router.post("/lessons/shared")
def shared(request: Request, form: PostedForm) -> Response:
    """Let a file that was taken in teach nothing, or teach again."""
    return submit(
        request,
        lambda tx: actions.let_file_teach(
            tx,
            form.whole("file", least=1) or 0,
            form.whole("version", least=1) or 0,
            counts=form.ticked("counts"),
        ),
        then="/lessons",
        again=lambda tx, error: _lessons_page(request, tx, form, error),
    )


@router.get("/lessons/export")
def export(request: Request) -> Response:
    """Your lessons as a file to share, without cars, places or days."""
    with reading(request) as tx:
        text = actions.own_knowledge(tx)
    headers = {"Content-Disposition": 'attachment; filename="driveout-lessons.yaml"'}
    return Response(text, media_type="application/yaml", headers=headers)


@api.post("/lessons")
def lessons_of_file(
    document: Annotated[dict[str, Any], Body(description="A history, schema driveout-lessons/1.")],
) -> dict[str, Any]:
    """Say what a history of estimates and actuals teaches; needs no record."""
    read = read_lessons(as_text(document), "request")
    return plain(what_was_learned(read.taught), read.taught, read.asked)
