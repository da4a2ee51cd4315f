"""What a person does with the crew: add somebody, pair a phone, take one away."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from driveout.crew import records
from driveout.crew.pairing import LENGTH, MINUTES, SIGNS, hash_of, tidied
from driveout.crew.records import Act, Device, Person
from driveout.crew.roles import ROLES
from driveout.errors import BadEntry
from driveout.store import Tx

SEEN_EVERY = timedelta(minutes=5)


def _role(role: str) -> str:
    if role not in ROLES:
        raise BadEntry(
            f"{role[:40]!r} is not a role.", field="role", value=role[:40], allowed=", ".join(ROLES)
        )
    return role


def _named(name: str, field: str) -> str:
    plain = " ".join("".join(letter for letter in name if letter.isprintable()).split())
    if not plain or len(plain) > 80:
        raise BadEntry(
            "A name of 1 to 80 characters is needed.", field=field, value=name[:80], allowed="1 to 80"
        )
    return plain


def add_person(tx: Tx, name: str, role: str, *, at: datetime) -> Person:
    """Take somebody into the crew; a name is used once among those present."""
    plain = _named(name, "name")
    if any(one.name.casefold() == plain.casefold() and one.left_at is None for one in records.people(tx)):
        raise BadEntry(
            f"{plain} is in the crew already. Add something to the name.", field="name", value=plain
        )
    return records.add_person(tx, plain, _role(role), at)


def change_role(tx: Tx, person_id: int, role: str, version: int) -> Person:
    """Give somebody another role."""
    return records.change_person(tx, person_id, version, {"role": _role(role)})


def part_with(tx: Tx, person_id: int, version: int, *, at: datetime) -> Person:
    """Somebody leaves; their phones open nothing from now on, what they booked stays."""
    gone = records.change_person(tx, person_id, version, {"left_at": at})
    for device in records.devices(tx):
        if device.person.id == person_id:
            records.take_away(tx, device.id, at)
    return gone


def people(tx: Tx) -> list[Person]:
    """Everybody who is in the crew now, by name."""
    return [one for one in records.people(tx) if one.left_at is None]


def devices(tx: Tx) -> list[Device]:
    """All devices ever paired, newest first."""
    return records.devices(tx)


def acts(tx: Tx, limit: int = 50) -> list[Act]:
    """The newest changes outside any one car."""
    return records.acts(tx, limit)


def invite(tx: Tx, person_id: int, *, at: datetime) -> str:
    """Make a pairing secret for somebody's phone.

    Parameters
    ----------
    tx
        Open transaction.
    person_id
        Who will hold the phone.
    at
        Present moment.

    Returns
    -------
    str
        The secret. It pairs one phone within ten minutes; only its hash is kept. An earlier secret
        for the same person no longer holds.

    Raises
    ------
    BadEntry
        If there is no such person, or they have left.
    """
    person = records.person(tx, person_id)
    if person.left_at is not None:
        raise BadEntry(f"{person.name} has left the crew.", field="person", value=person_id)
    secret = "".join(secrets.choice(SIGNS) for _ in range(LENGTH))
    records.add_invitation(tx, person_id, hash_of(secret), at, at + timedelta(minutes=MINUTES))
    return secret


def pair(tx: Tx, secret: str, device_name: str, *, at: datetime) -> tuple[Device, str] | None:
    """Pair a phone that shows the secret.

    Parameters
    ----------
    tx
        Open transaction.
    secret
        As scanned or typed.
    device_name
        What the person calls the phone.
    at
        Present moment.

    Returns
    -------
    tuple of Device and str, or None
        The device and its key of 256 bits, of which only the hash is kept; None when the secret does
        not hold (wrong, used or too old).

    Raises
    ------
    BadEntry
        If the phone is given no name.
    """
    name = _named(device_name, "device")
    person_id = records.use_invitation(tx, hash_of(tidied(secret)), at)
    if person_id is None:
        return None
    key = secrets.token_urlsafe(32)
    records.add_device(tx, person_id, name, hash_of(key), at)
    device = records.device_with_key(tx, hash_of(key))
    return None if device is None else (device, key)


def device_of(tx: Tx, key: str) -> Device | None:
    """The device that holds a key; None when the key opens nothing."""
    return records.device_with_key(tx, hash_of(key)) if key else None


def is_long_unseen(device: Device, at: datetime) -> bool:
    """Whether the last sight of a device is old enough to be noted anew."""
    return device.seen_at is None or abs(at - device.seen_at) > SEEN_EVERY


def mark_seen(tx: Tx, device_id: int, *, at: datetime) -> None:
    """Note that a device was here."""
    records.mark_seen(tx, device_id, at)


def take_away(tx: Tx, device_id: int, *, at: datetime) -> None:
    """Take a phone's access away, for example when it is lost."""
    records.take_away(tx, device_id, at)


def note_act(tx: Tx, person: str, path: str, *, at: datetime) -> None:
    """Note who changed something that belongs to no car."""
    records.add_act(tx, at, person, path)


def last_act(tx: Tx, path: str) -> Act | None:
    """Who changed what stands at an address last."""
    return records.last_act(tx, path)
