"""What a person does at the bench: begin work, undo, refit, pass a hold point, tighten, book the hours."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from driveout.cars.actions import get_car, note_event, trail_of
from driveout.errors import BadEntry, CannotSay, Conflict
from driveout.files import shipped
from driveout.money.actions import book_hours, keep_photo, picture_type
from driveout.store import Attachments, Tx
from driveout.units import read_number, read_torque
from driveout.workshop import records
from driveout.workshop.assembly import Assembly, with_variants
from driveout.workshop.assembly_file import read_assembly, shipped_assembly
from driveout.workshop.cards import CardSet, job_cards
from driveout.workshop.hold import FastenerRecord, Passage, Progress, fastener_records, pass_hold
from driveout.workshop.labels import BagLabel, bag_labels
from driveout.workshop.pocket import pocket_html, pocket_job
from driveout.workshop.pocket_record import Carried, Met, PocketRecord, meet, read_pocket_record
from driveout.workshop.records import Job, LinkState, TorqueEntry
from driveout.workshop.strip import StripPlan, Task, strip
from driveout.workshop.tightening import Specification, specification
from driveout.workshop.work import Work

LONGEST_TIMER_HOURS = 16
PHOTO = "photo of a link"
"""Kind of event under which photos of links stand in the trail."""


@dataclass(frozen=True)
class JobWork:
    """A job as recorded, with its plan and progress."""

    job: Job
    work: Work
    torques: dict[str, TorqueEntry]
    links: dict[str, LinkState]

    @property
    def plan(self) -> StripPlan:
        """The plan of work."""
        return self.work.plan


@lru_cache(maxsize=64)
def _assembly(name: str, own_file: str) -> Assembly:
    return read_assembly(own_file, name, strict=False) if own_file else shipped_assembly(name)


@lru_cache(maxsize=64)
def _plan(
    name: str, own_file: str, variants: tuple[str, ...], targets: tuple[str, ...], compare: bool
) -> StripPlan:
    return strip(with_variants(_assembly(name, own_file), variants), targets, compare=compare)


def start_work(
    tx: Tx,
    car_id: int,
    assembly: str,
    targets: Sequence[str],
    *,
    at: datetime,
    variants: Sequence[str] = (),
    own_file: str = "",
    kind_of_work: str = "",
) -> Job:
    """Begin work in one area of a car, or add targets to the work already begun there.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    assembly
        Name of a shipped assembly, or of the person's own.
    targets
        What to get at.
    at
        Present moment.
    variants
        How this car is built.
    own_file
        Content of the person's own ``driveout-assembly/1`` file; empty for a shipped one.
    kind_of_work
        Under which the hours are booked; the assembly's name by default.

    Returns
    -------
    Job
        The job.

    Raises
    ------
    BadEntry
        If the assembly, a variant or a target is not known.
    """
    held = next((j for j in records.jobs_of(tx, car_id) if j.assembly == assembly and not j.is_closed), None)
    wanted = [*(held.targets if held else []), *targets]
    every = list(dict.fromkeys(wanted))
    built = list(held.variants if held else variants)
    content = held.own_file if held else own_file
    plan = _plan(assembly, content, tuple(built), tuple(every), False)
    if held is None:
        job = records.add_job(
            tx,
            {
                "car_id": car_id,
                "assembly": assembly,
                "kind_of_work": kind_of_work or assembly,
                "own_file": content,
                "variants": built,
                "targets": every,
                "began": None,
                "at": at,
            },
        )
    else:
        job = records.change_job(tx, held, {"targets": every})
    names = ", ".join(plan.assembly.name_of(target) for target in targets)
    note_event(
        tx,
        car_id,
        "work",
        f"Work planned: {plan.assembly.name} for {names}",
        {"job": job.id, "assembly": assembly, "targets": every},
        at,
    )
    return job


def assembly_text(tx: Tx, car_id: int, job_id: int) -> str:
    """The assembly file behind a job: the person's own, or the shipped one to copy from."""
    job = records.find_job(tx, car_id, job_id)
    return job.own_file or shipped("driveout.workshop", f"data/{job.assembly}.yaml").decode()


