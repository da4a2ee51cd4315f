"""What the person does about faults: record what was found, take it back, ask what is probably wrong."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from driveout.cars import Car
from driveout.cars.actions import get_car, list_cars, note_event
from driveout.errors import BadEntry
from driveout.faults import records
from driveout.faults.network import Network
from driveout.faults.pack import CLASSES, Pack, knowledge
from driveout.faults.posterior import Posterior, infer, known_outcome
from driveout.faults.records import Found, OwnPack
from driveout.faults.shipped import shipped_network, with_silence
from driveout.store import Tx

FINISHED = ("sold", "let go")
ORIGINS = ("advert", "check", "reading", "person")


def record_finding(
    tx: Tx,
    car_id: int,
    *,
    finding: str,
    outcome: str,
    at: datetime,
    origin: str = "check",
    note: str = "",
) -> Found:
    """Record what was said, seen or measured; an earlier outcome of the same finding becomes history.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    finding
        Id of a finding of the network; a cause id (with a state or ``absent``) for what was
        proved by taking apart.
    outcome
        One of its outcomes, or ``silent``.
    at
        Present moment.
    origin
        ``advert``, ``check``, ``reading`` (measured elsewhere in driveout) or ``person``.
    note
        Free words.

    Returns
    -------
    Found
        The row as recorded; the present one unchanged when nothing is new.

    Raises
    ------
    BadEntry
        For an unknown finding, outcome or origin.
    CannotSay
        When it contradicts what is recorded so far; nothing is kept then.
    """
    if origin not in ORIGINS:
        raise BadEntry(
            f"{origin!r} is not an origin.", field="origin", value=origin, allowed=", ".join(ORIGINS)
        )
    car = get_car(tx, car_id)
    network = network_for(tx, car)
    name = known_outcome(network, finding, outcome)
    for earlier in findings_of(tx, car_id):
        if earlier.finding == finding:
            if (earlier.outcome, earlier.origin, earlier.note) == (outcome, origin, note):
                return earlier
            records.undo(tx, earlier, at)
    found = records.add(
        tx,
        {
            "car_id": car_id,
            "finding": finding,
            "outcome": outcome,
            "origin": origin,
            "note": note[:2000],
            "at": at,
        },
    )
    posterior_of(tx, car_id)
    note_event(
        tx,
        car_id,
        "finding",
        f"Found: {name}: {outcome}",
        {"finding": finding, "outcome": outcome, "origin": origin, "row": found.id},
        at,
    )
    return found


def take_back_finding(
    tx: Tx, car_id: int, finding_id: int, *, at: datetime, version: int | None = None
) -> Found:
    """Take a recorded finding back; it stays in the history.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    finding_id
        Number of the recorded row.
    at
        Present moment.
    version
        Version that the person was looking at; None skips the check.

    Returns
    -------
    Found
        The row, now undone.

    Raises
    ------
    BadEntry
        When there is no such finding at this car.
    Conflict
        When it was changed meanwhile.
    """
    found = records.find(tx, finding_id)
    if found.car_id != car_id:
        raise BadEntry("That finding belongs to another car.", field="finding", value=finding_id)
    if found.undone and (version is None or version == found.version):
        return found
    if version is not None and version != found.version:
        found = Found(**{**vars(found), "version": version})
    gone = records.undo(tx, found, at)
    car = get_car(tx, car_id)
    name = name_of(network_for(tx, car), gone.finding)
    note_event(
        tx,
        car_id,
        "finding",
        f"Taken back: {name}: {gone.outcome}",
        {"finding": gone.finding, "outcome": gone.outcome, "taken_back": True, "row": gone.id},
        at,
    )
    return gone


def findings_of(tx: Tx, car_id: int, *, with_history: bool = False) -> list[Found]:
    """What is found at a car at present, or everything ever recorded.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    with_history
        Also what was taken back or replaced.

    Returns
    -------
    list[Found]
        In the order of recording.
    """
    return [row for row in records.of_car(tx, car_id) if with_history or not row.undone]


def evidence_of(tx: Tx, car_id: int) -> dict[str, str]:
    """Evidence about a car: finding id to outcome; an advert that was read adds its silences."""
    rows = findings_of(tx, car_id)
    car = get_car(tx, car_id)
    network = network_for(tx, car)
    known = {*network.finding, *network.cause, *network.root}
    evidence = {row.finding: row.outcome for row in rows if row.finding in known}
    if any(row.origin == "advert" for row in rows) or car.facts.get("advert_text"):
        return with_silence(network, evidence)
    return evidence


def posterior_of(tx: Tx, car_id: int) -> Posterior:
    """What is probably wrong with a car, by all that is recorded about it.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car; its facts ``runs`` (runner, sick, dead), ``gearbox``, ``drive``, ``turbo``,
        ``salt_region``, ``electric_steering`` and its mileage choose the starting chances.

    Returns
    -------
    Posterior
        Exact probabilities of every fault.

    Raises
    ------
    CannotSay
        When the findings contradict each other.
    """
    return infer(network_for(tx, get_car(tx, car_id)), evidence_of(tx, car_id))


def network_for(tx: Tx, car: Car) -> Network:
    """The network of a car: the pack with the person's own changes, its class, traits and mileage."""
    return shipped_network(class_of(car), _own_content(tx), traits_of(car))


def class_of(car: Car) -> str:
    """The advert class of a car; one that nothing is known of counts as a runner."""
    runs = str(car.facts.get("runs") or car.facts.get("advert_class") or "runner")
    return runs if runs in CLASSES else "runner"


def traits_of(car: Car) -> dict[str, Any]:
    """The facts of a car that the starting chances depend on."""
    names = ("gearbox", "drive", "turbo", "salt_region", "electric_steering")
    facts: Mapping[str, Any] = car.facts
    return {name: facts[name] for name in names if name in facts} | {"mileage_km": car.mileage_km}


def name_of(network: Network, finding: str) -> str:
    """The name of a finding or cause, or its id when the pack no longer knows it."""
    if finding in network.finding:
        return network.finding[finding].name
    return network.cause[finding].name if finding in network.cause else finding


def knowledge_of(tx: Tx) -> Pack:
    """The pack with the person's own changes."""
    return knowledge(_own_content(tx))


def own_pack(tx: Tx) -> OwnPack | None:
    """The person's own pack as last handed in, or None."""
    return records.newest_pack(tx)


def keep_own_pack(tx: Tx, content: str, *, name: str, at: datetime) -> OwnPack:
    """Take over the person's own pack for every car; an empty one goes back to the shipped pack.

    Parameters
    ----------
    tx
        Open transaction.
    content
        A ``driveout-pack/1`` file, or empty.
    name
        Its name, for messages.
    at
        Present moment.

    Returns
    -------
    OwnPack
        What is kept.

    Raises
    ------
    BadEntry
        Names file, line and key of what does not hold together; nothing is kept then.
    """
    if content.strip():
        knowledge(content, name)
        for advert_class in CLASSES:
            shipped_network(advert_class, content)
    kept = records.add_pack(tx, name[:200], content, at)
    for car in list_cars(tx):
        if car.stage not in FINISHED:
            words = (
                f"Own knowledge of faults: {kept.name}"
                if content.strip()
                else "Back to the shipped knowledge"
            )
            note_event(tx, car.id, "knowledge", words, {"pack": kept.id}, at)
    return kept


def _own_content(tx: Tx) -> str | None:
    kept = records.newest_pack(tx)
    return kept.content if kept is not None and kept.content.strip() else None
