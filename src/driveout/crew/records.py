"""Rows of people, paired devices, open invitations and acts that belong to no car."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.store import Moment, Tx, metadata

crew_person = sa.Table(
    "crew_person",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(80), nullable=False),
    sa.Column("role", sa.String(10), nullable=False),
    sa.Column("joined_at", Moment, nullable=False),
    sa.Column("left_at", Moment),
    sa.Column("version", sa.Integer, nullable=False),
)
crew_device = sa.Table(
    "crew_device",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("person_id", sa.ForeignKey("crew_person.id"), nullable=False),
    sa.Column("name", sa.String(80), nullable=False),
    sa.Column("key_hash", sa.String(64), nullable=False, unique=True),
    sa.Column("paired_at", Moment, nullable=False),
    sa.Column("seen_at", Moment),
    sa.Column("taken_away_at", Moment),
    sa.Column("version", sa.Integer, nullable=False),
)
crew_invitation = sa.Table(
    "crew_invitation",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("person_id", sa.ForeignKey("crew_person.id"), nullable=False),
    sa.Column("secret_hash", sa.String(64), nullable=False, unique=True),
    sa.Column("made_at", Moment, nullable=False),
    sa.Column("ends_at", Moment, nullable=False),
    sa.Column("used_at", Moment),
)
crew_act = sa.Table(
    "crew_act",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", Moment, nullable=False),
    sa.Column("person", sa.String(80), nullable=False),
    sa.Column("path", sa.String(200), nullable=False),
)


@dataclass(frozen=True)
class Person:
    """Somebody of the crew."""

    id: int
    name: str
    role: str
    joined_at: datetime
    left_at: datetime | None
    version: int


@dataclass(frozen=True)
class Device:
    """A paired phone, tablet or computer, with the person who holds it."""

    id: int
    name: str
    paired_at: datetime
    seen_at: datetime | None
    taken_away_at: datetime | None
    version: int
    person: Person


@dataclass(frozen=True)
class Act:
    """Something that was changed outside any one car."""

    at: datetime
    person: str
    path: str


def add_person(tx: Tx, name: str, role: str, at: datetime) -> Person:
    """Insert a person."""
    made = sa.insert(crew_person).values(name=name, role=role, joined_at=at, version=1)
    return Person(**tx.execute(made.returning(crew_person)).one()._mapping)


def people(tx: Tx) -> list[Person]:
    """Everybody, also those who left, by name."""
    rows = tx.execute(sa.select(crew_person).order_by(crew_person.c.name, crew_person.c.id))
    return [Person(**row._mapping) for row in rows]


def person(tx: Tx, person_id: int) -> Person:
    """One person, or refuse a number that is none."""
    row = tx.execute(sa.select(crew_person).where(crew_person.c.id == person_id)).first()
    if row is None:
        raise BadEntry(f"There is nobody with number {person_id} in the crew.", field="person")
    return Person(**row._mapping)


def change_person(tx: Tx, person_id: int, version: int, values: dict[str, Any]) -> Person:
    """Change a person's row if nobody else has since."""
    p = crew_person.c
    done = tx.execute(
        sa.update(crew_person)
        .where(p.id == person_id, p.version == version)
        .values(**values, version=version + 1)
    )
    if done.rowcount != 1:
        raise Conflict(f"{person(tx, person_id).name} was changed in another window meanwhile.")
    return person(tx, person_id)


def add_invitation(tx: Tx, person_id: int, secret_hash: str, at: datetime, ends_at: datetime) -> None:
    """Insert an invitation; the earlier ones of the same person no longer hold."""
    i = crew_invitation.c
    tx.execute(sa.delete(crew_invitation).where(i.person_id == person_id, i.used_at.is_(None)))
    tx.execute(
        sa.insert(crew_invitation).values(
            person_id=person_id, secret_hash=secret_hash, made_at=at, ends_at=ends_at
        )
    )


def use_invitation(tx: Tx, secret_hash: str, at: datetime) -> int | None:
    """Mark an open invitation as used and return the person; None when there is none that holds."""
    i = crew_invitation.c
    done = tx.execute(
        sa.update(crew_invitation)
        .where(i.secret_hash == secret_hash, i.used_at.is_(None), i.made_at <= at, i.ends_at > at)
        .values(used_at=at)
        .returning(i.person_id)
    ).first()
    return None if done is None else int(done[0])


def add_device(tx: Tx, person_id: int, name: str, key_hash: str, at: datetime) -> int:
    """Insert a device and return its number."""
    made = sa.insert(crew_device).values(
        person_id=person_id, name=name, key_hash=key_hash, paired_at=at, seen_at=at, version=1
    )
    return int(tx.execute(made.returning(crew_device.c.id)).scalar_one())


def _devices() -> sa.Select[Any]:
    people_too = [column.label(f"holder_{column.name}") for column in crew_person.c]
    return sa.select(crew_device, *people_too).join(crew_person, crew_person.c.id == crew_device.c.person_id)


def _device(row: Any) -> Device:
    held = {column.name: row._mapping[f"holder_{column.name}"] for column in crew_person.c}
    return Device(
        row.id, row.name, row.paired_at, row.seen_at, row.taken_away_at, row.version, Person(**held)
    )


def devices(tx: Tx) -> list[Device]:
    """All devices, newest first."""
    return [_device(row) for row in tx.execute(_devices().order_by(crew_device.c.id.desc()))]


def device_with_key(tx: Tx, key_hash: str) -> Device | None:
    """The device that holds a key, unless it was taken away or its person left."""
    row = tx.execute(
        _devices().where(
            crew_device.c.key_hash == key_hash,
            crew_device.c.taken_away_at.is_(None),
            crew_person.c.left_at.is_(None),
        )
    ).first()
    return None if row is None else _device(row)


def mark_seen(tx: Tx, device_id: int, at: datetime) -> None:
    """Note that a device was here."""
    tx.execute(sa.update(crew_device).where(crew_device.c.id == device_id).values(seen_at=at))


def take_away(tx: Tx, device_id: int, at: datetime) -> None:
    """Let a device's key open nothing from now on; safe to repeat."""
    d = crew_device.c
    tx.execute(
        sa.update(crew_device)
        .where(d.id == device_id, d.taken_away_at.is_(None))
        .values(taken_away_at=at, version=d.version + 1)
    )


def add_act(tx: Tx, at: datetime, person_name: str, path: str) -> None:
    """Insert an act."""
    tx.execute(sa.insert(crew_act).values(at=at, person=person_name[:80], path=path[:200]))


def last_act(tx: Tx, path: str) -> Act | None:
    """The newest act at one address."""
    a = crew_act.c
    row = tx.execute(
        sa.select(a.at, a.person, a.path).where(a.path == path).order_by(a.id.desc()).limit(1)
    ).first()
    return None if row is None else Act(*row)


def acts(tx: Tx, limit: int) -> list[Act]:
    """The newest acts."""
    a = crew_act.c
    rows = tx.execute(sa.select(a.at, a.person, a.path).order_by(a.id.desc()).limit(limit))
    return [Act(*row) for row in rows]
