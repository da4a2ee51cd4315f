"""A viewing of one car as plain values: what is known, what may be checked, what faults cost."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product
from math import inf

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry
from driveout.faults import Compiled, Network


@dataclass(frozen=True)
class FaultCheck:
    """A check on offer.

    Parameters
    ----------
    id
        Name by which the plan knows it.
    findings
        Findings of the network that it shows, all at once.
    name
        What it is called on the screen.
    cost
        Money it takes. [money]
    minutes
        Own time it takes. [min]
    lose_deal
        Chance that the seller loses patience over it.
    after
        Checks that must have been done before, with the outcome needed or an empty text.
    caution
        What can hurt while doing it.
    how
        How it is done and what counts as which outcome.
    """

    id: str
    findings: tuple[str, ...]
    name: str = ""
    cost: float = 0.0
    minutes: float = 0.0
    lose_deal: float = 0.0
    after: Mapping[str, str] = field(default_factory=dict)
    caution: str = ""
    how: str = ""


@dataclass(frozen=True)
class SharedCost:
    """Work that is paid once if any of these faults is there (engine out once)."""

    faults: frozenset[str]
    cost: float


@dataclass(frozen=True, eq=False)
class DrawnWorth:
    """What a sum over faults leaves out, on fault sets drawn from what is known.

    A car that proves too bad is let go instead of mended, so what it is worth is not quite a
    sum over its faults; and a rule about losses looks at the whole distribution. Both are
    taken from drawn sets. The exact sum serves as a control: the mean worth over the draws is
    corrected by ``slope`` times what the draws miss of the exact sum.

    Parameters
    ----------
    states
        State of every cause of the network in each draw, 0 for absent. (N, causes)
    columns
        Column of every inner cause of the compiled network in each draw: the state, and how it
        shows in findings that share misses and false alarms. (N, inner causes)
    summed
        Worth of each draw by the sum over its faults. [money] (N,)
    worth
        Expected worth of each draw, all told. [money] (N,)
    slope
        How far the worth of each draw follows its sum: 1 if it is mended anyhow, 0 if it is let
        go anyhow. (N,)
    prices
        Rising prices at which the chance of a loss was computed. [money] (G,)
    loss
        Chance of a loss in each draw when bought at each price. (N, G)
    most_loss
        Greatest chance of a loss at which buying is permitted, at each position by itself;
        1 for no such rule. See `FaultViewing.most_serious_chance` on what this means.
    below
        Filled as it is needed: chance of each finding's outcomes in each draw.
    """

    states: NDArray[np.int64]
    columns: NDArray[np.int64]
    summed: NDArray[np.float64]
    worth: NDArray[np.float64]
    slope: NDArray[np.float64]
    prices: NDArray[np.float64]
    loss: NDArray[np.float64]
    most_loss: float = 1.0
    below: dict[str, NDArray[np.float64]] = field(default_factory=dict, repr=False)


@dataclass(frozen=True, eq=False)
class FaultViewing:
    """A viewing of one car, ready to be planned.

    Parameters
    ----------
    compiled
        The fault network.
    evidence
        What is known already, as for ``faults.infer``.
    checks
        Checks on offer.
    resale
        What the car brings when no fault is there, all costs of selling taken off. [money]
    costs
        Expected cost of each fault, own hours charged at the wage. [money]
    shared
        Labour shared by several faults.
    wage_per_hour
        What an hour of own time is worth. [money/h]
    minutes_available
        Time there is for checks. [min]
    one_of
        Sets of checks of which at most one may be done.
    serious
        Faults with which the car must not be bought if they are too likely.
    most_serious_chance
        Greatest chance of any serious fault at which buying is permitted. It is a rule for
        each position and not something that is made best: a plan under such a rule may
        prefer knowing less (docs/method/viewing.md).
    price_factor
        What each unit of the price costs in all: 1, tax, capital tied up.
    drawn
        What the sum over faults leaves out.
    room
        Buying is permitted only this far under the price by expected profit: what rules about
        risk that cannot be followed from position to position take off now. [money]
    ceiling_known, limit_known
        Walk-away price by expected profit, and by the rule about losses, as computed exactly
        elsewhere for what is known now; both sums are shifted to agree with them. [money]
    """

    compiled: Compiled
    evidence: Mapping[str, str]
    checks: tuple[FaultCheck, ...]
    resale: float
    costs: Mapping[str, float]
    shared: tuple[SharedCost, ...] = ()
    wage_per_hour: float = 0.0
    minutes_available: float = inf
    one_of: tuple[frozenset[str], ...] = ()
    serious: frozenset[str] = frozenset()
    most_serious_chance: float = 1.0
    price_factor: float = 1.0
    drawn: DrawnWorth | None = None
    room: float = 0.0
    ceiling_known: float | None = None
    limit_known: float | None = None

    @property
    def is_bare(self) -> bool:
        """True if nothing but the sum over faults decides."""
        return (
            not (self.shared or self.serious)
            and self.drawn is None
            and self.ceiling_known is None
            and self.price_factor == 1.0
            and self.room == 0.0
        )

    def cost_of(self, check: FaultCheck) -> float:
        """Money plus own time of a check, in money."""
        return check.cost + self.wage_per_hour * check.minutes / 60.0

    def outcomes(self, check: FaultCheck) -> tuple[str, ...]:
        """Outcomes of a check, see `outcomes_of`."""
        return outcomes_of(self.compiled.network, check)

    def shown(self, check: FaultCheck, outcome: str) -> dict[str, str]:
        """What an outcome of a check says, see `shown_by`."""
        return shown_by(self.compiled.network, check, outcome)


def outcomes_of(network: Network, check: FaultCheck) -> tuple[str, ...]:
    """Outcomes of a check; of several findings, every combination, joined with ``, ``.

    Parameters
    ----------
    network
        The fault network.
    check
        The check.

    Returns
    -------
    tuple[str, ...]
        Names of the outcomes.

    Raises
    ------
    BadEntry
        If it shows a finding that no check can show.
    """
    for finding in check.findings:
        if finding not in network.finding or network.finding[finding].kind != "check":
            raise BadEntry(
                f"Check {check.id!r} shows {finding!r}, which no check of the network can show.",
                field="checks",
                value=finding,
            )
    return tuple(", ".join(row) for row in product(*(network.finding[f].outcomes for f in check.findings)))


def shown_by(network: Network, check: FaultCheck, outcome: str) -> dict[str, str]:
    """What an outcome of a check says, finding by finding.

    Parameters
    ----------
    network
        The fault network.
    check
        The check.
    outcome
        One of its outcomes.

    Returns
    -------
    dict[str, str]
        Evidence as for ``faults.infer``.

    Raises
    ------
    BadEntry
        If the check has no such outcome.
    """
    names = outcomes_of(network, check)
    if outcome not in names:
        raise BadEntry(
            f"Check {check.id!r} has no outcome {outcome!r}.",
            field="outcome",
            value=outcome,
            allowed="; ".join(names),
        )
    rows = list(product(*(network.finding[f].outcomes for f in check.findings)))
    return dict(zip(check.findings, rows[names.index(outcome)], strict=True))


def answer_words(network: Network, check: FaultCheck, outcome: str) -> str:
    """What stands on the answer button of an outcome.

    Parameters
    ----------
    network
        The fault network.
    check
        The check.
    outcome
        One of its outcomes.

    Returns
    -------
    str
        The outcome; of several findings, those that show.
    """
    shown = shown_by(network, check, outcome)
    if len(shown) == 1:
        return outcome[:1].upper() + outcome[1:]
    named = []
    for finding, label in shown.items():
        known = network.finding[finding]
        if label != known.outcomes[0]:
            named.append(known.name if len(known.outcomes) == 2 else f"{known.name}: {label}")
    if not named:
        return "None of these"
    return "Only: " + named[0] if len(named) == 1 else "Both: " + " and ".join(named)
