"""What can be wrong with a car, what can be noticed, and how strongly one speaks for the other.

A network has causes (hidden things wrong), findings (things said, seen or measured), a few
latent roots (how the car was cared for) and a few arcs from fault to fault. All of it is plain
frozen values; ``compiled.compile_network`` turns it into arrays.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

from driveout.errors import BadEntry

ABSENT = "absent"
SILENT = "silent"
#: the advert states it only as a guess ("might need"): soft evidence
SUPPOSED = "supposed"
#: how much likelier a guess is where the thing would have been stated than where it would not.
#: 19 brings a thing that one advert in twenty states to an even chance (common practice, no source)
SUPPOSED_ODDS = 19.0
COMMON_PRACTICE = "common practice, no source"
FROM_MEMORY = "from memory"


@dataclass(frozen=True)
class Beta:
    """A probability as a belief: ``a`` cases for, ``b`` against, and where the belief comes from.

    One decision needs the mean only, because the network is linear in each of its numbers
    taken alone; finished cars add to ``a`` and ``b``.
    """

    a: float
    b: float
    origin: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        if not (self.a >= 0 and self.b >= 0 and 0 < self.a + self.b < float("inf")):
            raise BadEntry(
                f"Beta({self.a}, {self.b}) is not a belief about a probability. "
                "Both counts must be 0 or more, and not both 0.",
                field="beta",
                value=(self.a, self.b),
            )

    @property
    def mean(self) -> float:
        """The probability used for one decision."""
        return self.a / (self.a + self.b)

    @classmethod
    def of(cls, mean: float, weight: float = 5.0, origin: str = COMMON_PRACTICE) -> Beta:
        """A belief with this mean, worth ``weight`` observed cases.

        Parameters
        ----------
        mean
            Probability, 0 to 1.
        weight
            How many observed cases the belief is worth; greater than 0.
        origin
            Where the number comes from.

        Returns
        -------
        Beta
            Counts ``mean * weight`` and ``(1 - mean) * weight``.

        Raises
        ------
        BadEntry
            When the mean is no probability or the weight is not positive.
        """
        if not 0 <= mean <= 1:
            raise BadEntry(
                f"{mean} is not a probability. Give a number from 0 to 1.",
                field="mean",
                value=mean,
                allowed="0 to 1",
            )
        if not weight > 0:
            raise BadEntry(
                f"A belief cannot be worth {weight} cases. Give a number greater than 0.",
                field="weight",
                value=weight,
            )
        return cls(mean * weight, (1 - mean) * weight, origin)


@dataclass(frozen=True)
class Odds:
    """How a root moves a probability: its odds times one factor per state of the root."""

    root: str
    factors: tuple[float, ...]


@dataclass(frozen=True)
class State:
    """One way in which a cause can be there (its absence needs no entry).

    ``fault`` is the name under which repairs and the outlook know this state. ``share`` is
    the weight among the states of the cause; the shares need not add up to 1.
    """

    id: str
    name: str = ""
    share: float = 1.0
    fault: str = ""


@dataclass(frozen=True)
class Cause:
    """A hidden thing wrong: absent, or in exactly one of its states.

    ``prior`` is the probability that it is there in any state. Competing explanations of one
    symptom are the states of one cause, so that their probabilities cannot add to more than 1.
    """

    id: str
    name: str
    prior: Beta
    states: tuple[State, ...] = (State("present"),)
    odds: tuple[Odds, ...] = ()
    system: str = ""

    def fault_of(self, state: State) -> str:
        """The fault id of a state: its own, else the cause (one state) or ``cause.state``."""
        if state.fault:
            return state.fault
        return self.id if len(self.states) == 1 else f"{self.id}.{state.id}"


@dataclass(frozen=True)
class Link:
    """How often a cause in this state alone brings a finding to each outcome above the first.

    ``given[j]`` is the probability of outcome ``j + 1``; what is missing to 1 stays at outcome 0.
    ``state`` may be ``"*"`` for every state of the cause.
    """

    cause: str
    given: tuple[Beta, ...]
    state: str = "*"


@dataclass(frozen=True)
class Finding:
    """Something said, noticed or measured, with outcomes from least to worst.

    ``false_alarm[j]`` is the probability of outcome ``j + 1`` when no listed cause is there.
    The worst of all contributions shows (noisy-OR for two outcomes, noisy-MAX for more).

    kind ``advert``: the outcome is what the advert states; ``mention`` is the chance that a
    seller states a thing that is there, and ``silent`` is evidence of its own, much weaker
    than the first outcome (a plain denial). kind ``check``: the outcome was seen or measured.
    """

    id: str
    name: str
    links: tuple[Link, ...]
    false_alarm: tuple[Beta, ...]
    outcomes: tuple[str, ...] = ("no", "yes")
    kind: str = "check"
    mention: Beta = Beta(0.0, 1.0)
    group: str = ""
    check: str = ""
    odds: tuple[Odds, ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        """Every label that evidence about this finding may carry."""
        return (*self.outcomes, SILENT)


@dataclass(frozen=True)
class Root:
    """Something hidden behind many faults at once, such as care taken by past owners."""

    id: str
    name: str
    states: tuple[str, ...]
    probabilities: tuple[float, ...]


@dataclass(frozen=True)
class Arc:
    """One fault that brings another: the parent alone makes the child be there with ``strength``.

    Several arcs into one child, and the child's own prior, combine as a noisy-OR.
    ``parent_states`` empty means any state; ``child_state`` empty means the child's first.
    """

    parent: str
    child: str
    strength: Beta
    parent_states: tuple[str, ...] = ()
    child_state: str = ""


@dataclass(frozen=True)
class Table:
    """A child whose states are given outright for every combination of its parents' states.

    Each row is (parent states, probabilities of the child's states without ``absent``).
    Replaces the child's prior.
    """

    child: str
    parents: tuple[str, ...]
    rows: tuple[tuple[tuple[str, ...], tuple[float, ...]], ...]


@dataclass(frozen=True, eq=False)
class Network:
    """Causes, findings, roots and arcs, checked for consistency when made.

    ``common`` is the share of misses and of false alarms that findings of one group have in
    common (docs/method/faults.md). 0 makes them independent given the faults.
    """

    causes: tuple[Cause, ...]
    findings: tuple[Finding, ...]
    roots: tuple[Root, ...] = ()
    arcs: tuple[Arc, ...] = ()
    tables: tuple[Table, ...] = ()
    common: float = 0.3

    def __post_init__(self) -> None:
        check_network(self)

    @cached_property
    def cause(self) -> Mapping[str, Cause]:
        """Causes by id."""
        return {c.id: c for c in self.causes}

    @cached_property
    def finding(self) -> Mapping[str, Finding]:
        """Findings by id."""
        return {f.id: f for f in self.findings}

    @cached_property
    def root(self) -> Mapping[str, Root]:
        """Roots by id."""
        return {r.id: r for r in self.roots}


class Held:
    """Findings compared by identity, so that networks that share them share what was worked out for them."""

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        self.findings = findings

    def __hash__(self) -> int:
        return id(self.findings)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Held) and self.findings is other.findings


Shape = tuple[tuple[str, tuple[str, ...]], ...]  # causes and their states


def shape_of(causes: Iterable[Cause]) -> Shape:
    """Ids of causes and states, without their numbers."""
    return tuple((c.id, tuple(s.id for s in c.states)) for c in causes)


def check_network(network: Network) -> None:
    """Refuse a network with double or unknown ids, or numbers that are no probabilities.

    Parameters
    ----------
    network
        The network to look at.

    Raises
    ------
    BadEntry
        Names the first entry that does not hold together.
    """
    ids = [c.id for c in network.causes] + [f.id for f in network.findings]
    _once([*ids, *(r.id for r in network.roots)], "id")
    causes = {c.id: c for c in network.causes}
    roots = {r.id: r for r in network.roots}
    faults: list[str] = []
    for root in network.roots:
        _once(root.states, f"state of {root.id}")
        if len(root.probabilities) != len(root.states) or not _distribution(root.probabilities):
            raise _bad(f"roots.{root.id}", "needs one probability per state, adding up to 1")
    for cause in network.causes:
        _check_cause(cause, roots)
        faults += [cause.fault_of(s) for s in cause.states]
    _once(faults, "fault")
    _check_findings(Held(network.findings), shape_of(network.causes), network.roots)
    _check_arcs(network, causes)
    if not 0 <= network.common < 1:
        raise _bad("common", f"is {network.common}; it must be from 0 to below 1")


def _check_cause(cause: Cause, roots: Mapping[str, Root]) -> None:
    place = f"causes.{cause.id}"
    _once([s.id for s in cause.states], f"state of {cause.id}")
    if not cause.states:
        raise _bad(place, "needs at least one state besides absent")
    if any(s.id in (ABSENT, "*") for s in cause.states):
        raise _bad(place, "has a state called 'absent' or '*'; both words are taken")
    if any(not s.share >= 0 for s in cause.states) or not sum(s.share for s in cause.states) > 0:
        raise _bad(place, "has shares of states that are negative or all 0")
    _check_odds(cause.odds, roots, place)


@lru_cache(maxsize=64)
def _check_findings(held: Held, shape: Shape, roots: tuple[Root, ...]) -> None:
    causes, by_id = dict(shape), {root.id: root for root in roots}
    for finding in held.findings:
        _check_finding(finding, causes, by_id)


def _check_finding(
    finding: Finding, causes: Mapping[str, tuple[str, ...]], roots: Mapping[str, Root]
) -> None:
    place = f"findings.{finding.id}"
    _once(finding.outcomes, f"outcome of {finding.id}")
    if len(finding.outcomes) < 2 or {SILENT, SUPPOSED} & {*finding.outcomes}:
        raise _bad(place, "needs two or more outcomes, none of them called 'silent' or 'supposed'")
    if finding.kind not in ("advert", "check"):
        raise _bad(place, f"has kind {finding.kind!r}; it must be 'advert' or 'check'")
    for what, given in [
        ("false_alarm", finding.false_alarm),
        *((f"links.{link.cause}", link.given) for link in finding.links),
    ]:
        if len(given) != len(finding.outcomes) - 1:
            raise _bad(
                f"{place}.{what}",
                f"has {len(given)} numbers; it needs {len(finding.outcomes) - 1}, "
                "one for each outcome above the first",
            )
        if sum(beta.mean for beta in given) > 1 + 1e-12:
            raise _bad(f"{place}.{what}", "has probabilities that add up to more than 1")
    seen: list[str] = []
    for link in finding.links:
        if link.cause not in causes:
            raise _bad(f"{place}.links.{link.cause}", "names a cause that is not in the network")
        states = causes[link.cause]
        if link.state not in ("*", *states):
            raise _bad(f"{place}.links.{link.cause}", f"names state {link.state!r}, not among {list(states)}")
        seen += [f"{link.cause}/{s}" for s in states if link.state in ("*", s)]
    _once(seen, f"link of {finding.id}")
    _check_odds(finding.odds, roots, place)


def _check_odds(odds: tuple[Odds, ...], roots: Mapping[str, Root], place: str) -> None:
    for entry in odds:
        if entry.root not in roots:
            raise _bad(place, f"leans on root {entry.root!r}, which is not in the network")
        if len(entry.factors) != len(roots[entry.root].states) or min(entry.factors) < 0:
            raise _bad(place, f"needs one odds factor of 0 or more for each state of {entry.root!r}")
    _once([entry.root for entry in odds], f"root of {place}")


def _check_arcs(network: Network, causes: Mapping[str, Cause]) -> None:
    parents: dict[str, set[str]] = {}
    for arc in network.arcs:
        place = f"arcs.{arc.parent}->{arc.child}"
        for end in (arc.parent, arc.child):
            if end not in causes:
                raise _bad(place, f"names {end!r}, which is not a cause of the network")
        for state, owner in [(s, arc.parent) for s in arc.parent_states] + (
            [(arc.child_state, arc.child)] if arc.child_state else []
        ):
            if state not in [s.id for s in causes[owner].states]:
                raise _bad(place, f"names state {state!r}, which {owner!r} does not have")
        parents.setdefault(arc.child, set()).add(arc.parent)
    for table in network.tables:
        _check_table(table, causes)
        if table.child in parents:
            raise _bad(f"tables.{table.child}", "has arcs or another table as well; keep one")
        parents[table.child] = set(table.parents)
    settled: set[str] = set()
    waiting = dict(parents)
    while waiting:
        ready = [c for c, up in waiting.items() if not (up & waiting.keys())]
        if not ready:
            raise _bad("arcs", f"run in a circle through {sorted(waiting)}")
        settled.update(ready)
        for child in ready:
            del waiting[child]


def _check_table(table: Table, causes: Mapping[str, Cause]) -> None:
    place = f"tables.{table.child}"
    for end in (table.child, *table.parents):
        if end not in causes:
            raise _bad(place, f"names {end!r}, which is not a cause of the network")
    wanted = 1
    for parent in table.parents:
        wanted *= 1 + len(causes[parent].states)
    _once(["/".join(when) for when, _ in table.rows], f"row of {place}")
    for when, then in table.rows:
        known = all(
            state in (ABSENT, *(s.id for s in causes[parent].states))
            for parent, state in zip(table.parents, when, strict=False)
        )
        if len(when) != len(table.parents) or not known:
            raise _bad(place, f"row {list(when)} does not name one state of each parent")
        if len(then) != len(causes[table.child].states) or not _part(then):
            raise _bad(place, f"row {list(when)} needs one probability per state, at most 1 in sum")
    if len(table.rows) != wanted:
        raise _bad(place, f"has {len(table.rows)} rows; its parents have {wanted} combinations")


def _part(numbers: Iterable[float]) -> bool:
    numbers = list(numbers)
    return all(0 <= x <= 1 for x in numbers) and sum(numbers) <= 1 + 1e-9


def _distribution(numbers: Iterable[float]) -> bool:
    numbers = list(numbers)
    return _part(numbers) and sum(numbers) >= 1 - 1e-9


def _once(ids: Iterable[str], what: str) -> None:
    seen: set[str] = set()
    for one in ids:
        if one in seen:
            raise BadEntry(
                f"{what} {one!r} stands twice. Each {what} must be the only one of its name.",
                field=what,
                value=one,
            )
        seen.add(one)


def _bad(place: str, trouble: str) -> BadEntry:
    return BadEntry(f"{place} {trouble}.", field=place)
