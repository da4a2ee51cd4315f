"""What finished cars taught about faults, as counts that can be handed on without any car."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

from driveout.errors import BadEntry
from driveout.faults.learning import Tally
from driveout.faults.pack import CLASSES, Pack


def merged(cars: Iterable[tuple[str, Tally]]) -> dict[str, Tally]:
    """Counts of all cars together, by advert class."""
    starts: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
    shows: dict[str, dict[tuple[str, str], tuple[float, float]]] = defaultdict(dict)
    alarms: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
    for where, one in cars:
        for fault, pair in one.priors.items():
            starts[where][fault] = _sum(starts[where].get(fault), pair)
        for key, pair in one.shows.items():
            shows[where][key] = _sum(shows[where].get(key), pair)
        for finding, pair in one.alarms.items():
            alarms[where][finding] = _sum(alarms[where].get(finding), pair)
    classes = sorted({*starts, *shows, *alarms})
    return {where: Tally(starts[where], shows[where], alarms[where]) for where in classes}


def _sum(so_far: tuple[float, float] | None, pair: tuple[float, float]) -> tuple[float, float]:
    return pair if so_far is None else (so_far[0] + pair[0], so_far[1] + pair[1])


def scaled(tally: Tally, weight: float) -> Tally:
    """The same counts, each worth only so much."""
    return replace(
        tally,
        priors={key: (weight * a, weight * b) for key, (a, b) in tally.priors.items()},
        shows={key: (weight * a, weight * b) for key, (a, b) in tally.shows.items()},
        alarms={key: (weight * a, weight * b) for key, (a, b) in tally.alarms.items()},
    )


def counts_as_rows(tallies: Mapping[str, Tally], known: Collection[str]) -> list[dict[str, Any]]:
    """Counts as plain rows to share; whatever is not in the shipped pack is left out.

    Parameters
    ----------
    tallies
        Counts by advert class.
    known
        Ids of the shipped pack; a person's own ids may say what is nobody's business.

    Returns
    -------
    list of dict
        ``class``, and ``fault`` or ``finding`` or both, with ``counts`` for and against.
    """
    rows: list[dict[str, Any]] = []
    for advert_class, tally in sorted(tallies.items()):
        for fault, pair in sorted(tally.priors.items()):
            rows.append({"class": advert_class, "fault": fault, "counts": _rounded(pair)})
        for (finding, fault), pair in sorted(tally.shows.items()):
            rows.append({"class": advert_class, "finding": finding, "fault": fault, "counts": _rounded(pair)})
        for finding, pair in sorted(tally.alarms.items()):
            rows.append({"class": advert_class, "finding": finding, "counts": _rounded(pair)})
    return [
        row
        for row in rows
        if row.get("fault", next(iter(known), "")) in known
        and row.get("finding", next(iter(known), "")) in known
        and sum(row["counts"]) > 0
    ]


def _rounded(pair: tuple[float, float]) -> list[float]:
    return [round(pair[0], 4), round(pair[1], 4)]


def counts_from_rows(rows: Iterable[Mapping[str, Any]]) -> dict[str, Tally]:
    """Read shared rows again.

    Parameters
    ----------
    rows
        As `counts_as_rows` writes them.

    Returns
    -------
    dict of str to Tally
        By advert class.

    Raises
    ------
    BadEntry
        If a row has another class or no two counts of 0 or more.
    """
    cars: list[tuple[str, Tally]] = []
    for row in rows:
        advert_class, counts = str(row.get("class", "")), row.get("counts")
        numbers = (
            isinstance(counts, list)
            and len(counts) == 2
            and all(isinstance(x, int | float) and not isinstance(x, bool) and 0 <= x <= 1e6 for x in counts)
        )
        if advert_class not in CLASSES or not numbers:
            raise BadEntry(
                f"The row {str(dict(row))[:80]} is not a count.",
                field="faults",
                value=str(dict(row))[:80],
                allowed=f"class ({', '.join(CLASSES)}), fault or finding, counts: [for, against]",
            )
        assert isinstance(counts, list)
        pair = (float(counts[0]), float(counts[1]))
        fault, finding = str(row.get("fault", "")), str(row.get("finding", ""))
        if not fault and not finding:
            raise BadEntry("A row names neither a fault nor a finding.", field="faults", value=str(dict(row)))
        cars.append(
            (
                advert_class,
                Tally(
                    {fault: pair} if not finding else {},
                    {(finding, fault): pair} if finding and fault else {},
                    {finding: pair} if not fault else {},
                ),
            )
        )
    return merged(cars)


def ids_of(pack: Pack) -> frozenset[str]:
    """Ids of faults and findings of a pack."""
    return frozenset({*pack.faults, *pack.signs})
