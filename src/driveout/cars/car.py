"""A car as the record knows it, and the stages of its life."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from driveout.errors import BadEntry

STAGES = ("advert", "viewing", "bought", "in work", "for sale", "sold", "let go")

# A stage may be skipped forward (a car sold straight from the drive), never taken back silently.
_NEXT: dict[str, tuple[str, ...]] = {
    "advert": ("viewing", "bought", "let go"),
    "viewing": ("bought", "let go"),
    "bought": ("in work", "for sale", "sold"),
    "in work": ("for sale", "sold"),
    "for sale": ("in work", "sold"),
    "sold": (),
    "let go": ("advert",),
}


@dataclass(frozen=True)
class Car:
    """One car.

    Parameters
    ----------
    id
        Number in the record.
    name
        What the person calls it.
    stage
        One of `STAGES`.
    currency
        ISO 4217 code of its money.
    made_year
        Model year, if known.
    mileage_km
        Odometer, if known. [km]
    vin
        Identification number as typed, or empty.
    facts
        Everything else that the advert and the person said, by name.
    added_at, version
        When it was added, and how often its row has changed.
    """

    id: int
    name: str
    stage: str
    currency: str
    made_year: int | None
    mileage_km: int | None
    vin: str
    facts: dict[str, Any] = field(default_factory=dict)
    added_at: datetime | None = None
    version: int = 1


@dataclass(frozen=True)
class Event:
    """One line of a car's trail; never changed once written."""

    car_id: int
    seq: int
    at: datetime
    kind: str
    summary: str
    data: dict[str, Any]
    previous: str
    digest: str


def next_stages(stage: str) -> tuple[str, ...]:
    """Stages that may follow a stage."""
    return _NEXT[stage]


def demand_stage(name: str) -> str:
    """Return the stage, or refuse a word that is none."""
    if name not in STAGES:
        raise BadEntry(
            f"{name!r} is not a stage of a car.", field="stage", value=name, allowed=", ".join(STAGES)
        )
    return name
