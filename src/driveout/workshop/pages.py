"""The chapter Strip and refit, and the bench: one step at a time, in large type."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from sqlalchemy import Connection

from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.money.actions import minutes_by_work
from driveout.units import read_number
from driveout.web import Chapter, Form, PostedForm, Undo, now, page, reading, submit
from driveout.workshop import actions
from driveout.workshop.actions import JobWork
from driveout.workshop.assembly import LINK_KINDS, PLACES, Link
from driveout.workshop.assembly_file import SHIPPED, read_assembly, shipped_assembly
from driveout.workshop.cards import PHASE_TITLES, TIGHTENED, cards_pdf
from driveout.workshop.labels import labels_pdf
from driveout.workshop.pocket_record import read_pocket_record
from driveout.workshop.practice import Caution, caution
from driveout.workshop.strip import StripPlan, Task, strip
from driveout.workshop.threads import CLASSES
from driveout.workshop.tightening import ORIGINS, SPECIAL, Specification, specification
from driveout.workshop.torque_answer import torque_answer

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("work", "Strip and refit", order=45),)

_NOTHING_KNOWN: dict[str, Any] = {
    "value": "",
    "other": "",
    "origin": "",
    "document": "",
    "page": "",
    "second_look": "",
    "size": "",
    "property_class": "",
    "special": "",
    "angle_deg": 0.0,
    "stages_percent": [],
}


@dataclass(frozen=True)
class TorqueRow:
    """One line of the torque table."""

    link: Link
    specification: Specification | None
    applied: str


@router.get("/cars/{car_id}/work")
def show(request: Request, car_id: int) -> Response:
    """What comes off and goes back, in order, with hold points, bags, job cards and tightening values."""
    with reading(request) as tx:
        return _work_page(request, tx, car_id)


@router.post("/cars/{car_id}/work/start")
def start(request: Request, car_id: int, form: PostedForm) -> Response:
    """Begin work in an area: a shipped assembly, or the person's own file."""

    def do(tx: Connection) -> Any:
        upload = form.file("own_file")
        if upload and upload.data:
            own = read_assembly(upload.data, upload.name, strict=False)
            targets = form.text("own_target").replace(",", " ").split()
            return actions.start_work(
                tx, car_id, own.id, targets, own_file=upload.data.decode("utf-8-sig"), at=now(request)
            )
        assembly, _, target = form.text("area").partition("/")
        return actions.start_work(
            tx, car_id, assembly, [target], variants=form.many("variant"), at=now(request)
        )

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/work",
        again=lambda tx, error: _work_page(request, tx, car_id, form, error),
    )


def _work_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    jobs = [actions.work_of(tx, car_id, held.job.id, compare=True) for held in actions.every_work(tx, car_id)]
    return page(
        request,
        "workshop/work.html",
        tx=tx,
        car_id=car_id,
        chapter="work",
        form=form,
        error=error,
        jobs=[(held, _phases(held), _torque_rows(held), _cautions(held)) for held in jobs],
        renewals=actions.renewals_of(jobs),
        areas=_areas(),
    )


def _areas() -> list[tuple[str, str]]:
    return [
        (f"{name}/{target.id}", f"{shipped_assembly(name).name}: {target.name}")
        for name in SHIPPED
        for target in shipped_assembly(name).targets.values()
    ]


def _phases(held: JobWork) -> list[tuple[str, list[tuple[Task, bool]]]]:
    return [
        (title, [(task, held.work.is_finished(task)) for task in held.plan.tasks if task.phase == phase])
        for phase, title in PHASE_TITLES.items()
    ]


def _cautions(held: JobWork) -> list[Caution]:
    return [caution(key) for key in held.plan.assembly.cautions]


def _torque_rows(held: JobWork) -> list[TorqueRow]:
    rows = []
    for link in held.plan.links:
        if link.kind not in TIGHTENED:
            continue
        entry = held.torques.get(link.id)
        rows.append(
            TorqueRow(link, specification(**entry.entry) if entry else None, entry.applied if entry else "")
        )
    return rows


@router.get("/cars/{car_id}/work/{job_id}/bench")
def bench(request: Request, car_id: int, job_id: int, task: str = "") -> Response:
    """The bench: one step at a time in large type, with bag, value and timer."""
    with reading(request) as tx:
        return _bench_page(request, tx, car_id, job_id, task)


