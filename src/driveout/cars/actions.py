"""What a person does with a car as such: add it, change a fact, move it on in life."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from driveout.cars import records
from driveout.cars.car import Car, Event, demand_stage, next_stages
from driveout.cars.decoded import decoders, takeable
from driveout.cars.vin import read_vin
from driveout.errors import BadEntry, Conflict
from driveout.store import Tx, remembered
from driveout.units import minor_digits

_NAMED = ("name", "made_year", "mileage_km", "vin", "currency")


def add_car(
    tx: Tx,
    *,
    name: str,
    currency: str,
    at: datetime,
    made_year: int | None = None,
    mileage_km: int | None = None,
    vin: str = "",
    facts: dict[str, Any] | None = None,
    stage: str = "advert",
) -> Car:
    """Put a car into the yard, usually as an advert.

    Parameters
    ----------
    tx
        Open transaction.
    name
        What the person calls it.
    currency
        ISO 4217 code.
    at
        Present moment.
    made_year
        Model year, if known.
    mileage_km
        Odometer, if known. [km]
    vin
        Identification number as typed.
    facts
        Other facts by name.
    stage
        Stage it starts in.

    Returns
    -------
    Car
        The car with its number.

    Raises
    ------
    BadEntry
        If the name is empty, the currency unknown or the stage no stage.
    """
    if not name.strip():
        raise BadEntry("The car needs a name, for example make, model and colour.", field="name", value=name)
    minor_digits(currency)
    car = records.add(
        tx,
        {
            "name": name.strip()[:200],
            "stage": demand_stage(stage),
            "currency": currency,
            "made_year": made_year,
            "mileage_km": mileage_km,
            "vin": vin,
            "facts": facts or {},
            "added_at": at,
        },
    )
    note_event(tx, car.id, "added", f"Added: {car.name}", {"stage": stage, "facts": car.facts}, at)
    return car


def get_car(tx: Tx, car_id: int) -> Car:
    """Return one car, or refuse a number that is none."""
    return remembered(tx, ("car", car_id), lambda: records.find(tx, car_id), car=car_id)


def list_cars(tx: Tx) -> list[Car]:
    """All cars, newest first."""
    return list(remembered(tx, "cars", lambda: tuple(records.every(tx)), tables=("cars_car",)))


def cars_numbered(tx: Tx, car_ids: Iterable[int]) -> dict[int, Car]:
    """Some cars by number, in one look; those that are none are left out."""
    return records.some(tx, car_ids)


def numbers_in(tx: Tx, *stages: str) -> list[int]:
    """Numbers of the cars in some stages, newest first, without reading the cars."""
    return [number for number, _ in versions_in(tx, *stages)]


def versions_in(tx: Tx, *stages: str) -> list[tuple[int, int]]:
    """Numbers of the cars in some stages with how often each was changed, newest first."""
    return list(
        remembered(
            tx, ("versions in", stages), lambda: tuple(records.versions_in(tx, stages)), tables=("cars_car",)
        )
    )


def change_facts(
    tx: Tx,
    car_id: int,
    changes: dict[str, Any],
    *,
    at: datetime,
    version: int | None = None,
    origin: str = "",
) -> Car:
    """Change named facts of a car; the trail keeps what stood there before.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    changes
        New values by name; a value of None removes a free fact.
    at
        Present moment.
    version
        Version that the person was looking at; None skips the check.
    origin
        Where the new values come from, when they are not the person's own.

    Returns
    -------
    Car
        The car as it is now.

    Raises
    ------
    Conflict
        If it was changed meanwhile.
    """
    car = records.find(tx, car_id)
    if version is not None and version != car.version:
        raise Conflict(
            f"{car.name} was changed in another window meanwhile. Look at it again; nothing was lost."
        )
    named = {key: value for key, value in changes.items() if key in _NAMED}
    free = {key: value for key, value in changes.items() if key not in _NAMED}
    facts = {key: value for key, value in {**car.facts, **free}.items() if value is not None}
    changed = records.change(tx, car, {**named, "facts": facts})
    before = {key: getattr(car, key) if key in _NAMED else car.facts.get(key) for key in changes}
    words = ", ".join(sorted(_in_words(key) for key in changes))
    words += f" (taken from {origin})" if origin else ""
    data = {"before": before, "now": changes} | ({"origin": origin} if origin else {})
    note_event(tx, car_id, "facts", f"Facts corrected: {words}", data, at)
    return changed


def _in_words(key: str) -> str:
    """Name of a fact as a person reads it: ``asking_minor`` is the asking price."""
    known = {
        "asking_minor": "asking price",
        "clean_value_minor": "value without faults",
        "vin": "identification number",
    }
    plain = key.removesuffix("_minor").removesuffix("_km").replace("_", " ")
    return known.get(key, plain)


def set_identity(
    tx: Tx, car_id: int, vin: str, made_year: int | None, *, at: datetime, version: int | None = None
) -> Car:
    """Enter the identification number and the model year as they stand on the car and its papers.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    vin
        The number as read; empty removes it. It is kept as typed, in capitals, never repaired silently.
    made_year
        Model year, if known.
    at
        Present moment.
    version
        Version that the person was looking at; None skips the check.

    Returns
    -------
    Car
        The car as it is now.

    Raises
    ------
    BadEntry
        If the number has not 17 characters or a letter that no number may have.
    Conflict
        If the car was changed meanwhile.
    """
    number = read_vin(vin, this_year=at.year).vin if vin.strip() else ""
    car = records.find(tx, car_id)
    new = {"vin": number, "made_year": made_year}
    changes = {key: value for key, value in new.items() if value != getattr(car, key)}
    return change_facts(tx, car_id, changes, at=at, version=version) if changes else car


def take_over(tx: Tx, car_id: int, keys: tuple[str, ...], *, at: datetime, version: int | None = None) -> Car:
    """Take over what a decoder reads out of the number, for the facts that the person ticked.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    keys
        Facts to take over.
    at
        Present moment.
    version
        Version that the person was looking at; None skips the check.

    Returns
    -------
    Car
        The car as it is now.

    Raises
    ------
    BadEntry
        If nothing was ticked, or no decoder tells it.
    Conflict
        If the car was changed meanwhile.
    """
    car = records.find(tx, car_id)
    values, source = takeable(decoders(car.vin, year=car.made_year), keys)
    if not values:
        raise BadEntry("Nothing was ticked that the number tells. Tick what to take over.", field="take")
    return change_facts(tx, car_id, values, at=at, version=version, origin=source)


def change_stage(tx: Tx, car_id: int, stage: str, at: datetime) -> Car:
    """Move a car on in life.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    stage
        The stage it enters.
    at
        Present moment.

    Returns
    -------
    Car
        The car as it is now.

    Raises
    ------
    BadEntry
        If that stage cannot follow the present one.
    """
    car = records.find(tx, car_id)
    if demand_stage(stage) == car.stage:
        return car
    if stage not in next_stages(car.stage):
        allowed = ", ".join(next_stages(car.stage)) or "nothing; its story is closed"
        raise BadEntry(
            f"{car.name} is {car.stage!r} and cannot become {stage!r}.",
            field="stage",
            value=stage,
            allowed=allowed,
        )
    changed = records.change(tx, car, {"stage": stage})
    note_event(tx, car_id, "stage", f"Now: {stage}", {"from": car.stage, "to": stage}, at)
    return changed


def note_event(tx: Tx, car_id: int, kind: str, summary: str, data: dict[str, Any], at: datetime) -> Event:
    """Append a line to the car's trail and mark the car as touched.

    Every action that changes a fact calls this; the store then recomputes the car's outlook
    before the same transaction is committed. Who did it stands in the event's data when a paired
    phone or a named person did.
    """
    by = tx.info.get("by")
    data = {**data, "by": by} if by else data
    event = records.append(tx, car_id, at, kind, summary, data)
    touched = tx.info.get("touched")
    if touched is not None:
        touched.setdefault(car_id, []).append(summary)
    return event


def trail_of(tx: Tx, car_id: int, limit: int | None = None) -> list[Event]:
    """A car's trail, newest first."""
    return records.trail(tx, car_id, limit)


def newest_events(tx: Tx, car_id: int, *kinds: str) -> dict[str, Event]:
    """A car's newest event of each of some kinds; those that never happened are left out."""
    return records.newest_of(tx, car_id, kinds)


def broken_trails(tx: Tx) -> dict[int, int]:
    """Cars whose trail was tampered with, and at which event."""
    found = {car.id: records.broken_link(tx, car.id) for car in records.every(tx)}
    return {car_id: seq for car_id, seq in found.items() if seq is not None}