def change_assembly(
    tx: Tx, car_id: int, job_id: int, text: str, *, at: datetime, version: int | None = None
) -> Job:
    """Change the assembly of a job while the car is in front of one: add, rename, drop links.

    What is recorded stays with the ids of its links.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    text
        The whole changed ``driveout-assembly/1`` file.
    at
        Present moment.
    version
        Version of the job that the person was looking at.

    Returns
    -------
    Job
        The job with its own file.

    Raises
    ------
    BadEntry
        If the file is refused, or a link that is undone now is missing from it.
    Conflict
        If the job was changed meanwhile.
    """
    job = records.find_job(tx, car_id, job_id)
    if version is not None and version != job.version:
        raise Conflict(
            "This work was changed in another window meanwhile. Look at it again; nothing was lost."
        )
    before = work_of(tx, car_id, job_id).work
    plan = _plan(job.assembly, text, tuple(job.variants), tuple(job.targets), False)
    lost = sorted(before.progress.undone - before.progress.back - set(plan.assembly.links))
    if lost:
        names = ", ".join(before.plan.assembly.name_of(link) for link in lost)
        raise BadEntry(
            f"The changed file no longer has what is undone on the car now: {names}. Keep these links.",
            field="text",
            value=", ".join(lost),
        )
    changed = records.change_job(tx, job, {"own_file": text})
    note_event(tx, car_id, "work", f"Strip plan changed: {plan.assembly.name}", {"job": job_id}, at)
    return changed


def drop_targets(tx: Tx, car_id: int, assembly: str, targets: Sequence[str], *, at: datetime) -> None:
    """Take targets out of the work of an area; the job is closed when none is left.

    What has been undone stays recorded. A job with links still undone keeps its last target, so
    that the way back is not lost.
    """
    held = next((j for j in records.jobs_of(tx, car_id) if j.assembly == assembly and not j.is_closed), None)
    if held is None or not targets:
        return
    left = [target for target in held.targets if target not in targets]
    work = work_of(tx, car_id, held.id).work
    is_apart = bool(work.progress.undone - work.progress.back)
    if not left and is_apart:
        raise BadEntry(
            f"{work.plan.assembly.name} is still apart. Refit it before taking its last repair out of the plan.",
            field="repair",
        )
    records.change_job(tx, held, {"targets": left or held.targets, "is_closed": not left})
    note_event(
        tx, car_id, "work", f"Taken out of the plan: {', '.join(targets)}", {"job": held.id, "left": left}, at
    )


def work_of(tx: Tx, car_id: int, job_id: int, *, compare: bool = False) -> JobWork:
    """One job with its plan and everything recorded about it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    compare
        Also work out what each target costs alone.

    Returns
    -------
    JobWork
        The job as it stands.
    """
    job = records.find_job(tx, car_id, job_id)
    plan = _plan(job.assembly, job.own_file, tuple(job.variants), tuple(job.targets), compare)
    states = records.link_states(tx, job.id)
    progress = Progress(
        frozenset(s.link for s in states.values() if s.undone_at),
        frozenset(s.link for s in states.values() if s.back_at),
        records.recorded(tx, job.id),
    )
    bags = {record.link: record for record in fastener_records(plan)}
    fasteners = {
        link: FastenerRecord(
            link,
            bags[link].place,
            bags[link].count,
            bags[link].bag,
            bags[link].size,
            bags[link].drive,
            bags[link].length_mm,
            state.taken_out,
            state.put_back,
            state.thrown_away,
            state.fitted_new,
        )
        for link, state in states.items()
        if link in bags and state.undone_at
    }
    passed = tuple(Passage(p.task, tuple(p.open_keys), p.note) for p in records.passages(tx, job.id))
    done = frozenset(records.done_tasks(tx, job.id))
    return JobWork(job, Work(plan, progress, done, fasteners, passed), records.torques(tx, job.id), states)


def done_at(tx: Tx, held: JobWork) -> dict[str, datetime]:
    """When each finished task of a job was recorded."""
    moments: dict[str, datetime] = dict(records.done_tasks(tx, held.job.id))
    for state in held.links.values():
        if state.undone_at:
            moments[f"off:{state.link}"] = state.undone_at
        if state.back_at:
            moments[f"on:{state.link}"] = state.back_at
    moments |= {row.task: row.at for row in records.passages(tx, held.job.id)}
    return {task.id: moments[task.id] for task in held.plan.tasks if held.work.is_finished(task)}