def _bench_page(
    request: Request,
    tx: Connection,
    car_id: int,
    job_id: int,
    task_id: str = "",
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    held = actions.work_of(tx, car_id, job_id)
    task = held.plan.task(task_id) if task_id else held.work.next_task
    links = held.plan.assembly.links
    places = [t.id for t in held.plan.tasks]
    at = places.index(task.id) if task else len(places)
    link = links.get(task.item) if task and task.kind in ("undo", "refit") else None
    entry = held.torques.get(link.id) if link else None
    return page(
        request,
        "workshop/bench.html",
        car=car_id,
        booked_minutes=sum(
            minutes
            for (_, kind), minutes in minutes_by_work(tx, [car_id]).items()
            if kind == held.job.kind_of_work
        ),
        form=form,
        error=error,
        held=held,
        task=task,
        link=link,
        place=PLACES[link.place] if link else "",
        pieces=LINK_KINDS[link.kind] if link else "",
        state=held.links.get(link.id) if link else None,
        is_finished=held.work.is_finished(task) if task else True,
        barrier=held.work.barrier(task) if task else None,
        point=held.work.hold(task.id) if task and task.kind == "hold" else None,
        cautions=[caution(key) for key in task.cautions] if task else [],
        torque=specification(**entry.entry) if entry else None,
        torque_entry=entry,
        photos=actions.photos_of(tx, car_id, job_id, link.id) if link else [],
        number=at + 1,
        total=len(places),
        before=places[at - 1] if at > 0 else "",
        after=places[at + 1] if at + 1 < len(places) else "",
    )


@router.post("/cars/{car_id}/work/{job_id}/task")
def record_task(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Record a step, take it back, or say that this car does not have it."""
    task_id = form.raw.get("task", "")

    def do(tx: Connection) -> Any:
        action = form.choice("action", ("done", "back", "absent"))
        if action == "back":
            return actions.take_back_task(tx, car_id, job_id, form.text("task"), at=now(request))
        if action == "absent":
            return actions.not_on_this_car(tx, car_id, job_id, form.text("link"), at=now(request))
        return actions.record_task(
            tx,
            car_id,
            job_id,
            form.text("task"),
            pieces=form.whole("pieces", least=0, most=1000, required=False),
            new_pieces=form.whole("new_pieces", least=0, most=1000, required=False),
            note=form.text("note", required=False, longest=1000),
            at=now(request),
        )

    stay = form.raw.get("action") == "back"
    bench_at = f"/cars/{car_id}/work/{job_id}/bench"
    return submit(
        request,
        do,
        then=f"{bench_at}?task={task_id}" if stay else bench_at,
        again=lambda tx, error: _bench_page(request, tx, car_id, job_id, task_id, form, error),
        undo=lambda task: (
            Undo(
                f"/cars/{car_id}/work/{job_id}/task",
                {"action": "back", "task": task.id},
                f"Recorded: {task.text}.",
            )
            if form.raw.get("action") == "done"
            else None
        ),
    )


@router.post("/cars/{car_id}/work/{job_id}/hold")
def hold(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Record items of a hold point, and pass it."""
    task_id = form.raw.get("task", "")

    def do(tx: Connection) -> Any:
        entries = {
            key.removeprefix("item-"): form.text(key, required=False, longest=1000)
            for key in form.raw
            if key.startswith("item-") and form.raw[key].strip()
        }
        if entries:
            actions.record_items(tx, car_id, job_id, entries, at=now(request))
        if form.choice("action", ("record", "pass")) == "pass":
            actions.pass_hold_point(
                tx,
                car_id,
                job_id,
                form.text("task"),
                note=form.text("note", required=False, longest=1000),
                at=now(request),
            )

    bench_at = f"/cars/{car_id}/work/{job_id}/bench"
    stay = form.raw.get("action") != "pass"
    return submit(
        request,
        do,
        then=f"{bench_at}?task={task_id}" if stay else bench_at,
        again=lambda tx, error: _bench_page(request, tx, car_id, job_id, task_id, form, error),
    )


@router.get("/cars/{car_id}/work/{job_id}/cards.pdf")
def print_cards(request: Request, car_id: int, job_id: int, paper: str = "a4") -> Response:
    """The job cards of one job as a PDF."""
    with reading(request) as tx:
        held = actions.work_of(tx, car_id, job_id)
        cards = actions.cards_of(tx, car_id, [held], now(request).date())
    return _pdf(cards_pdf(cards, paper), f"job-cards-{car_id}-{job_id}.pdf")


@router.get("/cars/{car_id}/work/{job_id}/labels.pdf")
def print_labels(request: Request, car_id: int, job_id: int, paper: str = "a4") -> Response:
    """The bag labels of one job as a PDF; their codes lead back to the address of this request."""
    with reading(request) as tx:
        held = actions.work_of(tx, car_id, job_id)
        labels = actions.labels_of(tx, car_id, [held], str(request.base_url))
    return _pdf(labels_pdf(labels, now(request).date(), paper), f"bag-labels-{car_id}-{job_id}.pdf")


def _pdf(data: bytes, name: str) -> Response:
    return Response(
        data, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )


@router.post("/cars/{car_id}/work/{job_id}/photo")
def add_photo(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Keep a photo of a link."""
    task_id = form.raw.get("task", "")

    def do(tx: Connection) -> Any:
        upload = form.file("photo")
        if upload is None or not upload.data:
            raise BadEntry("No picture was chosen.", field="photo", allowed="JPEG, PNG or WebP")
        return actions.add_photo(
            tx,
            car_id,
            job_id,
            form.text("link"),
            upload.data,
            title=form.text("title", required=False, longest=200),
            home=_home(request),
            at=now(request),
        )

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/work/{job_id}/bench?task={task_id}",
        again=lambda tx, error: _bench_page(request, tx, car_id, job_id, task_id, form, error),
    )


@router.get("/cars/{car_id}/work/{job_id}/photo/{digest}")
def photo(request: Request, car_id: int, job_id: int, digest: str) -> Response:
    """One photo of a link."""
    with reading(request) as tx:
        data, kind = actions.photo_of(tx, car_id, job_id, digest, home=_home(request))
    return Response(data, media_type=kind)


def _home(request: Request) -> Path:
    """Folder of the record."""
    home: Path = request.app.state.store.home
    return home


@router.get("/cars/{car_id}/work/{job_id}/file")
def assembly_file(request: Request, car_id: int, job_id: int) -> Response:
    """The assembly file of a job, for changing."""
    with reading(request) as tx:
        return _file_page(request, tx, car_id, job_id)


@router.post("/cars/{car_id}/work/{job_id}/file")
def change_file(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Keep the changed assembly file."""
    return submit(
        request,
        lambda tx: actions.change_assembly(
            tx,
            car_id,
            job_id,
            form.text("text", longest=500_000).replace("\r\n", "\n"),
            version=form.whole("version", least=1),
            at=now(request),
        ),
        then=f"/cars/{car_id}/work",
        again=lambda tx, error: _file_page(request, tx, car_id, job_id, form, error),
    )


def _file_page(
    request: Request,
    tx: Connection,
    car_id: int,
    job_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    held = actions.work_of(tx, car_id, job_id)
    return page(
        request,
        "workshop/file.html",
        tx=tx,
        car_id=car_id,
        chapter="work",
        form=form,
        error=error,
        held=held,
        text=actions.assembly_text(tx, car_id, job_id),
    )


@router.get("/cars/{car_id}/work/{job_id}/torque")
def torque(request: Request, car_id: int, job_id: int, link: str) -> Response:
    """One tightening value and where it comes from, to type in."""
    with reading(request) as tx:
        return _torque_page(request, tx, car_id, job_id, link)


@router.post("/cars/{car_id}/work/{job_id}/torque")
def enter_torque(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Enter a tightening value, or record the value applied."""
    link = form.raw.get("link", "")

    def do(tx: Connection) -> Any:
        if form.choice("action", ("enter", "apply")) == "apply":
            return actions.apply_torque(
                tx,
                car_id,
                job_id,
                form.text("link"),
                form.text("applied"),
                note=form.text("applied_note", required=False),
                at=now(request),
            )
        stages = form.text("stages", required=False) or "100"
        entry = {
            "value": form.text("value"),
            "other": form.text("other", required=False),
            "origin": form.choice("origin", tuple(ORIGINS)),
            "document": form.text("document", required=False),
            "page": form.text("page", required=False),
            "second_look": form.text("second_look", required=False),
            "size": form.text("size", required=False),
            "property_class": form.text("property_class", required=False),
            "special": form.text("special", required=False),
            "angle_deg": form.number("angle_deg", "degrees", least=0, most=720, required=False) or 0.0,
            "stages_percent": [float(read_number(part)) for part in stages.replace(",", " ").split()],
        }
        return actions.enter_torque(tx, car_id, job_id, form.text("link"), entry, at=now(request))

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/work/{job_id}/torque?link={link}",
        again=lambda tx, error: _torque_page(request, tx, car_id, job_id, link, form, error),
    )


def _torque_page(
    request: Request,
    tx: Connection,
    car_id: int,
    job_id: int,
    link_id: str,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    held = actions.work_of(tx, car_id, job_id)
    link = held.plan.assembly.links.get(link_id)
    if link is None:
        raise BadEntry(f"There is no link {link_id!r} here.", field="link", value=link_id)
    entry = held.torques.get(link_id)
    return page(
        request,
        "workshop/torque.html",
        car=car_id,
        form=form,
        error=error,
        held=held,
        link=link,
        entry=entry,
        known={**_NOTHING_KNOWN, "size": link.size, **(entry.entry if entry else {})},
        specification=specification(**entry.entry) if entry else None,
        origins=list(ORIGINS.items()),
        classes=["", *CLASSES],
        special=["", *SPECIAL],
    )


@router.post("/cars/{car_id}/work/{job_id}/timer")
def timer(request: Request, car_id: int, job_id: int, form: PostedForm) -> Response:
    """Start or stop the timer, throw it away, or book hours by hand."""

    def do(tx: Connection) -> Any:
        action = form.choice("action", ("start", "stop", "discard", "book"))
        token = form.raw.get("once", "")
        if action == "start":
            return actions.start_timer(tx, car_id, job_id, at=now(request))
        if action == "stop":
            return actions.stop_timer(tx, car_id, job_id, at=now(request), token=token)
        if action == "discard":
            return actions.throw_timer_away(tx, car_id, job_id, at=now(request))
        hours = form.number("hours", "h", least=0.02, most=24) or 0.0
        return actions.book_own_hours(
            tx, car_id, job_id, hours, again=form.ticked("again"), token=token, at=now(request)
        )

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/work/{job_id}/bench",
        again=lambda tx, error: _bench_page(request, tx, car_id, job_id, "", form, error),
    )


@router.get("/cars/{car_id}/work/pocket.html")
def pocket(request: Request, car_id: int) -> Response:
    """The job cards as one file to keep on the phone."""
    with reading(request) as tx:
        text = actions.pocket_of(tx, car_id, at=now(request))
    return Response(
        text,
        media_type="text/html; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="job-cards-{car_id}.html"'},
    )


@router.get("/cars/{car_id}/work/brought")
def brought(request: Request, car_id: int) -> Response:
    """What came back from phones, beside what stands here."""
    with reading(request) as tx:
        return _brought_page(request, tx, car_id)


@router.post("/cars/{car_id}/work/brought")
def bring_back(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take over a record from a phone, or decide about one entry of it."""

    def do(tx: Connection) -> Any:
        action = form.choice("action", ("hand in", "over", "keep"))
        if action != "hand in":
            return actions.settle_brought(
                tx,
                car_id,
                form.whole("brought", least=1) or 0,
                form.text("entry"),
                action == "over",
                form.whole("version", least=1) or 0,
                at=now(request),
            )
        upload = form.file("record")
        text = form.text("text", required=False, longest=1_000_000)
        if not (upload and upload.data) and not text:
            raise BadEntry(
                "No record was handed in. Choose the file that the cards saved, or paste its text.",
                field="record",
            )
        record = read_pocket_record(upload.data if upload and upload.data else text)
        return actions.bring_back(tx, car_id, record, at=now(request))

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/work/brought",
        again=lambda tx, error: _brought_page(request, tx, car_id, form, error),
    )


def _brought_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    return page(
        request,
        "workshop/brought.html",
        tx=tx,
        car_id=car_id,
        chapter="work",
        form=form,
        error=error,
        brought=actions.brought_back(tx, car_id),
    )


def plan_of(assembly: str | dict[str, Any], targets: list[str], variants: list[str]) -> StripPlan:
    """The plan for a shipped assembly by name, or for one handed in as plain values."""
    if isinstance(assembly, str):
        return strip(shipped_assembly(assembly), targets, variants=variants)
    own = {"schema": "driveout-assembly/1", **assembly}
    return strip(read_assembly(json.dumps(own), "assembly", strict=False), targets, variants=variants)


@api.post("/strip")
def strip_own(question: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Plan the way in and back: ``assembly`` (name or own values), ``targets``, ``variants``."""
    targets = question.get("targets") or []
    variants = question.get("variants") or []
    if not isinstance(targets, list) or not isinstance(variants, list):
        raise BadEntry("targets and variants must be lists of ids.", field="targets", value=str(targets))
    assembly = question.get("assembly")
    if not isinstance(assembly, str | dict):
        raise BadEntry(
            "assembly is missing: give the name of a shipped one, or your own as values.",
            field="assembly",
            allowed=", ".join(SHIPPED),
        )
    return plan_of(assembly, [str(t) for t in targets], [str(v) for v in variants]).as_dict()


@api.post("/torque-check")
def torque_check(question: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Check one tightening value, as ``driveout torque`` does."""
    allowed = torque_answer.__kwdefaults__ or {}
    unknown = set(question) - set(allowed) - {"value"}
    if unknown or "value" not in question:
        raise BadEntry(
            f"{', '.join(sorted(unknown)) or 'value'} cannot be used.",
            field=next(iter(sorted(unknown)), "value"),
            allowed=", ".join(("value", *allowed)),
        )
    try:
        return torque_answer(**question)
    except TypeError as error:
        raise CannotSay(f"The question cannot be read: {error}.", missing="plain values") from error
