"""What the person does about faults: record what was found, take it back, ask what is probably wrong."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from driveout.cars import Car
from driveout.cars.actions import cars_numbered, get_car, list_cars, note_event, versions_in
from driveout.errors import BadEntry, CannotSay
from driveout.faults import records
from driveout.faults.learning import Tally, learned, tally
from driveout.faults.network import ABSENT, SILENT, Network
from driveout.faults.pack import CLASSES, Pack, knowledge
from driveout.faults.posterior import Posterior, infer, known_outcome
from driveout.faults.records import Found, OwnPack
from driveout.faults.sharing import counts_as_rows, counts_from_rows, ids_of, merged, scaled
from driveout.faults.shipped import network_of, shipped_network, title_evidence, with_silence
from driveout.store import Tx, remembered
from driveout.wear.actions import evidence as readings_as_evidence

FINISHED = ("sold", "let go")
#: facts that only an advert brings; what such an advert does not mention counts as silence
ADVERT_FACTS = frozenset({"asking_minor", "advert_text", "seen_on"})
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


def evidence_of(tx: Tx, car_id: int, network: Network | None = None) -> dict[str, str]:
    """Evidence about a car: finding id to outcome, the same for every page.

    What was recorded outweighs what readings say, and both outweigh the words on the title; an
    advert that was read adds its silences. ``network`` is the car's, where it is in hand already.
    """
    rows = findings_of(tx, car_id)
    car = get_car(tx, car_id)
    network = network or network_for(tx, car)
    known = {*network.finding, *network.cause, *network.root}
    recorded = {row.finding: row.outcome for row in rows if row.finding in known}
    evidence = {**measured(tx, car_id, network), **recorded}
    for name, label in title_evidence(str(car.facts.get("title") or ""), network).items():
        # what the title says outweighs an advert that does not mention it
        evidence[name] = label if evidence.get(name, SILENT) == SILENT else evidence[name]
    if any(row.origin == "advert" for row in rows) or ADVERT_FACTS & car.facts.keys():
        return with_silence(network, evidence)
    return evidence


def measured(tx: Tx, car_id: int, network: Network) -> dict[str, str]:
    """What the readings of a car say to the network: finding id to outcome.

    A reading that this network has no finding or no outcome for says nothing.
    """
    return {
        name: outcome
        for name, outcome in readings_as_evidence(tx, car_id).items()
        if name in network.finding and outcome in network.finding[name].outcomes
    }


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
    return posterior_by(network_for(tx, get_car(tx, car_id)), evidence_of(tx, car_id))


def posterior_by(network: Network, evidence: Mapping[str, str]) -> Posterior:
    """`infer`, worked out once for the same network and evidence.

    A receipt or an hour changes neither, so the outlook then finds the chances ready.
    """
    key = (id(network), tuple(sorted(evidence.items())))
    found = _posteriors.get(key)
    if found is None or found[0] is not network:
        if len(_posteriors) >= MOST_POSTERIORS:
            _posteriors.clear()
        # the network is kept with its number, so that no other can take it
        found = _posteriors[key] = (network, infer(network, evidence))
    return found[1]


MOST_POSTERIORS = 400
_posteriors: dict[tuple[int, tuple[tuple[str, str], ...]], tuple[Network, Posterior]] = {}


def prove_fault(tx: Tx, car_id: int, *, fault: str, is_there: bool, at: datetime, note: str = "") -> Found:
    """Record that taking apart proved a fault to be there, or not to be there.

    Sold cars with such proofs teach the pack (``learning``). Of competing faults one that is there
    rules the others out; one that is not there can only be recorded when it has no rivals.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    fault
        Fault id of the pack.
    is_there
        What was seen.
    at
        Present moment.
    note
        Free words.

    Returns
    -------
    Found
        The row as recorded.

    Raises
    ------
    BadEntry
        For an unknown fault, or a competing fault that is said to be absent on its own.
    """
    network = network_for(tx, get_car(tx, car_id))
    for cause in network.causes:
        for state in cause.states:
            if cause.fault_of(state) == fault:
                if not is_there and len(cause.states) > 1:
                    raise BadEntry(
                        f"{state.name} competes with others; say which of them it was instead.",
                        field="fault",
                        value=fault,
                    )
                outcome = state.id if is_there else ABSENT
                return record_finding(
                    tx, car_id, finding=cause.id, outcome=outcome, origin="person", note=note, at=at
                )
    raise BadEntry(f"{fault!r} is not a fault of the pack.", field="fault", value=fault)


def network_for(tx: Tx, car: Car) -> Network:
    """The network of a car: the pack as taught and changed, its class, traits and mileage."""
    return network_of(knowledge_of(tx), class_of(car), traits_of(car))


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


def knowledge_of(tx: Tx, without: int | None = None) -> Pack:
    """The pack with the person's own changes and what sold cars, all but one if named, have taught."""
    return remembered(
        tx,
        ("knowledge", without),
        lambda: _knowledge_of(tx, without),
        tables=("faults_pack", "faults_finding", "faults_aside", "faults_shared"),
        given=tuple(versions_in(tx, "sold")),
        is_large=without is not None,
    )


def _knowledge_of(tx: Tx, without: int | None) -> Pack:
    own = _own_content(tx)
    return _taught(own, _lessons(tx, knowledge(own), without), _shared(tx))