def progress_of(tx: Tx, car_id: int) -> dict[str, tuple[float, bool]]:
    """How far each job of a car has come.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    dict[str, tuple[float, bool]]
        By kind of work: share of the planned minutes whose tasks are done, and whether a step was
        recorded at all.
    """
    found = {}
    for job in records.jobs_of(tx, car_id):
        plan = _plan(job.assembly, job.own_file, tuple(job.variants), tuple(job.targets), False)
        done = set(records.done_tasks(tx, job.id)) | {p.task for p in records.passages(tx, job.id)}
        for state in records.link_states(tx, job.id).values():
            done |= {f"off:{state.link}"} if state.undone_at else set()
            done |= {f"on:{state.link}"} if state.back_at else set()
        whole = sum(task.minutes for task in plan.tasks)
        share = sum(task.minutes for task in plan.tasks if task.id in done) / whole if whole else 0.0
        found[job.kind_of_work] = (1.0 if job.is_closed else share, bool(done))
    return found


def every_work(tx: Tx, car_id: int) -> list[JobWork]:
    """All open jobs of a car, in the order of planning."""
    return [work_of(tx, car_id, job.id) for job in records.jobs_of(tx, car_id) if not job.is_closed]


def record_task(
    tx: Tx,
    car_id: int,
    job_id: int,
    task_id: str,
    *,
    at: datetime,
    pieces: int | None = None,
    new_pieces: int | None = None,
    note: str = "",
) -> Task:
    """Record one task of the plan as done.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    task_id
        Task of the plan; hold points are passed with `pass_hold_point` instead.
    at
        Present moment.
    pieces
        Pieces taken out, or old ones put back; all of them by default.
    new_pieces
        New pieces fitted; for pieces used once all of them by default.
    note
        What else is worth keeping.

    Returns
    -------
    Task
        The task.

    Raises
    ------
    BadEntry
        If a hold point stands before it, or the pieces do not add up.
    """
    held = work_of(tx, car_id, job_id)
    task = held.plan.task(task_id)
    if task.kind == "hold":
        raise BadEntry("A hold point is passed, not ticked off.", field="task", value=task_id)
    held.work.demand_open_way(task)
    if held.work.is_finished(task):
        return task
    if task.kind == "undo":
        _undo(tx, held, task, pieces, note, at)
    elif task.kind == "refit":
        _refit(tx, held, task, pieces, new_pieces, note, at)
    else:
        records.add_done(tx, job_id, task_id, at)
    note_event(tx, car_id, "work", task.text, {"job": job_id, "task": task_id}, at)
    return task


def _undo(tx: Tx, held: JobWork, task: Task, pieces: int | None, note: str, at: datetime) -> None:
    link = held.plan.assembly.links[task.item]
    taken = link.count if pieces is None else pieces
    if not 0 <= taken <= 2 * link.count:
        raise BadEntry(
            f"{taken} pieces are outside what can come out of {link.name}.",
            field="pieces",
            value=taken,
            allowed=f"0 to {2 * link.count}",
        )
    fresh = {"taken_out": taken, "put_back": 0, "thrown_away": 0, "fitted_new": 0, "back_at": None}
    records.save_link(tx, held.job.id, task.item, {**fresh, "undone_at": at, "note": note})


def _refit(
    tx: Tx, held: JobWork, task: Task, pieces: int | None, new_pieces: int | None, note: str, at: datetime
) -> None:
    link = held.plan.assembly.links[task.item]
    state = held.links.get(task.item)
    if state is None or not state.undone_at:
        raise BadEntry(
            f"{link.name} was never recorded as undone. Record that first, or say that this car does not have it.",
            field="task",
            value=task.id,
        )
    used_once = link.is_one_use
    new = (link.count if used_once else 0) if new_pieces is None else new_pieces
    back = (0 if used_once else min(state.taken_out, link.count - new)) if pieces is None else pieces
    thrown = state.taken_out - back if new >= state.taken_out - back else new
    record = FastenerRecord(
        link.id, link.name, link.count, 0, "", "", 0.0, state.taken_out, back, thrown, new
    )
    records.save_link(
        tx,
        held.job.id,
        task.item,
        {
            "put_back": record.put_back,
            "thrown_away": record.thrown_away,
            "fitted_new": record.fitted_new,
            "back_at": at,
            "note": note or state.note,
        },
    )


