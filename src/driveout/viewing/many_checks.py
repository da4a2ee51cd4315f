"""More checks on offer than can be planned exactly: keep the best, look one step beyond, state the gap.

From the checks with the greatest one-step worth those are kept, one after another, that add
most to the plan. A few of those left out are then tried as the first step, followed by a plan
over the best of the kept ("rollout"); if that is worth more, the check takes the place of the
weakest one. What is found this way can be done, so its value is a lower bound; knowing every
fault for nothing is an upper bound.
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
TRIED = 3
# Checks that are looked at when the kept ones are chosen, and drawn fault sets used for it.
POOL = 24
SELECTION_DRAWS = 1024
# A check must add at least this much to the plan to be chosen before the next most deserving.
LEAST_ADDED = 1e-6
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


def plan_many(viewing: FaultViewing, price: float, kept: int | None = None, tried: int = TRIED) -> ManyPlan:
    """Plan a viewing with any number of checks, at one price.

    Parameters
    ----------
    viewing
        The viewing.
    price
        Price asked now; it decides which checks are kept. [money]
    kept
        Checks to plan with; None for all if 14 or fewer are on offer, else 12.
    tried
        How many of the checks left out are tried as the first step.

    Returns
    -------
    ManyPlan
        Exact if no check had to be left out.
    """
    free = _unlimited(viewing)
    by_id = {check.id: check for check in viewing.checks}
    worths, order = _ranked(free, price)
    most = (
        MOST_CHECKS if kept is None and len(order) <= MOST_CHECKS else min(kept or KEPT_CHECKS, MOST_CHECKS)
    )
    best = _fitting(viewing, [by_id[name] for name in order], most)
    if len(best) < len(order):
        best = _one_after_another(free, [by_id[name] for name in order], most, price)
    plan = plan_faults(_with(viewing, best))
    value, first = plan.value(price), plan.first_step(price)
    inside = {check.id for check in best}
    candidates = [name for name in order if name not in inside and not by_id[name].after]
    for name in candidates[:tried]:
        reached = _rolled_out(viewing, best, by_id[name], price)
        if reached > value + 1e-9:
            best = _fitting(viewing, [by_id[name], *best], len(best))
            value, first = reached, name
            again = plan_faults(_with(viewing, best))
            plan = again if again.value(price) >= plan.value(price) else plan
    if plan.value(price) >= value:
        value, first = plan.value(price), plan.first_step(price)
    inside = {check.id for check in plan.viewing.checks}
    left_out = tuple(name for name in order if name not in inside)
    return ManyPlan(plan, worths, left_out, first, value, knowing_all(viewing, price) if left_out else value)


def _unlimited(viewing: FaultViewing) -> FaultViewing:
    """The viewing without rules that forbid buying: under them one check alone often changes nothing."""
    drawn = viewing.drawn if viewing.drawn is None else replace(viewing.drawn, most_loss=1.0)
    return replace(viewing, drawn=drawn, limit_known=None, room=0.0, serious=frozenset())


def _ranked(viewing: FaultViewing, price: float) -> tuple[tuple[CheckWorth, ...], list[str]]:
    """Worth of each check at the price asked, and the order in which checks deserve a place.

    The order also looks at the price at which buying just pays: after haggling that is where
    a check decides most.
    """
    plans = [plan_faults(_with(viewing, [replace(check, after={})])) for check in viewing.checks]
    turning = plans[0].ceiling_without_checks if plans else price
    at_price = worth_of_each(viewing, price, plans)
    at_turn = worth_of_each(viewing, min(price, turning), plans)
    deserved = {a.name: max(a.net, b.net) for a, b in zip(at_price, at_turn, strict=True)}
    return (
        tuple(sorted(at_price, key=lambda worth: -worth.net)),
        sorted(deserved, key=lambda name: -deserved[name]),
    )


def _one_after_another(
    viewing: FaultViewing, order: list[FaultCheck], most: int, price: float
) -> list[FaultCheck]:
    """Checks that together make the best plan, chosen greedily from the most deserving."""
    by_id = {check.id: check for check in order}
    drawn = viewing.drawn
    if drawn is not None:
        few = slice(0, SELECTION_DRAWS)
        drawn = replace(drawn, states=drawn.states[few], extra=drawn.extra[few], loss=drawn.loss[few])
    small = replace(viewing, drawn=drawn)
    turning = min(price, plan_faults(_with(small, [])).ceiling_without_checks)
    pool = order[:POOL]
    kept: list[FaultCheck] = []
    value = 0.0
    while len(kept) < most:
        best_value, best_set = value, kept
        for check in pool:
            wanted = [c for c in _with_earlier(check, by_id) if c not in kept]
            together = [*kept, *wanted]
            if wanted and len(together) <= most and _positions(viewing, together) <= MOST_POSITIONS:
                reached = plan_faults(_with(small, together)).value(turning)
                if reached > best_value + LEAST_ADDED:
                    best_value, best_set = reached, together
        if best_set is kept:
            break
        kept, value = best_set, best_value
    return _fitting(viewing, [*kept, *(check for check in order if check not in kept)], most)


def worth_of_each(
    viewing: FaultViewing, price: float, plans: Sequence[FaultPlan] | None = None
) -> list[CheckWorth]:
    """Worth of every check alone, however many there are.

    Parameters
    ----------
    viewing
        The viewing.
    price
        Price asked. [money]
    plans
        A plan for each check alone, if they are made already.

    Returns
    -------
    list[CheckWorth]
        In the order of the checks.
    """
    if plans is None:
        plans = [plan_faults(_with(viewing, [replace(check, after={})])) for check in viewing.checks]
    worths = []
    for check, plan in zip(viewing.checks, plans, strict=True):
        (worth,) = plan.worth_alone(price)
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
    margins = viewing.resale - np.arange(BINS) * width - viewing.price_factor * price
    bound = float(np.maximum(margins, 0.0) @ np.maximum(chances, 0.0))
    if viewing.drawn is not None and viewing.ceiling_known is not None:
        # Letting the car go instead of mending it adds to the worth of every set of faults.
        summed = plan_faults(
            replace(viewing, checks=(), drawn=None, room=0.0, ceiling_known=None, limit_known=None)
        )
        bound += max(0.0, viewing.price_factor * (viewing.ceiling_known - summed.ceiling_without_checks))
    return bound
