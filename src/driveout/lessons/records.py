"""Rows of frozen estimates, closed cars and what they taught."""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.lessons.bias import Job
from driveout.lessons.estimate import Estimate, estimate_from
from driveout.lessons.variance import Taught
from driveout.store import Moment, Tx, metadata
from driveout.uncertain import ThreePoint

lessons_estimate = sa.Table(
    "lessons_estimate",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("frozen_at", Moment, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
)
lessons_closing = sa.Table(
    "lessons_closing",
    metadata,
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), primary_key=True),
    sa.Column("closed_at", Moment, nullable=False),
    # Reopened cars keep their row, marked as not closed.
    sa.Column("standing", sa.Boolean, nullable=False),
    sa.Column("why", sa.String(400), nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
lessons_ratio = sa.Table(
    "lessons_ratio",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("measure", sa.String(10), nullable=False),
    sa.Column("kind", sa.String(200), nullable=False),
    sa.Column("low", sa.Float, nullable=False),
    sa.Column("likely", sa.Float, nullable=False),
    sa.Column("high", sa.Float, nullable=False),
    sa.Column("estimate", sa.Float, nullable=False),
    sa.Column("actual", sa.Float, nullable=False),
    sa.Column("at", Moment, nullable=False),
    # The person may set a lesson aside; it then teaches nothing but stays on the page.
    sa.Column("counts", sa.Boolean, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
lessons_shared = sa.Table(
    "lessons_shared",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(200), nullable=False),
    sa.Column("weight", sa.Float, nullable=False),
    sa.Column("jobs", sa.JSON, nullable=False),
    sa.Column("fault_rows", sa.Integer, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("counts", sa.Boolean, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class SharedFile:
    """Somebody else's lessons as taken in: jobs as plain rows, and how much each counts."""

    id: int
    name: str
    weight: float
    jobs: list[dict[str, Any]]
    fault_rows: int
    at: datetime.datetime
    counts: bool
    version: int


@dataclass(frozen=True)
class Lesson:
    """One stored comparison."""

    id: int
    car_id: int
    taught: Taught
    at: datetime.datetime
    counts: bool
    version: int


def add_estimate(tx: Tx, car_id: int, estimate: Estimate, at: datetime.datetime) -> None:
    """Keep a frozen estimate."""
    tx.execute(sa.insert(lessons_estimate).values(car_id=car_id, frozen_at=at, data=estimate.as_data()))


def estimate_of(tx: Tx, car_id: int) -> tuple[Estimate, datetime.datetime] | None:
    """The newest frozen estimate of a car."""
    e = lessons_estimate.c
    row = tx.execute(
        sa.select(e.data, e.frozen_at).where(e.car_id == car_id).order_by(e.id.desc()).limit(1)
    ).first()
    return (estimate_from(row.data), row.frozen_at) if row else None


def estimates_of(tx: Tx, car_ids: list[int]) -> dict[int, Estimate]:
    """Newest frozen estimates of some cars."""
    e = lessons_estimate.c
    newest = sa.select(sa.func.max(e.id)).where(e.car_id.in_(car_ids)).group_by(e.car_id)
    rows = tx.execute(sa.select(e.car_id, sa.cast(e.data, sa.Text).label("text")).where(e.id.in_(newest)))
    return {row.car_id: _estimate_in(row.text) for row in rows}


# A frozen estimate never changes, and every update of an outlook reads those of all cars in work.
@lru_cache(maxsize=512)
def _estimate_in(text: str) -> Estimate:
    return estimate_from(json.loads(text))


def closed_at(tx: Tx, car_id: int) -> datetime.datetime | None:
    """When a car was closed, None when it is open."""
    c = lessons_closing.c
    return tx.execute(sa.select(c.closed_at).where(c.car_id == car_id, c.standing)).scalar()


def set_closing(tx: Tx, car_id: int, standing: bool, why: str, at: datetime.datetime) -> None:
    """Close or reopen a car."""
    c = lessons_closing.c
    values = {"closed_at": at, "standing": standing, "why": why[:400]}
    changed = tx.execute(
        sa.update(lessons_closing).where(c.car_id == car_id).values(**values, version=c.version + 1)
    )
    if not changed.rowcount:
        tx.execute(sa.insert(lessons_closing).values(car_id=car_id, **values, version=1))


def replace_lessons(
    tx: Tx,
    car_id: int,
    found: tuple[Taught, ...],
    at: datetime.datetime,
    aside: Collection[tuple[str, str]] = (),
) -> None:
    """Keep what a car teaches, in place of what it taught before; what was set aside stays so."""
    tx.execute(sa.delete(lessons_ratio).where(lessons_ratio.c.car_id == car_id))
    rows: list[dict[str, Any]] = [
        {
            "car_id": car_id,
            "measure": t.job.measure,
            "kind": t.job.kind[:200],
            "low": t.points.low,
            "likely": t.points.likely,
            "high": t.points.high,
            "estimate": t.job.estimate,
            "actual": t.job.actual,
            "at": at,
            "counts": (t.job.measure, t.job.kind[:200]) not in aside,
            "version": 1,
        }
        for t in found
    ]
    if rows:
        tx.execute(sa.insert(lessons_ratio), rows)


def _lesson(row: Any) -> Lesson:
    job = Job(row.kind, row.estimate, row.actual, True, row.measure)
    taught = Taught(job, ThreePoint(row.low, row.likely, row.high))
    return Lesson(row.id, row.car_id, taught, row.at, row.counts, row.version)


def lessons(tx: Tx, car_id: int | None = None) -> list[Lesson]:
    """Stored comparisons in the order they came, of one car or of all."""
    query = sa.select(lessons_ratio).order_by(lessons_ratio.c.at, lessons_ratio.c.id)
    if car_id is not None:
        query = query.where(lessons_ratio.c.car_id == car_id)
    return [_lesson(row) for row in tx.execute(query)]


def set_counts(tx: Tx, lesson_id: int, counts: bool, version: int) -> Lesson:
    """Set a lesson aside or take it up again."""
    r = lessons_ratio.c
    changed = tx.execute(
        sa.update(lessons_ratio)
        .where(r.id == lesson_id, r.version == version)
        .values(counts=counts, version=version + 1)
    )
    row = tx.execute(sa.select(lessons_ratio).where(r.id == lesson_id)).first()
    if row is None:
        raise BadEntry(f"There is no lesson {lesson_id}.", field="lesson", value=lesson_id)
    if not changed.rowcount:
        raise Conflict("This lesson was changed in another window. Look at it again; nothing was lost.")
    return _lesson(row)


def add_shared(
    tx: Tx, name: str, weight: float, jobs: list[dict[str, Any]], fault_rows: int, at: datetime.datetime
) -> SharedFile:
    """Keep somebody else's lessons."""
    values = {"name": name[:200], "weight": weight, "jobs": jobs, "fault_rows": fault_rows, "at": at}
    row = tx.execute(
        sa.insert(lessons_shared).values(**values, counts=True, version=1).returning(lessons_shared)
    ).one()
    return SharedFile(**row._mapping)


def shared_files(tx: Tx) -> list[SharedFile]:
    """Everything taken in, oldest first."""
    return [
        SharedFile(**row._mapping)
        for row in tx.execute(sa.select(lessons_shared).order_by(lessons_shared.c.id))
    ]


def set_shared(tx: Tx, file: int, counts: bool, version: int) -> SharedFile:
    """Let a file teach nothing, or teach again."""
    s = lessons_shared.c
    changed = tx.execute(
        sa.update(lessons_shared)
        .where(s.id == file, s.version == version)
        .values(counts=counts, version=version + 1)
    )
    row = tx.execute(sa.select(lessons_shared).where(s.id == file)).first()
    if row is None:
        raise BadEntry(f"There is no file number {file}.", field="file", value=file)
    if not changed.rowcount:
        raise Conflict("This file was changed in another window. Look at it again; nothing was lost.")
    return SharedFile(**row._mapping)