def not_on_this_car(tx: Tx, car_id: int, job_id: int, link: str, *, at: datetime) -> None:
    """Say that this car has no such link: nothing holds there, nothing goes back."""
    held = work_of(tx, car_id, job_id)
    name = held.plan.assembly.name_of(link)
    if link not in held.plan.assembly.links:
        raise BadEntry(f"There is no link {link!r} here.", field="link", value=link)
    records.save_link(
        tx, job_id, link, {"taken_out": 0, "undone_at": at, "back_at": at, "note": "not on this car"}
    )
    note_event(tx, car_id, "work", f"Not on this car: {name}", {"job": job_id, "link": link}, at)


def take_back_task(tx: Tx, car_id: int, job_id: int, task_id: str, *, at: datetime) -> Task:
    """Take a recorded task back; a hold point that leaned on it is open again.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    task_id
        The task.
    at
        Present moment.

    Returns
    -------
    Task
        The task.

    Raises
    ------
    BadEntry
        If the link is already back in place.
    """
    held = work_of(tx, car_id, job_id)
    task = held.plan.task(task_id)
    state = held.links.get(task.item)
    if task.kind == "undo" and state:
        if state.back_at:
            raise BadEntry(f"{task.text}: it is already back. Take the refitting back first.", field="task")
        records.save_link(tx, job_id, task.item, {"undone_at": None, "taken_out": 0})
    elif task.kind == "refit" and state:
        records.save_link(
            tx, job_id, task.item, {"back_at": None, "put_back": 0, "thrown_away": 0, "fitted_new": 0}
        )
    else:
        records.drop_done(tx, job_id, task_id)
    note_event(tx, car_id, "work", f"Taken back: {task.text}", {"job": job_id, "task": task_id}, at)
    return task


def record_items(tx: Tx, car_id: int, job_id: int, entries: dict[str, str], *, at: datetime) -> None:
    """Record what was seen, counted or measured at a hold point.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    entries
        Words by key of the hold item; an empty text takes the record away.
    at
        Present moment.
    """
    records.find_job(tx, car_id, job_id)
    for key, text in entries.items():
        records.save_recorded(tx, job_id, key, text.strip(), at)
    said = "; ".join(text.strip() for text in entries.values() if text.strip())
    if said:
        note_event(
            tx, car_id, "work", f"Recorded at the hold point: {said}"[:400], {"job": job_id, **entries}, at
        )


def pass_hold_point(
    tx: Tx, car_id: int, job_id: int, task_id: str, *, at: datetime, note: str = ""
) -> Passage:
    """Go past a hold point: with nothing open, or with a note that says why.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    task_id
        The hold task.
    at
        Present moment.
    note
        Why something is left open.

    Returns
    -------
    Passage
        As recorded.

    Raises
    ------
    BadEntry
        If something is open and there is no note.
    """
    held = work_of(tx, car_id, job_id)
    task = held.plan.task(task_id)
    held.work.demand_open_way(task)
    passage = pass_hold(held.work.hold(task_id), note)
    records.add_passage(tx, job_id, task_id, list(passage.open_keys), passage.note, at)
    words = (
        f"Hold point passed with {len(passage.open_keys)} open: {note}"
        if passage.is_override
        else "Hold point passed"
    )
    note_event(
        tx,
        car_id,
        "hold",
        f"{words} ({task.text})",
        {"job": job_id, "task": task_id, "open": list(passage.open_keys), "note": passage.note},
        at,
    )
    return passage


@dataclass(frozen=True)
class LinkPhoto:
    """A photo of one link: name of the attachment, what it shows, and the moment it was added."""

    digest: str
    link: str
    title: str
    at: datetime