def _shared(tx: Tx) -> tuple[tuple[float, str], ...]:
    return tuple((weight, json.dumps(rows)) for weight, rows in records.shared(tx))


@dataclass(frozen=True)
class Teacher:
    """A sold car whose proved faults teach: what was proved, and whether it counts."""

    car_id: int
    name: str
    proved: tuple[str, ...]
    counts: bool


def teachers(tx: Tx) -> tuple[Teacher, ...]:
    """Sold cars with proved faults, newest first."""
    pack = knowledge(_own_content(tx))
    names = {
        **{fault.id: fault.name for fault in pack.faults.values()},
        **{key: one.name for key, one in pack.competing.items()},
    }
    proved: dict[int, list[str]] = {}
    for row in records.with_proof(tx, list(names)):
        if row.finding in names and row.outcome != ABSENT:
            proved.setdefault(row.car_id, []).append(names[row.finding])
    aside = records.cars_aside(tx)
    cars = [get_car(tx, car_id) for car_id in proved]
    return tuple(
        Teacher(car.id, car.name, tuple(proved[car.id]), car.id not in aside)
        for car in cars[::-1]
        if car.stage == "sold"
    )


def let_teach(tx: Tx, car_id: int, counts: bool, *, at: datetime) -> None:
    """Let the proved faults of a sold car teach nothing, or teach again; it stays so until changed."""
    car = get_car(tx, car_id)
    records.set_aside(tx, car_id, not counts, at)
    words = "teach again" if counts else "teach nothing"
    note_event(tx, car_id, "lesson", f"Its proved faults {words}: {car.name}", {}, at)


def moved_beliefs(tx: Tx) -> tuple[tuple[str, str, float, float], ...]:
    """Starting chances that own and shared cars have moved: fault, class, before, now; most moved first."""
    own = _own_content(tx)
    before, after = knowledge(own), knowledge_of(tx)
    rows = [
        (fault.name, advert_class, belief.mean, after.faults[key].prior[advert_class].mean)
        for key, fault in before.faults.items()
        for advert_class, belief in fault.prior.items()
        if after.faults[key].prior[advert_class] != belief
    ]
    return tuple(sorted(rows, key=lambda row: -abs(row[3] - row[2])))


def counts_to_share(tx: Tx) -> list[dict[str, Any]]:
    """What own finished cars taught about faults, as rows without any car; own ids are left out."""
    own = _own_content(tx)
    cars = [(one.advert_class, t) for one in _lessons(tx, knowledge(own)) if (t := _tally(own, one))]
    return counts_as_rows(merged(cars), ids_of(knowledge(None)))


def take_in_counts(tx: Tx, file: int, weight: float, rows: list[dict[str, Any]]) -> None:
    """Keep the counts of somebody else's file; they count by its weight."""
    counts_from_rows(rows)
    records.add_shared(tx, file, weight, rows)


def let_file_teach(tx: Tx, file: int, counts: bool) -> None:
    """Let the counts of a file that was taken in teach nothing, or teach again."""
    records.set_shared(tx, file, counts)


def _lessons(tx: Tx, pack: Pack, without: int | None = None) -> tuple[_Lesson, ...]:
    return remembered(
        tx,
        ("proved faults", without),
        lambda: _read_lessons(tx, pack, without),
        tables=("faults_finding", "faults_aside"),
        given=(*versions_in(tx, "sold"), *pack.faults, *pack.competing),
    )


def _read_lessons(tx: Tx, pack: Pack, without: int | None) -> tuple[_Lesson, ...]:
    causes = [*pack.faults, *pack.competing]
    by_car: dict[int, dict[str, str]] = {}
    spoken: set[int] = set()
    for row in records.with_proof(tx, causes):
        by_car.setdefault(row.car_id, {})[row.finding] = row.outcome
        if row.origin == "advert":
            spoken.add(row.car_id)
    lessons, aside = [], records.cars_aside(tx) if by_car else ()
    cars = cars_numbered(tx, by_car) if by_car else {}
    for car_id, found in by_car.items():
        car = cars[car_id]
        if car.stage == "sold" and car_id not in aside and car_id != without:
            traits = tuple(sorted(traits_of(car).items()))
            lessons.append(_Lesson(class_of(car), traits, tuple(found.items()), car_id in spoken))
    return tuple(lessons)


@dataclass(frozen=True)
class _Lesson:
    advert_class: str
    traits: tuple[tuple[str, Any], ...]
    found: tuple[tuple[str, str], ...]
    advert_was_read: bool


@lru_cache(maxsize=16)
def _taught(own: str | None, lessons: tuple[_Lesson, ...], shared: tuple[tuple[float, str], ...]) -> Pack:
    pack = knowledge(own)
    cars = [(one.advert_class, t) for one in lessons if (t := _tally(own, one)) is not None]
    for weight, rows in shared:
        cars += [(where, scaled(one, weight)) for where, one in counts_from_rows(json.loads(rows)).items()]
    return learned(pack, cars)


@lru_cache(maxsize=2048)
def _tally(own: str | None, lesson: _Lesson) -> Tally | None:
    network = network_of(knowledge(own), lesson.advert_class, dict(lesson.traits))
    known = {*network.finding, *network.cause, *network.root}
    found = {name: label for name, label in lesson.found if name in known}
    try:
        return tally(network, with_silence(network, found) if lesson.advert_was_read else found)
    except (BadEntry, CannotSay):  # recorded under another pack; it cannot teach this one
        return None


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
