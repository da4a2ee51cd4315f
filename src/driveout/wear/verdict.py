"""What a reading amounts to: the limit that decided, those that would not agree, life left, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import floor, log10
from typing import Any

from driveout.units import miles_from_km
from driveout.wear.limits import KIND_ORDER, Limit, unit_words

HOLDS = "holds"
CLOSE = "close to the limit"
FAILS = "past the limit"
OPEN = "cannot say"
OUTCOMES = (HOLDS, CLOSE, FAILS, OPEN)


@dataclass(frozen=True)
class LifeLeft:
    """Distance until a limit is reached, with its standard deviation; ``note`` says what it leans on."""

    km: float
    sd_km: float
    note: str = ""

    def words(self) -> str:
        """Say it with its error, no finer than the error allows."""
        if self.km <= 0:
            return "nothing left"
        digits = 1 - floor(log10(self.sd_km)) if self.sd_km >= 1 else 0
        km, doubt = round(self.km, min(digits, 0)), round(self.sd_km, min(digits, 0))
        return f"about {km:,.0f} km ({miles_from_km(km):,.0f} mi) left, give or take {doubt:,.0f} km"


# Findings that the fault network grades, from nothing on; all others are yes or no.
GRADES: dict[str, tuple[str, ...]] = {
    "w_brake_visual": ("good", "worn", "metal on metal"),
    "w_paint_gauge": ("even", "repainted", "filler"),
    "w_nail_scratch": ("no scratch", "smooth", "catches"),
    "w_wet_scratch": ("no scratch", "vanishes", "still visible"),
    "b_compression": ("even", "low", "very low"),
}


@dataclass(frozen=True)
class Finding:
    """What a reading says to one finding of the fault network.

    Parameters
    ----------
    check
        Identifier of the finding.
    positive
        Whether it speaks for a fault.
    why
        The reading in words.
    points_at
        Faults that it names, when the finding alone does not tell.
    grade
        Place in `GRADES` of a graded finding; 1 when positive, 0 when not, unless given.
    """

    check: str
    positive: bool
    why: str
    points_at: tuple[str, ...] = ()
    grade: int | None = None

    @property
    def rank(self) -> int:
        """Grade, or 1 and 0 for yes and no."""
        return int(self.positive) if self.grade is None else self.grade

    @property
    def outcome(self) -> str:
        """Outcome as the fault network names it."""
        return GRADES[self.check][self.rank] if self.check in GRADES else ("yes" if self.positive else "no")


@dataclass(frozen=True)
class OtherLimit:
    """A limit that did not decide, and what it would have said."""

    limit: Limit
    outcome: str


@dataclass(frozen=True)
class Verdict:
    """A reading judged.

    Parameters
    ----------
    what
        What was measured, in words.
    outcome
        One of `OUTCOMES`.
    reading, unit
        The value judged; None when it is not a number.
    decided_by
        The limit that decided; None when none may.
    others
        Limits that would have decided differently.
    agreeing
        Limits that say the same.
    life
        Distance left.
    words
        One or two sentences for the person.
    findings, repairs
        Checks it answers and repairs it proposes, by identifier.
    cautions
        Where work can hurt or the reading misleads.
    steps
        How the number came about, line by line.
    """

    what: str
    outcome: str
    reading: float | None = None
    unit: str = ""
    decided_by: Limit | None = None
    others: tuple[OtherLimit, ...] = ()
    agreeing: tuple[Limit, ...] = ()
    life: LifeLeft | None = None
    words: str = ""
    findings: tuple[Finding, ...] = ()
    repairs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    steps: tuple[str, ...] = field(default=())

    @property
    def shown(self) -> str:
        """The reading with its unit, or the words where nothing was measured."""
        return self.words if self.reading is None else unit_words(self.reading, self.unit)

    def adding(self, **changes: Any) -> Verdict:
        """Return the verdict with more said about it; tuples are appended to."""
        merged: dict[str, Any] = {
            key: (*getattr(self, key), *value) if isinstance(value, tuple) else value
            for key, value in changes.items()
        }
        return replace(self, **merged)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON answers."""
        life = self.life
        return {
            "what": self.what,
            "outcome": self.outcome,
            "reading": self.reading,
            "unit": self.unit,
            "decided_by": self.decided_by.as_dict() if self.decided_by else None,
            "would_differ": [{**o.limit.as_dict(), "outcome": o.outcome} for o in self.others],
            "agree": [limit.key for limit in self.agreeing],
            "life": {"km": life.km, "sd_km": life.sd_km, "note": life.note} if life else None,
            "words": self.words,
            "findings": [
                {
                    "check": f.check,
                    "outcome": f.outcome,
                    "positive": f.positive,
                    "why": f.why,
                    "points_at": list(f.points_at),
                }
                for f in self.findings
            ],
            "repairs": list(self.repairs),
            "cautions": list(self.cautions),
            "steps": list(self.steps),
        }