def add_photo(
    tx: Tx, car_id: int, job_id: int, link: str, data: bytes, *, home: Path, at: datetime, title: str = ""
) -> LinkPhoto:
    """Keep a photo of a link; the file is on disk before the trail refers to it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    link
        Id of the link.
    data
        The picture as it came from the phone; it is kept unchanged and does not leave the machine.
    home
        Folder of the record.
    at
        Present moment.
    title
        What it shows; the name of the link by default.

    Returns
    -------
    LinkPhoto
        As kept.

    Raises
    ------
    BadEntry
        If there is no such link, or the file is no picture.
    """
    assembly = work_of(tx, car_id, job_id).plan.assembly
    if link not in assembly.links:
        raise BadEntry(f"There is no link {link!r} here.", field="link", value=link)
    if picture_type(data) == "application/pdf":
        raise BadEntry(
            "A PDF cannot be shown at the bench. Use a JPEG, PNG or WebP picture.",
            field="photo",
            allowed="JPEG, PNG or WebP",
        )
    words = title.strip() or assembly.name_of(link)
    kept = LinkPhoto(keep_photo(home, data), link, words, at)
    facts = {"job": job_id, "link": link, "digest": kept.digest, "title": words}
    note_event(tx, car_id, PHOTO, f"Photo: {words}"[:400], facts, at)
    return kept


def photos_of(tx: Tx, car_id: int, job_id: int, link: str = "") -> list[LinkPhoto]:
    """Photos of a job, or of one of its links, newest first; each picture once per link."""
    found: dict[tuple[str, str], LinkPhoto] = {}
    for event in trail_of(tx, car_id):
        if event.kind == PHOTO and event.data["job"] == job_id and link in ("", event.data["link"]):
            photo = LinkPhoto(event.data["digest"], event.data["link"], event.data["title"], event.at)
            found.setdefault((photo.link, photo.digest), photo)
    return list(found.values())


def photo_of(tx: Tx, car_id: int, job_id: int, digest: str, *, home: Path) -> tuple[bytes, str]:
    """Content and media type of one photo of a job of this car."""
    if not any(photo.digest == digest for photo in photos_of(tx, car_id, job_id)):
        raise BadEntry("This work has no such photo.", field="photo", value=digest[:12])
    data = Attachments(home / "attachments").get(digest)
    return data, picture_type(data)


def enter_torque(
    tx: Tx, car_id: int, job_id: int, link: str, entry: dict[str, Any], *, at: datetime
) -> Specification:
    """Enter the tightening value of one link.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    link
        Id of the link.
    entry
        Arguments of `specification`: value, origin, other, document, page, second_look, size,
        property_class, special, angle_deg, stages_percent.
    at
        Present moment.

    Returns
    -------
    Specification
        As checked.

    Raises
    ------
    BadEntry
        If the link is unknown or the value is refused.
    """
    held = work_of(tx, car_id, job_id)
    if link not in held.plan.assembly.links:
        raise BadEntry(f"There is no link {link!r} here.", field="link", value=link)
    checked = specification(**entry)
    records.save_torque(
        tx, job_id, link, {"entry": entry, "applied": "", "applied_note": "", "applied_at": None}, at
    )
    name = held.plan.assembly.links[link].name
    note_event(
        tx,
        car_id,
        "torque",
        f"Tightening value for {name}: {checked.text()}"[:400],
        {"job": job_id, "link": link, **entry},
        at,
    )
    return checked


def apply_torque(
    tx: Tx, car_id: int, job_id: int, link: str, value: str, *, at: datetime, note: str = ""
) -> TorqueEntry:
    """Record the value that was applied to a link, with its unit.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    link
        Id of the link.
    value
        Value and unit as set on the wrench.
    at
        Present moment.
    note
        Stages, angle, wrench.

    Returns
    -------
    TorqueEntry
        As recorded.

    Raises
    ------
    BadEntry
        If the unit is missing, no value was entered for the link, or the applied value is more
        than a tenth away from it without a note.
    """
    torque = read_torque(value)
    held = work_of(tx, car_id, job_id)
    entry = held.torques.get(link)
    if entry is None:
        raise BadEntry("Enter the tightening value and where it comes from first.", field="link", value=link)
    wanted = read_torque(str(entry.entry["value"]))
    if abs(torque.nm - wanted.nm) > 0.1 * wanted.nm and not note.strip():
        raise BadEntry(
            f"{torque.text()} was applied where {wanted.text()} is written. Correct it, or say why in the note.",
            field="applied",
            value=value,
            allowed=f"{0.9 * wanted.nm:.1f} to {1.1 * wanted.nm:.1f} N·m, or a note",
        )
    saved = records.save_torque(
        tx, job_id, link, {"applied": torque.text(), "applied_note": note.strip(), "applied_at": at}, at
    )
    name = held.plan.assembly.name_of(link)
    note_event(
        tx, car_id, "torque", f"Tightened {name} to {torque.text()}", {"job": job_id, "link": link}, at
    )
    return saved


