"""More checks on offer than can be planned exactly: keep the best, look one step beyond, state the gap.

The plan uses the 12 checks with the greatest one-step worth. Every check left out is then
tried as the first step, followed by a plan over the 8 best ("rollout"); if that is worth
more, the check takes the place of the weakest one kept. What is found this way can be done, so
its value is a lower bound; knowing every fault for nothing is an upper bound.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from driveout.errors import CannotSay
from driveout.faults import infer
from driveout.viewing.decide import CheckWorth
from driveout.viewing.fault_plan import FaultPlan, plan_faults
from driveout.viewing.fault_sums import MOST_CHECKS, MOST_POSITIONS
from driveout.viewing.fault_viewing import FaultCheck, FaultViewing

KEPT_CHECKS = 12
ROLLOUT_CHECKS = 8
# Bins of the cost lattice behind the upper bound; costs are rounded down to it.
BINS = 4096


@dataclass(frozen=True, eq=False)
class ManyPlan:
    """A plan over the best of many checks.

    Parameters
    ----------
    plan
        Exact plan over the checks kept.
    worths
        One-step worth of every check on offer, best first.
    left_out
        Checks that are not in the plan.
    first_step
        What to do first at the price planned for.
    value
        Expected profit that following this advice reaches at least. [money]
    most_value
        No plan over all the checks can reach more. [money]
    """

    plan: FaultPlan
    worths: tuple[CheckWorth, ...]
    left_out: tuple[str, ...]
    first_step: str
    value: float
    most_value: float

    @property
    def gap(self) -> float:
        """At most this much is given up against the best plan over all checks, in money."""
        return max(0.0, self.most_value - self.value) if self.left_out else 0.0


def plan_many(viewing: FaultViewing, price: float) -> ManyPlan:
    """Plan a viewing with any number of checks, at one price.

    Parameters
    ----------
    viewing
        The viewing.
    price
        Price asked now; it decides which checks are kept. [money]

    Returns
    -------
    ManyPlan
        Exact if 14 checks or fewer are on offer.
    """
    worths = tuple(sorted(worth_of_each(viewing, price), key=lambda worth: -worth.net))
    order = [worth.name for worth in worths]
    by_id = {check.id: check for check in viewing.checks}
    exact = len(order) <= MOST_CHECKS and _positions(viewing, viewing.checks) <= MOST_POSITIONS
    kept = list(viewing.checks) if exact else _fitting(viewing, [by_id[name] for name in order], KEPT_CHECKS)
    plan = plan_faults(_with(viewing, kept))
    value, first = plan.value(price), plan.first_step(price)
    outside = [name for name in order if name not in {check.id for check in kept}]
    for name in outside:
        if by_id[name].after:
            continue
        reached = _rolled_out(viewing, kept, by_id[name], price)
        if reached > value + 1e-9:
            kept = _fitting(viewing, [by_id[name], *kept], len(kept))
            value, first = reached, name
            again = plan_faults(_with(viewing, kept))
            if again.value(price) >= plan.value(price):
                plan = again
    kept_ids = {check.id for check in plan.viewing.checks}
    if plan.value(price) >= value:
        value, first = plan.value(price), plan.first_step(price)
    left_out = tuple(name for name in order if name not in kept_ids)
    return ManyPlan(
        plan, worths, left_out, first, value, value if not left_out else knowing_all(viewing, price)
    )


def worth_of_each(viewing: FaultViewing, price: float) -> list[CheckWorth]:
    """Worth of every check alone, however many there are.

    Parameters
    ----------
    viewing
        The viewing.
    price
        Price asked. [money]

    Returns
    -------
    list[CheckWorth]
        In the order of the checks.
    """
    worths = []
    for check in viewing.checks:
        alone = replace(check, after={})
        (worth,) = plan_faults(_with(viewing, [alone])).worth_alone(price)
        waits = "".join(
            f"only after {earlier}" + (f" with outcome {o}" if o else "")
            for earlier, o in check.after.items()
        )
        worths.append(replace(worth, allowed=worth.allowed and not waits, why_not=waits or worth.why_not))
    return worths


def _with(viewing: FaultViewing, checks: Sequence[FaultCheck]) -> FaultViewing:
    """The viewing with only these checks on offer; rules about others fall away."""
    ids = {check.id for check in checks}
    return replace(
        viewing,
        checks=tuple(checks),
        one_of=tuple(names & ids for names in viewing.one_of if len(names & ids) > 1),
    )


def _positions(viewing: FaultViewing, checks: Sequence[FaultCheck]) -> int:
    return int(np.prod([len(viewing.outcomes(check)) + 1 for check in checks], dtype=float)) if checks else 1


def _fitting(viewing: FaultViewing, order: list[FaultCheck], most: int) -> list[FaultCheck]:
    """The best checks that fit, each with the checks that it must come after."""
    by_id = {check.id: check for check in order}
    kept: list[FaultCheck] = []
    for check in order:
        wanted = [c for c in _with_earlier(check, by_id) if c not in kept]
        fits = len(kept) + len(wanted) <= most and _positions(viewing, [*kept, *wanted]) <= MOST_POSITIONS
        if fits:
            kept += wanted
    return kept


def _with_earlier(check: FaultCheck, by_id: dict[str, FaultCheck]) -> list[FaultCheck]:
    """A check after those that it needs."""
    needed: list[FaultCheck] = []
    for name in check.after:
        if name in by_id:
            needed += [c for c in _with_earlier(by_id[name], by_id) if c not in needed]
    return [*needed, check]


def _rolled_out(viewing: FaultViewing, kept: list[FaultCheck], first: FaultCheck, price: float) -> float:
    """Expected profit of one check first and then the plan over the best few of those kept."""
    small = _fitting(viewing, [check for check in kept if not check.after], ROLLOUT_CHECKS)
    barred = {name for names in viewing.one_of if first.id in names for name in names}
    small = [check for check in small if check.id not in barred]
    left = replace(viewing, minutes_available=viewing.minutes_available - first.minutes)
    if left.minutes_available < 0.0:
        return 0.0
    whole = infer(viewing.compiled, viewing.evidence).evidence_probability
    total = -viewing.cost_of(first)
    for outcome in viewing.outcomes(first):
        evidence = {**viewing.evidence, **viewing.shown(first, outcome)}
        try:
            after = plan_faults(replace(_with(left, small), evidence=evidence))
            share = after.chance_of_evidence / whole
        except CannotSay:  # this outcome cannot happen with what is known
            continue
        total += (1.0 - first.lose_deal) * share * after.value(price)
    return total


def knowing_all(viewing: FaultViewing, price: float) -> float:
    """Expected profit if every fault were known for nothing: no plan can reach more.

    The distribution of the total cost is exact on a lattice to which costs are rounded down,
    and labour that faults share is left out, so the result is never too low.

    Parameters
    ----------
    viewing
        The viewing.
    price
        Price asked. [money]

    Returns
    -------
    float
        Upper bound of the value of any plan. [money]
    """
    terms = infer(viewing.compiled, viewing.evidence).terms()
    causes = viewing.compiled.network.cause
    costs = [
        np.array(
            [0.0, *(viewing.costs.get(causes[name].fault_of(state), 0.0) for state in causes[name].states)]
        )
        for name in terms.causes
    ]
    most = sum(float(cost.max()) for cost in costs)
    width = max(most, 1e-9) / (BINS - 1)
    wave = 2.0 * np.pi * np.arange(BINS // 2 + 1) / BINS
    turned = np.ones((len(terms.weight), len(wave)), dtype=complex)
    for factor, cost in zip(terms.factors, costs, strict=True):
        turned *= factor @ np.exp(-1j * np.outer(np.floor(cost / width), wave))
    chances = np.fft.irfft(terms.weight @ turned, BINS) / terms.normaliser
    margins = viewing.resale - np.arange(BINS) * width - price
    return float(np.maximum(margins, 0.0) @ np.maximum(chances, 0.0))
