"""All readings of one car judged together: verdicts by spot, findings for the fault network, repairs proposed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from driveout.errors import BadEntry
from driveout.wear.drive_sheets import drive_verdicts
from driveout.wear.judge_corners import axle_verdicts, corner_verdicts, tyre_price_verdicts
from driveout.wear.judge_engine import battery_verdicts, engine_verdicts, fluid_verdicts
from driveout.wear.judge_paint import panel_verdicts, passes_verdicts
from driveout.wear.judge_papers import paper_verdicts
from driveout.wear.judge_steering import steering_verdicts
from driveout.wear.limits import Limit, shipped_limits
from driveout.wear.reading import CarFacts, Given, Reading
from driveout.wear.topics import CORNERS, read_entries
from driveout.wear.verdict import Finding, LifeLeft, Verdict

# A negative answer to such a check counts only when it was looked at in that many places.
_PLACES_NEEDED = {
    "w_brake_visual": 4,
    "w_tyre_pattern": 4,
    "w_tyre_age": 4,
    "w_paint_gauge": 8,
    "u_rock_3_9": 4,
    "u_rock_12_6": 4,
    "u_bush_pry": 4,
}

# Topics that are judged by themselves, each by the file that knows it.
_SINGLE: dict[str, Callable[[Given, dict[str, Any]], list[Verdict]]] = {
    "engine": engine_verdicts,
    "battery": battery_verdicts,
    "fluids": fluid_verdicts,
    "steering": steering_verdicts,
    "tyre_sets": tyre_price_verdicts,
    "passes": passes_verdicts,
    "papers": paper_verdicts,
    "test_drive": lambda _, got: list(drive_verdicts("test_drive", got)),
    "first_drive": lambda _, got: list(drive_verdicts("first_drive", got)),
}


@dataclass(frozen=True)
class Report:
    """Verdicts of one car.

    Parameters
    ----------
    verdicts
        By topic and spot, in order.
    """

    verdicts: tuple[tuple[str, str, Verdict], ...]
    notes: tuple[str, ...] = field(default=())

    def of(self, topic: str, spot: str | None = None) -> tuple[Verdict, ...]:
        """Verdicts of a topic, or of one spot of it."""
        return tuple(v for t, s, v in self.verdicts if t == topic and (spot is None or s == spot))

    @property
    def findings(self) -> dict[str, Finding]:
        """One finding per check: positive as soon as one spot says so, negative when looked at everywhere."""
        gathered: dict[str, list[tuple[str, Finding]]] = {}
        for _, spot, verdict in self.verdicts:
            for finding in verdict.findings:
                gathered.setdefault(finding.check, []).append((spot, finding))
        result: dict[str, Finding] = {}
        for check, said in gathered.items():
            positive = [finding for _, finding in said if finding.positive]
            if positive:
                points = tuple(dict.fromkeys(fault for finding in positive for fault in finding.points_at))
                why = "; ".join(dict.fromkeys(finding.why for finding in positive))
                worst = max(positive, key=lambda finding: finding.rank)
                result[check] = Finding(check, True, why, points, worst.grade)
            elif len({spot for spot, _ in said}) >= _PLACES_NEEDED.get(check, 1):
                result[check] = max((finding for _, finding in said), key=lambda finding: finding.rank)
        return result

    @property
    def repairs(self) -> tuple[str, ...]:
        """Repairs proposed, each once."""
        return tuple(dict.fromkeys(repair for _, _, verdict in self.verdicts for repair in verdict.repairs))

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON answers."""
        return {
            "verdicts": [{"topic": t, "spot": s, **v.as_dict()} for t, s, v in self.verdicts],
            "findings": {
                check: {
                    "outcome": f.outcome,
                    "positive": f.positive,
                    "why": f.why,
                    "points_at": list(f.points_at),
                }
                for check, f in self.findings.items()
            },
            "repairs": list(self.repairs),
            "notes": list(self.notes),
        }


def report(
    readings: Iterable[Reading],
    facts: CarFacts,
    own_limits: Sequence[Limit] = (),
    *,
    use_shipped: bool = True,
    passes: Iterable[Reading] = (),
) -> Report:
    """Judge all readings of one car.

    Later readings of a spot replace earlier ones field by field; earlier thicknesses give the
    rate of wear.

    Parameters
    ----------
    readings
        In any order.
    facts
        The car.
    own_limits
        Limits that the person entered; one with the key of a shipped limit replaces it.
    use_shipped
        Whether the shipped limits take part.
    passes
        The person's own sanding and polishing on every car; those among ``readings`` by default.

    Returns
    -------
    Report
        Verdicts, findings and repairs.

    Raises
    ------
    BadEntry
        If a reading cannot be read or cannot be right.

    References
    ----------
    own-reasoning, docs/method/brakes.md.
    """
    ordered = sorted(readings, key=lambda reading: reading.day)
    for reading in ordered:
        if reading.day > facts.on:
            raise BadEntry(
                f"A reading is dated {reading.day}, which is in the future.",
                field="day",
                value=str(reading.day),
                allowed=f"until {facts.on}",
            )
    typed: dict[tuple[str, str], dict[str, str]] = {}
    for reading in ordered:
        typed.setdefault((reading.topic, reading.spot), {}).update(reading.entries)
    values = {key: read_entries(*key, entries) for key, entries in typed.items()}
    given = Given(
        facts,
        values.get(("setup", "car"), {}),
        limits_in_force(own_limits, use_shipped),
        tuple(ordered),
        tuple(passes) or tuple(r for r in ordered if r.topic == "passes"),
    )
    found: list[tuple[str, str, Verdict]] = []
    for corner in CORNERS:
        if ("corner", corner) in values:
            found += [
                ("corner", corner, v) for v in corner_verdicts(given, corner, values[("corner", corner)])
            ]
    corners = {spot: entries for (topic, spot), entries in values.items() if topic == "corner"}
    found += [("corner", "axles", verdict) for verdict in axle_verdicts(given, corners)]
    panels = {spot: entries for (topic, spot), entries in values.items() if topic == "paint"}
    found += panel_verdicts(given, panels)
    for (topic, spot), entries in values.items():
        if topic in _SINGLE:
            found += [(topic, spot, verdict) for verdict in _SINGLE[topic](given, entries)]
    return Report(tuple(found))


def limits_in_force(own: Sequence[Limit], use_shipped: bool = True) -> tuple[Limit, ...]:
    """Own limits first, then every shipped one that no own limit replaces by bearing its key.

    Parameters
    ----------
    own
        Limits that the person entered or read from a file.
    use_shipped
        Whether the shipped limits take part at all.

    Returns
    -------
    tuple of Limit
        In the order of search.
    """
    replaced = {limit.key for limit in own}
    shipped = shipped_limits() if use_shipped else ()
    return (*own, *(limit for limit in shipped if limit.key not in replaced))


__all__ = ["CarFacts", "LifeLeft", "Reading", "Report", "limits_in_force", "report"]