def start_timer(tx: Tx, car_id: int, job_id: int, *, at: datetime) -> Job:
    """Start the timer of a job; starting a running one changes nothing."""
    job = records.find_job(tx, car_id, job_id)
    return job if job.began else records.change_job(tx, job, {"began": at})


def stop_timer(tx: Tx, car_id: int, job_id: int, *, at: datetime, token: str = "") -> float:
    """Stop the timer and book the time as own hours.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    job_id
        Its job.
    at
        Present moment.
    token
        Mark of the form.

    Returns
    -------
    float
        Hours booked; 0 when it ran for less than a minute.

    Raises
    ------
    BadEntry
        If it ran for longer than anyone works: book the hours by hand instead.
    CannotSay
        If the timer does not run.
    """
    job = records.find_job(tx, car_id, job_id)
    if job.began is None:
        raise CannotSay("The timer does not run.", missing="start of the timer")
    hours = (at - job.began).total_seconds() / 3600
    if hours > LONGEST_TIMER_HOURS:
        raise BadEntry(
            f"The timer ran for {hours:.1f} hours, so it was forgotten. Throw it away and book the hours by hand.",
            field="hours",
            value=round(hours, 1),
            allowed=f"up to {LONGEST_TIMER_HOURS} hours",
        )
    records.change_job(tx, job, {"began": None})
    if hours < 1 / 60:
        return 0.0
    book_hours(tx, car_id, job.kind_of_work, hours, at, began=job.began, token=token)
    return hours


def throw_timer_away(tx: Tx, car_id: int, job_id: int, *, at: datetime) -> Job:
    """Stop the timer without booking anything."""
    job = records.find_job(tx, car_id, job_id)
    note_event(tx, car_id, "work", "Timer thrown away, nothing booked", {"job": job_id}, at)
    return records.change_job(tx, job, {"began": None})


def book_own_hours(
    tx: Tx, car_id: int, job_id: int, hours: float, *, at: datetime, again: bool = False, token: str = ""
) -> None:
    """Book hours of a job by hand, under its kind of work."""
    job = records.find_job(tx, car_id, job_id)
    book_hours(tx, car_id, job.kind_of_work, hours, at, again=again, token=token)


def renewals_of(works: Iterable[JobWork]) -> list[tuple[str, float, str, str]]:
    """What all jobs need new: words, count, unit, and for what."""
    return [
        (renewal.what, renewal.count, renewal.unit, held.plan.assembly.name_of(renewal.item))
        for held in works
        for renewal in held.plan.renewals
    ]


def cards_of(tx: Tx, car_id: int, works: Iterable[JobWork], day: date) -> tuple[CardSet, ...]:
    """The job cards of some jobs of a car as they stand, done tasks ticked."""
    name = get_car(tx, car_id).name
    return tuple(
        job_cards(
            held.plan,
            name,
            day,
            {link: specification(**entry.entry) for link, entry in held.torques.items()},
            frozenset(task.id for task in held.plan.tasks if held.work.is_finished(task)),
        )
        for held in works
    )


def labels_of(tx: Tx, car_id: int, works: Iterable[JobWork], address: str) -> tuple[BagLabel, ...]:
    """The bag labels of some jobs of a car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    works
        The jobs.
    address
        Where the phone reaches the pages, for example ``http://192.168.1.20:8321``.

    Returns
    -------
    tuple[BagLabel, ...]
        Job by job, in the order of the bags; the code of each opens its link on the way back.
    """
    name = get_car(tx, car_id).name
    root = address.rstrip("/")
    return tuple(
        label
        for held in works
        for label in bag_labels(
            held.plan,
            name,
            lambda link, job=held.job.id: f"{root}/cars/{car_id}/work/{job}/bench?task=on:{link}",  # type: ignore[misc]
        )
    )