def by_limit(limit: Limit, reading: float, close: float = 0.0) -> str:
    """What one limit alone says of a reading.

    Parameters
    ----------
    limit
        The limit.
    reading
        The reading in the limit's unit.
    close
        Margin inside the limit that counts as close to it, in the same unit.

    Returns
    -------
    str
        `HOLDS`, `CLOSE` or `FAILS`.
    """
    margin = reading - limit.value if limit.side == "least" else limit.value - reading
    # A reading typed from a ruler at the limit itself must pass: 1/32 in is not below 1/32 in.
    tolerance = 1e-9 * max(1.0, abs(limit.value))
    if margin < -tolerance:
        return FAILS if limit.weight == "fail" else CLOSE
    return CLOSE if margin < close else HOLDS


def judge(
    what: str,
    reading: float,
    unit: str,
    limits: Sequence[Limit],
    *,
    place: str = "",
    close: float = 0.0,
) -> Verdict:
    """Judge a reading against all limits of its quantity.

    The maker's limit decides before a regulation, a regulation before a generic band. A
    regulation decides only where the person is (``place``); with no place given the strictest
    does. A recalled limit is shown as unverified and never decides alone.

    Parameters
    ----------
    what
        What was measured.
    reading
        The reading in ``unit``.
    unit
        Unit of the reading and of every limit handed in.
    limits
        Limits of this quantity.
    place
        Where the car is used: ``us``, ``us-wa``, ``eu``, ``gb`` ...; empty when not said.
    close
        Margin that counts as close to the limit.

    Returns
    -------
    Verdict
        With the limit that decided, and each that would have decided differently.

    References
    ----------
    own-reasoning, docs/method/brakes.md.
    """
    said = {limit: by_limit(limit, reading, close) for limit in limits}
    decided: Limit | None = None
    for kind in KIND_ORDER:
        able = [
            limit
            for limit in limits
            if limit.kind == kind and limit.verified and limit.decides and _applies(limit, place)
        ]
        if able:
            decided = _decider(able, said, local=bool(place) and kind == "regulation")
            break
    outcome = said[decided] if decided else OPEN
    differing = tuple(OtherLimit(limit, said[limit]) for limit in limits if said[limit] != outcome)
    agreeing = tuple(limit for limit in limits if said[limit] == outcome and limit is not decided)
    words = _words(what, reading, unit, decided, outcome, differing)
    return Verdict(what, outcome, reading, unit, decided, differing, agreeing, words=words)


def _decider(able: Sequence[Limit], said: dict[Limit, str], local: bool) -> Limit:
    """The limit that decides among equals: the most local rule, then the one that complains most."""
    if local:
        longest = max(len(limit.jurisdiction) for limit in able)
        able = [limit for limit in able if len(limit.jurisdiction) == longest]
    worst = next(outcome for outcome in (FAILS, CLOSE, HOLDS) if any(said[x] == outcome for x in able))
    return min((limit for limit in able if said[limit] == worst), key=_strictness)


def _applies(limit: Limit, place: str) -> bool:
    """Whether a rule holds where the person is; a country alone admits the rules of its states."""
    if limit.kind != "regulation" or not limit.jurisdiction or not place:
        return True
    rule = limit.jurisdiction
    return place == rule or place.startswith(rule + "-") or rule.startswith(place + "-")


def _strictness(limit: Limit) -> tuple[int, float]:
    return (0 if limit.weight == "fail" else 1, -limit.value if limit.side == "least" else limit.value)


def _words(
    what: str,
    reading: float,
    unit: str,
    decided: Limit | None,
    outcome: str,
    others: tuple[OtherLimit, ...],
) -> str:
    shown = f"{what}: {unit_words(reading, unit)}"
    if decided is None:
        unverified = [o.limit for o in others if not o.limit.verified]
        if unverified:
            return f"{shown}. Only unverified figures are known here ({unverified[0].short()}); enter the maker's."
        return f"{shown}. No limit is known; enter the maker's."
    words = f"{shown}, {outcome} ({decided.short()})."
    # Rules of other vehicles and figures kept for comparison stand in the details only.
    telling = [o for o in others if o.limit.decides]
    if telling:
        words += " Would differ: " + "; ".join(f"{o.limit.short()}: {o.outcome}" for o in telling) + "."
    return words
