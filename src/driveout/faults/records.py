"""Rows of what was found at a car, and of the person's own pack of knowledge."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.store import Moment, Tx, metadata

faults_finding = sa.Table(
    "faults_finding",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), nullable=False, index=True),
    sa.Column("finding", sa.String(80), nullable=False),
    sa.Column("outcome", sa.String(80), nullable=False),
    sa.Column("origin", sa.String(20), nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("undone", sa.Boolean, nullable=False),
    sa.Column("undone_at", Moment),
    sa.Column("version", sa.Integer, nullable=False),
)
faults_pack = sa.Table(
    "faults_pack",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(200), nullable=False),
    sa.Column("content", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
faults_aside = sa.Table(
    "faults_aside",
    metadata,
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), primary_key=True),
    # A car whose proved faults teach nothing, until the person lets them teach again.
    sa.Column("aside", sa.Boolean, nullable=False),
    sa.Column("at", Moment, nullable=False),
)
faults_shared = sa.Table(
    "faults_shared",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    # The same number stands at the other lessons of the same file.
    sa.Column("file", sa.Integer, nullable=False, unique=True),
    sa.Column("weight", sa.Float, nullable=False),
    sa.Column("rows", sa.JSON, nullable=False),
    sa.Column("counts", sa.Boolean, nullable=False),
)


@dataclass(frozen=True)
class Found:
    """One finding as recorded; ``undone`` when it was taken back or replaced by a later one."""

    id: int
    car_id: int
    finding: str
    outcome: str
    origin: str
    note: str
    at: datetime
    undone: bool
    undone_at: datetime | None
    version: int


@dataclass(frozen=True)
class OwnPack:
    """The person's own pack file as last handed in."""

    id: int
    name: str
    content: str
    at: datetime


def _found(row: Any) -> Found:
    return Found(**row._mapping)


def add(tx: Tx, values: dict[str, Any]) -> Found:
    """Insert a finding and return it."""
    made = sa.insert(faults_finding).values(**values, undone=False, version=1).returning(faults_finding)
    return _found(tx.execute(made).one())


def find(tx: Tx, finding_id: int) -> Found:
    """Return one recorded finding, or refuse a number that is none."""
    row = tx.execute(sa.select(faults_finding).where(faults_finding.c.id == finding_id)).first()
    if row is None:
        raise BadEntry(
            f"There is no recorded finding number {finding_id}.", field="finding", value=finding_id
        )
    return _found(row)


def of_car(tx: Tx, car_id: int) -> list[Found]:
    """Everything found at a car, in the order of recording."""
    rows = sa.select(faults_finding).where(faults_finding.c.car_id == car_id).order_by(faults_finding.c.id)
    return [_found(row) for row in tx.execute(rows)]


def with_proof(tx: Tx, causes: list[str]) -> list[Found]:
    """Present findings of all cars at which one of these causes was proved there or absent, by car."""
    proved = sa.select(faults_finding.c.car_id).where(
        faults_finding.c.undone.is_(False), faults_finding.c.finding.in_(causes)
    )
    rows = (
        sa.select(faults_finding)
        .where(faults_finding.c.undone.is_(False), faults_finding.c.car_id.in_(proved))
        .order_by(faults_finding.c.car_id, faults_finding.c.id)
    )
    return [_found(row) for row in tx.execute(rows)]


def undo(tx: Tx, found: Found, at: datetime) -> Found:
    """Mark a finding as undone if nobody else has changed it since; otherwise a Conflict."""
    result = tx.execute(
        sa.update(faults_finding)
        .where(faults_finding.c.id == found.id, faults_finding.c.version == found.version)
        .values(undone=True, undone_at=at, version=found.version + 1)
    )
    if result.rowcount != 1:
        raise Conflict("This finding was changed in another window meanwhile. Look at it again.")
    return find(tx, found.id)


def newest_pack(tx: Tx) -> OwnPack | None:
    """The person's own pack as last handed in, or None."""
    row = tx.execute(sa.select(faults_pack).order_by(faults_pack.c.id.desc()).limit(1)).first()
    return None if row is None else OwnPack(**row._mapping)


def add_pack(tx: Tx, name: str, content: str, at: datetime) -> OwnPack:
    """Keep a pack file; the earlier ones stay as history."""
    made = sa.insert(faults_pack).values(name=name, content=content, at=at).returning(faults_pack)
    return OwnPack(**tx.execute(made).one()._mapping)


def cars_aside(tx: Tx) -> set[int]:
    """Numbers of cars whose proved faults teach nothing."""
    rows = tx.execute(sa.select(faults_aside.c.car_id).where(faults_aside.c.aside))
    return {row.car_id for row in rows}


def set_aside(tx: Tx, car_id: int, aside: bool, at: datetime) -> None:
    """Let the proved faults of a car teach nothing, or teach again."""
    values = {"aside": aside, "at": at}
    if not tx.execute(
        sa.update(faults_aside).where(faults_aside.c.car_id == car_id).values(**values)
    ).rowcount:
        tx.execute(sa.insert(faults_aside).values(car_id=car_id, **values))


def add_shared(tx: Tx, file: int, weight: float, rows: list[dict[str, Any]]) -> None:
    """Keep the counts of somebody else's file."""
    tx.execute(sa.insert(faults_shared).values(file=file, weight=weight, rows=rows, counts=True))


def set_shared(tx: Tx, file: int, counts: bool) -> None:
    """Let a file's counts teach nothing, or teach again."""
    tx.execute(sa.update(faults_shared).where(faults_shared.c.file == file).values(counts=counts))


def shared(tx: Tx) -> list[tuple[float, list[dict[str, Any]]]]:
    """Weight and rows of every file whose counts teach."""
    s = faults_shared.c
    rows = tx.execute(sa.select(s.weight, s.rows).where(s.counts).order_by(s.id))
    return [(row.weight, row.rows) for row in rows]