def pocket_of(tx: Tx, car_id: int, *, at: datetime) -> str:
    """The job cards of every open job of a car as one file for the phone.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.

    Returns
    -------
    str
        HTML that needs no network.

    Raises
    ------
    BadEntry
        If there is no work to take along.
    """
    name = get_car(tx, car_id).name
    works = every_work(tx, car_id)
    if not works:
        raise BadEntry("There is no work to take along. Choose a repair or begin an area first.", field="car")
    jobs = [
        pocket_job(
            held.job.id,
            held.work,
            name,
            at.date(),
            {link: specification(**entry.entry) for link, entry in held.torques.items()},
        )
        for held in works
    ]
    return pocket_html(car_id, name, jobs, at)


@dataclass(frozen=True)
class BroughtBack:
    """A record from a phone beside what stands here now.

    Parameters
    ----------
    id
        Its number.
    at
        When it was handed in.
    made
        When its cards were saved, as text.
    phone
        Mark of the phone.
    met
        Every entry beside what stands here.
    waits
        Why an entry could not be taken over yet, by key.
    version
        Version of the record's row.
    """

    id: int
    at: datetime
    made: str
    phone: str
    met: tuple[Met, ...]
    waits: dict[str, str]
    version: int

    @property
    def open(self) -> tuple[Met, ...]:
        """What a person still has to look at."""
        return tuple(one for one in self.met if one.state in ("new", "differs", "unknown"))


def bring_back(tx: Tx, car_id: int, record: PocketRecord, *, at: datetime) -> BroughtBack:
    """Take over what was done with the job cards on a phone, without losing or doubling anything.

    What stands nowhere yet is taken over in the order of the plan. What says something else than the
    record here is left as it is and shown beside it. What fits no step is kept and shown. The record
    is kept whole in any case; handing the same one in again changes nothing.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car whose page it is handed in on.
    record
        From the phone.
    at
        Present moment.

    Returns
    -------
    BroughtBack
        Every entry beside what stands here afterwards.

    Raises
    ------
    BadEntry
        If the record is for another car.
    """
    if record.car_id != car_id:
        raise BadEntry(
            f"These cards are of car {record.car_id} ({record.car}). Hand them in on that car's page.",
            field="record",
            value=record.car_id,
        )
    rows = records.brought(tx, car_id)
    row = next((one for one in rows if one.digest == record.digest), None)
    if row is None:
        # What was settled from an earlier record of the same cards on the same phone stays settled.
        before: dict[str, str] = {}
        for one in reversed(rows):
            before |= one.settled if (one.phone, one.made) == (record.phone, record.made) else {}
        row = records.add_brought(
            tx,
            {
                "car_id": car_id,
                "phone": record.phone,
                "made": record.made,
                "digest": record.digest,
                "record": record.as_dict(),
                "settled": before,
                "at": at,
            },
        )
        note_event(
            tx,
            car_id,
            "work",
            f"Job cards came back from a phone: {len(record.entries)} entries",
            {"brought": row.id, "digest": record.digest},
            at,
        )
    settled = dict(row.settled)
    waits: dict[str, str] = {}
    for entry in _in_working_order(tx, car_id, record.entries):
        if _met(tx, car_id, entry, settled).state != "new":
            continue
        try:
            _take_over(tx, car_id, entry, at)
        except (BadEntry, CannotSay) as error:
            waits[entry.key] = error.message
        else:
            settled[entry.key] = entry.value
    if settled != row.settled:
        records.settle(tx, row, settled)
    found = next(one for one in records.brought(tx, car_id) if one.id == row.id)
    return _brought_back(tx, found, waits)


def brought_back(tx: Tx, car_id: int) -> list[BroughtBack]:
    """Everything that came back for a car from phones, newest first, beside what stands now."""
    return [_brought_back(tx, row, {}) for row in records.brought(tx, car_id)]


