"""Rows of the work on a car: jobs, what is undone and back, hold points passed, values applied."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.store import Moment, Tx, metadata

workshop_job = sa.Table(
    "workshop_job",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("assembly", sa.String(120), nullable=False),
    sa.Column("kind_of_work", sa.String(200), nullable=False),
    sa.Column("own_file", sa.Text, nullable=False),
    sa.Column("variants", sa.JSON, nullable=False),
    sa.Column("targets", sa.JSON, nullable=False),
    sa.Column("began", Moment),
    sa.Column("is_closed", sa.Boolean, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
workshop_link = sa.Table(
    "workshop_link",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job_id", sa.ForeignKey("workshop_job.id"), nullable=False, index=True),
    sa.Column("link", sa.String(120), nullable=False),
    sa.Column("taken_out", sa.Integer, nullable=False),
    sa.Column("put_back", sa.Integer, nullable=False),
    sa.Column("thrown_away", sa.Integer, nullable=False),
    sa.Column("fitted_new", sa.Integer, nullable=False),
    sa.Column("undone_at", Moment),
    sa.Column("back_at", Moment),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.UniqueConstraint("job_id", "link"),
)
workshop_done = sa.Table(
    "workshop_done",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job_id", sa.ForeignKey("workshop_job.id"), nullable=False, index=True),
    sa.Column("task", sa.String(160), nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.UniqueConstraint("job_id", "task"),
)
workshop_recorded = sa.Table(
    "workshop_recorded",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job_id", sa.ForeignKey("workshop_job.id"), nullable=False, index=True),
    sa.Column("key", sa.String(160), nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.UniqueConstraint("job_id", "key"),
)
workshop_passage = sa.Table(
    "workshop_passage",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job_id", sa.ForeignKey("workshop_job.id"), nullable=False, index=True),
    sa.Column("task", sa.String(160), nullable=False),
    sa.Column("open_keys", sa.JSON, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
workshop_torque = sa.Table(
    "workshop_torque",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job_id", sa.ForeignKey("workshop_job.id"), nullable=False, index=True),
    sa.Column("link", sa.String(120), nullable=False),
    sa.Column("entry", sa.JSON, nullable=False),
    sa.Column("applied", sa.String(80), nullable=False),
    sa.Column("applied_note", sa.Text, nullable=False),
    sa.Column("applied_at", Moment),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.UniqueConstraint("job_id", "link"),
)


@dataclass(frozen=True)
class Job:
    """One piece of work in one area of a car; ``began`` is set while the timer runs."""

    id: int
    car_id: int
    assembly: str
    kind_of_work: str
    own_file: str
    variants: list[str]
    targets: list[str]
    began: datetime | None
    is_closed: bool
    at: datetime
    version: int


@dataclass(frozen=True)
class LinkState:
    """What has been recorded about one link of a job."""

    id: int
    job_id: int
    link: str
    taken_out: int
    put_back: int
    thrown_away: int
    fitted_new: int
    undone_at: datetime | None
    back_at: datetime | None
    note: str
    version: int


@dataclass(frozen=True)
class TorqueEntry:
    """A tightening value of one link as entered, and the value applied."""

    id: int
    job_id: int
    link: str
    entry: dict[str, Any]
    applied: str
    applied_note: str
    applied_at: datetime | None
    at: datetime
    version: int


@dataclass(frozen=True)
class PassageRow:
    """A hold point as it was passed."""

    id: int
    job_id: int
    task: str
    open_keys: list[str]
    note: str
    at: datetime


def jobs_of(tx: Tx, car_id: int) -> list[Job]:
    """Jobs of a car in the order of starting."""
    rows = sa.select(workshop_job).where(workshop_job.c.car_id == car_id).order_by(workshop_job.c.id)
    return [Job(**row._mapping) for row in tx.execute(rows)]


def find_job(tx: Tx, car_id: int, job_id: int) -> Job:
    """One job of a car, or refuse a number that is none of its jobs."""
    row = tx.execute(
        sa.select(workshop_job).where(workshop_job.c.id == job_id, workshop_job.c.car_id == car_id)
    ).first()
    if row is None:
        raise BadEntry(f"This car has no work number {job_id}.", field="job", value=job_id)
    return Job(**row._mapping)


def add_job(tx: Tx, values: dict[str, Any]) -> Job:
    """Insert a job and return it."""
    made = sa.insert(workshop_job).values(**values, is_closed=False, version=1).returning(workshop_job)
    return Job(**tx.execute(made).one()._mapping)


def change_job(tx: Tx, job: Job, changes: dict[str, Any]) -> Job:
    """Change a job if nobody else has since it was read; otherwise a Conflict."""
    result = tx.execute(
        sa.update(workshop_job)
        .where(workshop_job.c.id == job.id, workshop_job.c.version == job.version)
        .values(**changes, version=job.version + 1)
    )
    _demand_one(result.rowcount, "This work")
    return find_job(tx, job.car_id, job.id)


def _demand_one(count: int, what: str) -> None:
    if count != 1:
        raise Conflict(f"{what} was changed in another window meanwhile. Look at it again; nothing was lost.")


def link_states(tx: Tx, job_id: int) -> dict[str, LinkState]:
    """What is recorded about each link of a job."""
    rows = sa.select(workshop_link).where(workshop_link.c.job_id == job_id).order_by(workshop_link.c.id)
    return {row.link: LinkState(**row._mapping) for row in tx.execute(rows)}


def save_link(tx: Tx, job_id: int, link: str, values: dict[str, Any]) -> None:
    """Write what is recorded about one link; the version guards against a second window."""
    held = link_states(tx, job_id).get(link)
    if held is None:
        start = {"taken_out": 0, "put_back": 0, "thrown_away": 0, "fitted_new": 0, "note": ""}
        tx.execute(
            sa.insert(workshop_link).values(job_id=job_id, link=link, version=1, **{**start, **values})
        )
        return
    result = tx.execute(
        sa.update(workshop_link)
        .where(workshop_link.c.id == held.id, workshop_link.c.version == held.version)
        .values(**values, version=held.version + 1)
    )
    _demand_one(result.rowcount, "This link")


def done_tasks(tx: Tx, job_id: int) -> dict[str, datetime]:
    """Steps recorded as done, with the moment."""
    rows = sa.select(workshop_done.c.task, workshop_done.c.at).where(workshop_done.c.job_id == job_id)
    return {row.task: row.at for row in tx.execute(rows)}


def add_done(tx: Tx, job_id: int, task: str, at: datetime) -> None:
    """Record a step as done; recording it twice changes nothing."""
    if task not in done_tasks(tx, job_id):
        tx.execute(sa.insert(workshop_done).values(job_id=job_id, task=task, at=at))


def drop_done(tx: Tx, job_id: int, task: str) -> None:
    """Take a step back."""
    tx.execute(sa.delete(workshop_done).where(workshop_done.c.job_id == job_id, workshop_done.c.task == task))


def recorded(tx: Tx, job_id: int) -> dict[str, str]:
    """What was recorded for hold items, by key."""
    rows = sa.select(workshop_recorded.c.key, workshop_recorded.c.text).where(
        workshop_recorded.c.job_id == job_id
    )
    return {row.key: row.text for row in tx.execute(rows)}


def save_recorded(tx: Tx, job_id: int, key: str, text: str, at: datetime) -> None:
    """Write what was seen, counted or measured for one hold item."""
    tx.execute(
        sa.delete(workshop_recorded).where(
            workshop_recorded.c.job_id == job_id, workshop_recorded.c.key == key
        )
    )
    if text:
        tx.execute(sa.insert(workshop_recorded).values(job_id=job_id, key=key, text=text, at=at))


def passages(tx: Tx, job_id: int) -> list[PassageRow]:
    """Hold points passed, oldest first."""
    rows = (
        sa.select(workshop_passage).where(workshop_passage.c.job_id == job_id).order_by(workshop_passage.c.id)
    )
    return [PassageRow(**row._mapping) for row in tx.execute(rows)]


def add_passage(tx: Tx, job_id: int, task: str, open_keys: list[str], note: str, at: datetime) -> None:
    """Record how a hold point was passed."""
    tx.execute(
        sa.insert(workshop_passage).values(job_id=job_id, task=task, open_keys=open_keys, note=note, at=at)
    )


def torques(tx: Tx, job_id: int) -> dict[str, TorqueEntry]:
    """Tightening values of a job by link."""
    rows = sa.select(workshop_torque).where(workshop_torque.c.job_id == job_id).order_by(workshop_torque.c.id)
    return {row.link: TorqueEntry(**row._mapping) for row in tx.execute(rows)}


def save_torque(tx: Tx, job_id: int, link: str, values: dict[str, Any], at: datetime) -> TorqueEntry:
    """Write the value of one link, or what was applied."""
    held = torques(tx, job_id).get(link)
    if held is None:
        start: dict[str, Any] = {"entry": {}, "applied": "", "applied_note": "", "applied_at": None}
        tx.execute(
            sa.insert(workshop_torque).values(
                job_id=job_id, link=link, at=at, version=1, **{**start, **values}
            )
        )
    else:
        result = tx.execute(
            sa.update(workshop_torque)
            .where(workshop_torque.c.id == held.id, workshop_torque.c.version == held.version)
            .values(**values, at=at, version=held.version + 1)
        )
        _demand_one(result.rowcount, "This value")
    return torques(tx, job_id)[link]


workshop_brought = sa.Table(
    "workshop_brought",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("phone", sa.String(80), nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.Column("record", sa.JSON, nullable=False),
    sa.Column("settled", sa.JSON, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.UniqueConstraint("car_id", "digest"),
)


@dataclass(frozen=True)
class Brought:
    """A record of job cards that came back from a phone, kept whole.

    ``settled`` holds, by key, what was taken over from it or let go.
    """

    id: int
    car_id: int
    phone: str
    made: str
    digest: str
    record: dict[str, Any]
    settled: dict[str, str]
    at: datetime
    version: int


def brought(tx: Tx, car_id: int) -> list[Brought]:
    """What came back for a car, newest first."""
    b = workshop_brought.c
    rows = tx.execute(sa.select(workshop_brought).where(b.car_id == car_id).order_by(b.id.desc()))
    return [Brought(**row._mapping) for row in rows]


def add_brought(tx: Tx, values: dict[str, Any]) -> Brought:
    """Keep a record that came back."""
    made = sa.insert(workshop_brought).values(**values, version=1).returning(workshop_brought)
    return Brought(**tx.execute(made).one()._mapping)


def settle(tx: Tx, one: Brought, settled: dict[str, str]) -> None:
    """Note what is settled of a record, if nobody else has since."""
    b = workshop_brought.c
    done = tx.execute(
        sa.update(workshop_brought)
        .where(b.id == one.id, b.version == one.version)
        .values(settled=settled, version=one.version + 1)
    )
    _demand_one(done.rowcount, "What came back from the phone")
