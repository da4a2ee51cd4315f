"""A network turned into arrays once, so that evidence can be weighed thousands of times.

Three steps make every network a mixture of plain two-layer ones (docs/method/faults.md):

* roots and the parents of arcs are enumerated: each combination is one *world*;
* a state of a cause that has several findings in one group is split in *sub-states*, so that
  these findings share some of their misses; a hidden look-alike per group shares false alarms;
* an outcome of a finding is a difference of two products over the causes,
  ``P(outcome | d) = upper(d) - lower(d)``, kept as ``upper`` and ``ratio = lower / upper``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry
from driveout.faults.network import (
    ABSENT,
    SILENT,
    SUPPOSED,
    SUPPOSED_ODDS,
    Cause,
    Finding,
    Held,
    Network,
    Odds,
    Root,
    Shape,
    shape_of,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_WORLDS = 4096
MOST_SUB_STATES = 4096


@dataclass(frozen=True, eq=False)
class Compiled:
    """Arrays of one network. ``W`` worlds, ``Q`` sub-states in all, ``C`` codes (finding, label).

    Columns ``start[i]`` to ``start[i + 1]`` of a ``Q`` axis belong to inner cause ``i``, the first
    of them being its absence; the first ``len(network.causes)`` inner causes are the network's
    own, in order, the others are look-alikes. ``public[q]`` is the column on the public axis
    (absent and states of every cause, ``public_start`` gives the offsets), -1 for look-alikes.
    """

    network: Network
    world_weight: Floats  # (W,)
    world_roots: tuple[tuple[int, ...], ...]
    prior: Floats  # (W, Q)
    start: Ints
    public: Ints  # (Q,)
    public_start: Ints
    code: Mapping[tuple[str, str], int]
    two_sided: npt.NDArray[np.bool_]  # (C,) False: lower is 0, a pure product
    upper: Floats  # (C, Q)
    ratio: Floats  # (C, Q)
    leak_upper: Floats  # (W, C)
    leak_ratio: Floats  # (W, C)
    touches: npt.NDArray[np.bool_]  # (C, inner causes): some sub-state explains the code

    @cached_property
    def width(self) -> int:
        """Number of public columns: every cause's absence and states."""
        return int(self.public_start[-1])

    @cached_property
    def names(self) -> tuple[tuple[str, tuple[str, ...], int, int], ...]:
        """Per cause: its id, the labels of its public columns, and where they begin and end."""
        edges = self.public_start.tolist()
        return tuple(
            (cause.id, (ABSENT, *(s.id for s in cause.states)), edges[i], edges[i + 1])
            for i, cause in enumerate(self.network.causes)
        )

    @cached_property
    def worlds(self) -> Ints:
        """Indexes of all worlds."""
        return np.arange(len(self.world_weight))

    @cached_property
    def everything(self) -> npt.NDArray[np.bool_]:
        """Mask of sub-states when nothing is known about the causes themselves."""
        return np.ones(self.upper.shape[1], dtype=bool)

    @cached_property
    def cuts(self) -> tuple[Ints, ...]:
        """Per cause of the network: where its states begin among its sub-states."""
        return tuple(
            np.flatnonzero(np.diff(self.public[self.start[i] : self.start[i + 1]], prepend=-1))
            for i in range(len(self.network.causes))
        )

    @cached_property
    def first(self) -> Ints:
        """Where each public column begins: the sub-states of one state stand together."""
        own = int(self.start[len(self.network.causes)])
        return np.flatnonzero(np.diff(self.public[:own], prepend=-1))


@lru_cache(maxsize=512)
def compile_network(network: Network) -> Compiled:
    """Arrays of a network; remembered, so that asking again for the same network costs nothing.

    Parameters
    ----------
    network
        The network to prepare.

    Returns
    -------
    Compiled
        Its arrays.

    Raises
    ------
    BadEntry
        When roots and arcs make more worlds, or groups more sub-states, than can be summed out.
    """
    worlds = list(_worlds(network))
    if not worlds:
        raise BadEntry("The roots and arcs leave no possible world.", field="roots")
    table = _tables(Held(network.findings), shape_of(network.causes), network.roots, network.common)
    sub = table.sub
    at = np.array([table.roots.index(w.roots) for w in worlds])
    prior = np.vstack([sub.prior_row(w.distributions) for w in worlds])
    for g in range(table.alike.shape[1]):
        column = sub.start[len(network.causes) + g]
        prior[:, column], prior[:, column + 1] = 1 - table.alike[at, g], table.alike[at, g]
    return Compiled(
        network=network,
        world_weight=np.array([w.weight for w in worlds]),
        world_roots=tuple(w.roots for w in worlds),
        prior=prior,
        start=sub.start,
        public=sub.public,
        public_start=sub.public_start,
        code=table.code,
        two_sided=table.two_sided,
        upper=table.upper,
        ratio=table.ratio,
        leak_upper=table.leak_upper[at],
        leak_ratio=table.leak_ratio[at],
        touches=table.touches,
    )