def settle_brought(
    tx: Tx, car_id: int, brought_id: int, key: str, over: bool, version: int, *, at: datetime
) -> None:
    """Decide about one entry where phone and record differ.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    brought_id
        Number of the record from the phone.
    key
        Key of the entry.
    over
        Put the phone's over what stands here; else keep what stands here.
    version
        Version that the person was looking at.
    at
        Present moment.

    Raises
    ------
    BadEntry
        If there is no such entry, or the phone's cannot be put over.
    Conflict
        If somebody else has decided meanwhile.
    """
    row = next((one for one in records.brought(tx, car_id) if one.id == brought_id), None)
    entries = read_pocket_record(json.dumps(row.record)).entries if row else ()
    entry = next((one for one in entries if one.key == key), None)
    if row is None or entry is None:
        raise BadEntry("There is no such entry from a phone.", field="entry", value=key[:80])
    if row.version != version:
        raise Conflict("Somebody has decided about this phone's record meanwhile. Look at it again.")
    met = _met(tx, car_id, entry, row.settled)
    if over:
        if met.state == "differs" and entry.kind == "tick":
            take_back_task(tx, car_id, entry.job, entry.name, at=at)
        _take_over(tx, car_id, entry, at)
    else:
        words = f"Kept what stood here, not the phone's: {met.what}: {met.phone}"
        note_event(tx, car_id, "work", words[:400], {"brought": row.id, "entry": key}, at)
    records.settle(tx, row, {**row.settled, key: entry.value})


def _brought_back(tx: Tx, row: records.Brought, waits: dict[str, str]) -> BroughtBack:
    record = read_pocket_record(json.dumps(row.record))
    met = tuple(_met(tx, row.car_id, entry, row.settled) for entry in record.entries)
    let_go = tuple(
        replace(one, state="settled")
        if one.state != "same" and row.settled.get(one.entry.key) == one.entry.value
        else one
        for one in met
    )
    return BroughtBack(row.id, row.at, row.made, row.phone, let_go, waits, row.version)


def _jobs(tx: Tx, car_id: int) -> dict[int, Job]:
    return {job.id: job for job in records.jobs_of(tx, car_id)}


def _met(tx: Tx, car_id: int, entry: Carried, settled: Mapping[str, str]) -> Met:
    if entry.job not in _jobs(tx, car_id):
        return meet(entry, None, {}, {}, settled)
    held = work_of(tx, car_id, entry.job)
    pieces = {}
    for task in held.plan.tasks:
        state = held.links.get(task.item)
        if task.kind == "undo" and state and state.undone_at:
            pieces[task.id] = state.taken_out
        if task.kind == "refit" and state and state.back_at:
            pieces[task.id] = state.put_back + state.fitted_new
    applied = {link: row.applied for link, row in held.torques.items()}
    return meet(entry, held.work, pieces, applied, settled)


def _in_working_order(tx: Tx, car_id: int, entries: Sequence[Carried]) -> list[Carried]:
    """Ticks and hold points as the plan has them; what hold points ask before, values and hours after."""
    places: dict[tuple[int, str], int] = {}
    for job in _jobs(tx, car_id):
        for place, task in enumerate(work_of(tx, car_id, job).plan.tasks):
            places[(job, task.id)] = place
    stage = {"item": 0, "tick": 1, "pass": 1, "torque": 2, "hours": 3}
    return sorted(entries, key=lambda e: (stage[e.kind], e.job, places.get((e.job, e.name), 0)))


def _take_over(tx: Tx, car_id: int, entry: Carried, at: datetime) -> None:
    when = f"on the phone, {entry.at[:16].replace('T', ' ')}" if entry.at else "on the phone"
    if entry.kind == "hours":
        # The mark of the phone makes a second handing in find the entry that is booked already.
        token = f"pocket-{car_id}-{entry.job}-{entry.name}"[:60]
        book_own_hours(tx, car_id, entry.job, _hours(entry), at=at, again=True, token=token)
    elif entry.kind == "item":
        record_items(tx, car_id, entry.job, {entry.name: entry.text}, at=at)
    elif entry.kind == "torque":
        apply_torque(tx, car_id, entry.job, entry.name, entry.text, at=at, note=when)
    elif entry.kind == "pass":
        pass_hold_point(tx, car_id, entry.job, entry.name, note=entry.text, at=at)
    else:
        held = work_of(tx, car_id, entry.job)
        task = held.plan.task(entry.name)
        link = held.plan.assembly.links.get(task.item)
        new = entry.pieces if task.kind == "refit" and link is not None and link.is_one_use else None
        old = None if new is not None else entry.pieces
        record_task(tx, car_id, entry.job, task.id, pieces=old, new_pieces=new, note=when, at=at)


def _hours(entry: Carried) -> float:
    hours = float(read_number(entry.text, decimal_comma=False))
    if not 0.02 <= hours <= 24:
        raise BadEntry(
            f"{entry.text} h are outside what can be right.", field="hours", allowed="0.02 to 24 h"
        )
    return hours
