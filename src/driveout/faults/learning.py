"""What finished cars teach: expected counts that are added to the pack's beliefs.

For a car whose evidence E is known, each belief gains the expected number of cases for and
against it. A cause that a positive finding needs not be the one that showed it, so the count
*for* a link is ``P(cause, it alone showed the finding, E) / P(E)``; since its own showing
makes the finding positive whatever the others do, that is ``q P(cause, E without the finding) /
P(E)``. This is one step of expectation maximisation with the pack as prior.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from driveout.faults.compiled import compile_network
from driveout.faults.network import SILENT, SUPPOSED, Beta, Finding, Network
from driveout.faults.pack import Pack
from driveout.faults.posterior import infer, read_evidence, weigh

LEARNED = "own finished cars"


@dataclass(frozen=True)
class Tally:
    """Expected cases for and against each belief that one car speaks about."""

    priors: Mapping[str, tuple[float, float]]  # fault
    shows: Mapping[tuple[str, str], tuple[float, float]]  # finding, fault
    alarms: Mapping[str, tuple[float, float]]  # finding


def tally(network: Network, evidence: Mapping[str, str]) -> Tally:
    """Expected counts from one car.

    Findings with two outcomes teach about links and false alarms; graded ones only about the
    faults. Findings of one group are counted as if independent given the faults.

    Parameters
    ----------
    network
        The network of the car.
    evidence
        What was said, found and proved about it.

    Returns
    -------
    Tally
        Counts for and against.

    Raises
    ------
    CannotSay
        When the evidence contradicts itself.
    """
    answer = infer(network, evidence)
    priors = {fault: (p, 1 - p) for fault, p in answer.faults.items()}
    shows: dict[tuple[str, str], tuple[float, float]] = {}
    alarms: dict[str, tuple[float, float]] = {}
    for name, label in evidence.items():
        finding = network.finding.get(name)
        if finding is None or len(finding.outcomes) != 2:
            continue
        if label == SUPPOSED:  # a guess teaches nothing about what a fault shows
            continue
        if label == SILENT and finding.kind != "advert":
            continue
        without, ratio = answer.faults, 1.0
        if label == finding.outcomes[1]:
            rest = {k: v for k, v in evidence.items() if k != name}
            compiled = compile_network(network)
            total, _ = weigh(read_evidence(compiled, rest))
            without, ratio = infer(network, rest).faults, total / answer.evidence_probability
        for fault, shown in _links(network, finding):
            here = answer.faults[fault]
            own = _own_showing(finding, label, shown.mean, here, without[fault] * ratio)
            shows[name, fault] = (own, max(here - own, 0.0))
        own = _own_showing(finding, label, finding.false_alarm[0].mean, 1.0, ratio)
        alarms[name] = (own, max(1 - own, 0.0))
    return Tally(priors, shows, alarms)


def _links(network: Network, finding: Finding) -> Iterable[tuple[str, Beta]]:
    for link in finding.links:
        cause = network.cause[link.cause]
        for state in cause.states:
            if link.state in ("*", state.id):
                yield cause.fault_of(state), link.given[0]


def _own_showing(finding: Finding, label: str, q: float, here: float, without: float) -> float:
    """Expected number of times that the cause itself showed the finding in this car, 0 to 1."""
    mention = finding.mention.mean if finding.kind == "advert" else 1.0
    if label == finding.outcomes[1]:
        stated = mention * q * without  # shown by it and stated
        unstated = (1 - mention) * q / (1 - mention * q) * max(here - stated, 0.0) if mention < 1 else 0.0
        return min(stated + unstated, here)
    if label == SILENT:
        return here * q * (1 - mention) / (1 - mention * q) if mention * q < 1 else 0.0
    return 0.0


def learned(pack: Pack, cars: Iterable[tuple[str, Tally]]) -> Pack:
    """The pack with the counts of finished cars added.

    Parameters
    ----------
    pack
        The pack so far.
    cars
        Advert class and tally of each car.

    Returns
    -------
    Pack
        Beliefs that were spoken about carry ``own finished cars`` in their origin.
    """
    priors: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0.0, 0.0])
    shows: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0.0, 0.0])
    alarms: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
    count = 0
    for advert_class, one in cars:
        count += 1
        for fault, pair in one.priors.items():
            _add(priors[advert_class, fault], pair)
        for key, pair in one.shows.items():
            _add(shows[key], pair)
        for name, pair in one.alarms.items():
            _add(alarms[name], pair)
    if not count:
        return pack
    faults = {
        key: replace(
            fault,
            prior={c: _more(b, priors.get((c, key))) for c, b in fault.prior.items()},
        )
        for key, fault in pack.faults.items()
    }
    signs = {
        key: replace(
            sign,
            shows={
                fault: (_more(row[0], shows.get((key, fault))),) if len(row) == 1 else row
                for fault, row in sign.shows.items()
            },
            false_alarm=(_more(sign.false_alarm[0], alarms.get(key)),)
            if len(sign.false_alarm) == 1
            else sign.false_alarm,
        )
        for key, sign in pack.signs.items()
    }
    return replace(pack, faults=faults, signs=signs)


def _add(sums: list[float], pair: tuple[float, float]) -> None:
    sums[0] += pair[0]
    sums[1] += pair[1]


def _more(belief: Beta, counts: list[float] | None) -> Beta:
    if counts is None or counts[0] + counts[1] == 0:
        return belief
    origin = belief.origin if LEARNED in belief.origin else f"{belief.origin}; {LEARNED}"
    return Beta(belief.a + counts[0], belief.b + counts[1], origin)