@dataclass(frozen=True, eq=False)
class _Tables:
    """What depends on the findings alone, whatever the starting chances; shared by all networks with them."""

    sub: _SubStates
    roots: list[tuple[int, ...]]  # G combinations of root states
    alike: Floats  # (G, groups): chance of the look-alike
    code: Mapping[tuple[str, str], int]
    two_sided: npt.NDArray[np.bool_]
    upper: Floats
    ratio: Floats
    leak_upper: Floats  # (G, C)
    leak_ratio: Floats
    touches: npt.NDArray[np.bool_]


@lru_cache(maxsize=16)
def _tables(held: Held, shape: Shape, roots: tuple[Root, ...], common: float) -> _Tables:
    groups = _groups(held.findings, common)
    sub = _SubStates.of(held.findings, shape, groups, common)
    states = list(product(*(range(len(root.states)) for root in roots)))
    alike, leak = _false_alarms(held.findings, groups, roots, states, common)
    code: dict[tuple[str, str], int] = {}
    rows: list[tuple[bool, Floats, Floats, Floats, Floats]] = []
    for index, finding in enumerate(held.findings):
        cdf = np.vstack([sub.shows(finding), np.ones(sub.size)])
        for label, upper, lower in _labels(finding, cdf, leak[index]):
            code[finding.id, label] = len(rows)
            rows.append((lower is not None, *_ratio(upper, lower, sub.size)))
    if not rows:  # one line of no meaning keeps every axis in place
        rows.append(
            (False, np.ones(sub.size), np.ones(sub.size), np.ones(len(states)), np.zeros(len(states)))
        )
    ratio = np.vstack([r[2] for r in rows])
    return _Tables(
        sub=sub,
        roots=states,
        alike=alike,
        code=code,
        two_sided=np.array([r[0] for r in rows], dtype=bool),
        upper=np.vstack([r[1] for r in rows]),
        ratio=ratio,
        leak_upper=np.vstack([r[3] for r in rows]).T.copy(),
        leak_ratio=np.vstack([r[4] for r in rows]).T.copy(),
        touches=np.minimum.reduceat(ratio, sub.start[:-1], axis=1) < 1,
    )


# ---------------------------------------------------------------- worlds


@dataclass(frozen=True)
class _World:
    weight: float
    roots: tuple[int, ...]
    distributions: tuple[Floats, ...]  # per cause: absent, states


def _worlds(network: Network) -> Iterator[_World]:
    parents = sorted({a.parent for a in network.arcs} | {p for t in network.tables for p in t.parents})
    choices = [(ABSENT, *(s.id for s in network.cause[p].states)) for p in parents]
    count = int(np.prod([len(r.states) for r in network.roots] + [len(c) for c in choices]))
    if count > MOST_WORLDS:
        raise BadEntry(
            f"Roots and arcs make {count} combinations; at most {MOST_WORLDS} can be summed out. "
            "Use fewer arcs.",
            field="arcs",
            value=count,
        )
    for roots in product(*(range(len(r.states)) for r in network.roots)):
        weight = 1.0
        for root, state in zip(network.roots, roots, strict=True):
            weight *= root.probabilities[state]
        for states in product(*choices):
            known = dict(zip(parents, states, strict=True))
            distributions = []
            likelihood = weight
            for cause in network.causes:
                given = _given_parents(network, cause, roots, known)
                if cause.id in known:
                    column = choices[parents.index(cause.id)].index(known[cause.id])
                    likelihood *= given[column]
                    given = np.eye(len(given))[column]
                distributions.append(given)
            if likelihood > 0:
                yield _World(likelihood, roots, tuple(distributions))


