"""What is really the case with a car: faults drawn from a network, and what they would show.

Everything is drawn once, when the car is made, so that two ways of deciding see the very same
car. Whoever decides is handed the advert and asks for checks; never what is here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from driveout.faults import ABSENT, SILENT, Beta, Cause, Finding, Link, Network, Odds


@dataclass(frozen=True)
class Truth:
    """The hidden state of a car as far as its network goes.

    Parameters
    ----------
    roots
        State of each root, such as the care taken.
    states
        State of each cause, ``absent`` where nothing is wrong.
    faults
        Ids of the faults that are there, as repairs know them.
    says
        What the advert states, by finding; what it is silent about is not in here.
    shows
        What each check would show, by finding.
    """

    roots: Mapping[str, str]
    states: Mapping[str, str]
    faults: frozenset[str]
    says: Mapping[str, str]
    shows: Mapping[str, str]


def draw_truth(network: Network, rng: np.random.Generator) -> Truth:
    """Draw a car: its roots, its faults and what they show, in the order of cause and effect.

    Parameters
    ----------
    network
        The network that nature goes by; it need not be the one that anybody believes in.
    rng
        Source of randomness.

    Returns
    -------
    Truth
        The car.

    References
    ----------
    heckerman-1989; own-reasoning, docs/method/simulate.md, the hidden truth.
    """
    roots = {
        root.id: root.states[int(rng.choice(len(root.states), p=np.array(root.probabilities)))]
        for root in network.roots
    }
    at = {root.id: root.states.index(roots[root.id]) for root in network.roots}
    states: dict[str, str] = {}
    # As many passes as there are causes at most: a child is drawn when its parents are.
    parents = {arc.child: [a for a in network.arcs if a.child == arc.child] for arc in network.arcs}
    waiting = list(network.causes)
    while waiting:
        ready = [c for c in waiting if all(a.parent in states for a in parents.get(c.id, ()))]
        for cause in ready or waiting:
            states[cause.id] = _state(cause, at, rng)
            for arc in parents.get(cause.id, ()):
                parent = states.get(arc.parent, ABSENT)
                there = parent in arc.parent_states if arc.parent_states else parent != ABSENT
                if there and rng.random() < arc.strength.mean and states[cause.id] == ABSENT:
                    states[cause.id] = arc.child_state or cause.states[0].id
        waiting = [c for c in waiting if c.id not in states]
    faults = frozenset(
        cause.fault_of(state)
        for cause in network.causes
        for state in cause.states
        if states[cause.id] == state.id
    )
    shown = {finding.id: _shown(finding, states, at, rng) for finding in network.findings}
    kinds = {finding.id: finding.kind for finding in network.findings}
    return Truth(
        roots,
        states,
        faults,
        {name: label for name, label in shown.items() if kinds[name] == "advert" and label != SILENT},
        {name: label for name, label in shown.items() if kinds[name] == "check"},
    )


def _state(cause: Cause, at: Mapping[str, int], rng: np.random.Generator) -> str:
    if rng.random() >= _moved(cause.prior, cause.odds, at):
        return ABSENT
    shares = np.array([state.share for state in cause.states])
    return cause.states[int(rng.choice(len(shares), p=shares / shares.sum()))].id


def _moved(belief: Beta, odds: tuple[Odds, ...], at: Mapping[str, int]) -> float:
    """A probability as the roots move it: its odds times a factor each."""
    chance = belief.mean
    if not odds or chance in (0.0, 1.0):
        return chance
    ratio = chance / (1.0 - chance)
    for one in odds:
        ratio *= one.factors[at[one.root]]
    return ratio / (1.0 + ratio)


def _shown(
    finding: Finding, states: Mapping[str, str], at: Mapping[str, int], rng: np.random.Generator
) -> str:
    """The worst outcome that any fault present, or nothing at all, brings about (noisy-MAX)."""
    worst = _one(tuple(_moved(b, finding.odds, at) for b in finding.false_alarm), rng)
    for link in finding.links:
        if _speaks(link, states):
            worst = max(worst, _one(tuple(b.mean for b in link.given), rng))
    if finding.kind == "advert" and (worst == 0 or rng.random() >= finding.mention.mean):
        return SILENT
    return finding.outcomes[worst]


def _speaks(link: Link, states: Mapping[str, str]) -> bool:
    state = states[link.cause]
    return state != ABSENT and link.state in ("*", state)


def _one(chances: tuple[float, ...], rng: np.random.Generator) -> int:
    draw, sum_so_far = rng.random(), 0.0
    for outcome, chance in enumerate(chances, start=1):
        sum_so_far += chance
        if draw < sum_so_far:
            return outcome
    return 0