def _given_parents(network: Network, cause: Cause, roots: Sequence[int], known: Mapping[str, str]) -> Floats:
    for table in network.tables:
        if table.child == cause.id:
            row = dict(table.rows)[tuple(known[p] for p in table.parents)]
            return np.array([1 - sum(row), *row])
    shares = np.array([s.share for s in cause.states])
    there = moved(cause.prior.mean, factor(network.roots, cause.odds, roots))
    given = np.concatenate([[1 - there], there * shares / shares.sum()])
    for arc in network.arcs:
        if arc.child == cause.id:
            state = known[arc.parent]
            if state != ABSENT and (not arc.parent_states or state in arc.parent_states):
                to = [s.id for s in cause.states].index(arc.child_state or cause.states[0].id)
                given = given * (1 - arc.strength.mean)
                given[1 + to] += arc.strength.mean
    return given


def factor(roots: Sequence[Root], odds: Sequence[Odds], states: Sequence[int]) -> float:
    """Product of the odds factors that hold in these root states."""
    at = {root.id: state for root, state in zip(roots, states, strict=True)}
    result = 1.0
    for entry in odds:
        result *= entry.factors[at[entry.root]]
    return result


def moved(probability: float, odds_factor: float) -> float:
    """Probability whose odds were multiplied by a factor."""
    if odds_factor == 1.0:
        return probability
    return probability * odds_factor / (1 - probability + probability * odds_factor)


# ---------------------------------------------------------------- groups and sub-states


def _groups(findings: Sequence[Finding], common: float) -> dict[str, list[Finding]]:
    groups: dict[str, list[Finding]] = {}
    if common > 0:
        for finding in findings:
            if finding.group:
                groups.setdefault(finding.group, []).append(finding)
    return {name: members for name, members in groups.items() if len(members) > 1}


@dataclass(frozen=True, eq=False)
class _SubStates:
    """How the states of every inner cause are split, and what each part hides."""

    shape: Shape
    groups: dict[str, list[Finding]]
    parts: tuple[tuple[tuple[int, int, float, Mapping[str, float]], ...], ...]
    # per inner cause: (public column or -1, state index, share of the state, {group: P(missed)})
    start: Ints
    public: Ints
    public_start: Ints

    @classmethod
    def of(
        cls, findings: Sequence[Finding], shape: Shape, groups: dict[str, list[Finding]], common: float
    ) -> _SubStates:
        parts: list[tuple[tuple[int, int, float, Mapping[str, float]], ...]] = []
        column = 0
        public_start = [0]
        for cause, states in shape:
            mine: list[tuple[int, int, float, Mapping[str, float]]] = [(column, 0, 1.0, {})]
            for number, state in enumerate(states, start=1):
                missed = _common_misses(groups, common, cause, state)
                for hidden in product((False, True), repeat=len(missed)):
                    share = 1.0
                    flags: dict[str, float] = {}
                    for (group, miss), is_hidden in zip(missed.items(), hidden, strict=True):
                        share *= miss if is_hidden else 1 - miss
                        flags[group] = 1.0 if is_hidden else -miss
                    mine.append((column + number, number, share, flags))
                if len(mine) > MOST_SUB_STATES:
                    raise BadEntry(
                        f"Cause {cause!r} has findings in too many groups "
                        f"({len(missed)} with two or more members). Join some groups.",
                        field="group",
                        value=cause,
                    )
            parts.append(tuple(mine))
            column += 1 + len(states)
            public_start.append(column)
        parts += [((-1, 0, 1.0, {}), (-1, 1, 1.0, {})) for _ in groups]
        start = np.cumsum([0, *(len(p) for p in parts)])
        public = np.array([part[0] for mine in parts for part in mine], dtype=np.int64)
        return cls(shape, groups, tuple(parts), start.astype(np.int64), public, np.array(public_start))

    @property
    def size(self) -> int:
        return int(self.start[-1])

    def prior_row(self, distributions: Sequence[Floats]) -> Floats:
        row = np.zeros(self.size)
        row[self.start[len(distributions)] :: 2] = 1.0  # look-alikes absent until filled in
        for i, given in enumerate(distributions):
            row[self.start[i] : self.start[i + 1]] = [
                given[state] * share for _, state, share, _ in self.parts[i]
            ]
        return row

    def shows(self, finding: Finding) -> Floats:
        """``F_x(q)`` for each outcome x below the worst: (outcomes - 1, Q)."""
        levels = len(finding.outcomes) - 1
        below = np.ones((levels, self.size))
        order = {cause: i for i, (cause, _) in enumerate(self.shape)}
        for link in finding.links:
            i = order[link.cause]
            given = np.array([beta.mean for beta in link.given])
            tails = given[::-1].cumsum()[::-1]  # P(outcome above x), x = 0 ..
            for offset, (_, state, _, flags) in enumerate(self.parts[i]):
                name = self.shape[i][1][state - 1] if state else ABSENT
                if state and link.state in ("*", name):
                    flag = flags.get(finding.group, 0.0)
                    visible = 0.0 if flag == 1.0 else 1 / (1 + flag)
                    below[:, self.start[i] + offset] = np.clip(1 - tails * visible, 0.0, 1.0)
        if finding.group in self.groups:
            i = len(self.shape) + list(self.groups).index(finding.group)
            alarm = np.array([beta.mean for beta in finding.false_alarm])
            if alarm.sum() > 0:
                below[:, self.start[i] + 1] = 1 - alarm[::-1].cumsum()[::-1] / alarm.sum()
        return below


def _common_misses(
    groups: Mapping[str, list[Finding]], common: float, cause: str, state: str
) -> dict[str, float]:
    missed: dict[str, float] = {}
    for name, members in groups.items():
        shown = [
            sum(beta.mean for beta in link.given)
            for finding in members
            for link in finding.links
            if link.cause == cause and link.state in ("*", state)
        ]
        if len(shown) > 1 and max(shown) < 1:
            missed[name] = common * (1 - max(shown))
    return missed


def _false_alarms(
    findings: Sequence[Finding],
    groups: Mapping[str, list[Finding]],
    roots: Sequence[Root],
    states: Sequence[tuple[int, ...]],
    common: float,
) -> tuple[Floats, list[Floats]]:
    """Chance of each group's look-alike (G, groups) and, per finding, leak F_x (outcomes, G)."""
    total = np.array(
        [
            [moved(sum(b.mean for b in f.false_alarm), factor(roots, f.odds, at)) for at in states]
            for f in findings
        ]
    ).reshape(len(findings), len(states))
    position = {f.id: k for k, f in enumerate(findings)}
    shared = np.zeros_like(total)
    alike = np.zeros((len(states), len(groups)))
    for g, members in enumerate(groups.values()):
        rows = [position[f.id] for f in members]
        alike[:, g] = common * total[rows].min(axis=0)
        shared[rows] = alike[:, g]
    leaks = []
    for k, finding in enumerate(findings):
        alarm = np.array([b.mean for b in finding.false_alarm])
        whole = alarm.sum()
        tails = alarm[::-1].cumsum()[::-1] / whole if whole > 0 else np.zeros(len(alarm))
        with np.errstate(invalid="ignore", divide="ignore"):
            below = (1 - tails[:, None] * total[k]) / (1 - tails[:, None] * shared[k])
        leaks.append(np.vstack([below, np.ones(len(states))]))
    return alike, leaks


# ---------------------------------------------------------------- what a label says


def _labels(
    finding: Finding, cdf: Floats, leak: Floats
) -> Iterator[tuple[str, tuple[Floats, Floats], tuple[Floats, Floats] | None]]:
    """Every label with its (upper, leak) and lower pair; None where lower is 0."""
    mention = finding.mention.mean
    told, told_leak = 1 - mention * (1 - cdf), 1 - mention * (1 - leak)
    spoken = finding.kind == "advert"
    for x, label in enumerate(finding.outcomes):
        if x == 0:
            yield label, (cdf[0], leak[0]), None
        elif spoken:
            yield label, (told[x], told_leak[x]), (told[x - 1], told_leak[x - 1])
        else:
            yield label, (cdf[x], leak[x]), (cdf[x - 1], leak[x - 1])
    yield SILENT, (told[0], told_leak[0]), None
    if spoken:
        # A guess is soft evidence: odds * P(stated) + P(silent), with P(stated) = told 1 - told 0.
        # That is odds * (told 1 - (1 - 1 / odds) told 0); the odds in front are the same everywhere.
        yield SUPPOSED, (told[1], told_leak[1]), (told[0], (1 - 1 / SUPPOSED_ODDS) * told_leak[0])


def _ratio(
    upper: tuple[Floats, Floats], lower: tuple[Floats, Floats] | None, size: int
) -> tuple[Floats, Floats, Floats, Floats]:
    if lower is None:
        return upper[0], np.ones(size), upper[1], np.zeros_like(upper[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        # where upper is 0 the product is 0 anyway, so the ratio does not matter
        ratio = np.where(upper[0] > 0, lower[0] / upper[0], 1.0)
        leak = np.where(upper[1] > 0, lower[1] / upper[1], 1.0)
    return upper[0], ratio, upper[1], leak
