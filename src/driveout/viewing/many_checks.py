"""More checks on offer than can be planned exactly: keep the best, look one step beyond, state the gap.

From the checks with the greatest one-step worth those are kept, one after another, that add
most to the plan. A few of those left out are then tried as the first step, followed by a plan
over the best of the kept ("rollout"); if that is worth more, the check takes the place of the
weakest one. What is found this way can be done, so its value is a lower bound; knowing every
fault for nothing is an upper bound.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from driveout.faults import infer
from driveout.viewing.decide import CheckWorth
from driveout.viewing.fault_draws import drawn_with_any
from driveout.viewing.fault_plan import FaultPlan, plan_faults
from driveout.viewing.fault_sums import MOST_CHECKS, MOST_POSITIONS
from driveout.viewing.fault_viewing import DrawnWorth, FaultCheck, FaultViewing

KEPT_CHECKS = 12
ROLLOUT_CHECKS = 8
TRIED = 3
# Checks that are looked at when the kept ones are chosen, and drawn fault sets used for it.
POOL = 16
DRAFT_DRAWS = 1024
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
        One-step worth of every check on offer, best first; rules that forbid buying left aside.
    left_out
        Checks that are not in the plan.
    price
        Price that it was made for. [money]
    """

    plan: FaultPlan
    worths: tuple[CheckWorth, ...]
    left_out: tuple[str, ...]
    price: float

    @cached_property
    def first_step(self) -> str:
        """What to do first at the price planned for."""
        return self.plan.first_step(self.price)

    @cached_property
    def value(self) -> float:
        """Expected profit that following this advice reaches, in money."""
        return self.plan.value(self.price)

    @cached_property
    def most_value(self) -> float:
        """No plan over all the checks can reach more, in money."""
        return knowing_all(self.plan.viewing, self.price) if self.left_out else self.value

    @property
    def gap(self) -> float:
        """At most this much is given up against the best plan over all checks, in money."""
        return max(0.0, self.most_value - self.value)


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
    draft = _draft(viewing)
    by_id = {check.id: check for check in viewing.checks}
    worths, order = _ranked(draft, price)
    most = (
        MOST_CHECKS if kept is None and len(order) <= MOST_CHECKS else min(kept or KEPT_CHECKS, MOST_CHECKS)
    )
    best = _fitting(viewing, [by_id[name] for name in order], most)
    if len(best) == len(order):
        return ManyPlan(plan_faults(_with(viewing, best)), worths, (), price)
    best = _one_after_another(draft, [by_id[name] for name in order], most, price)
    plans = [plan_faults(_with(viewing, best))]
    inside = {check.id for check in best}
    candidates = [by_id[name] for name in order if name not in inside and not by_id[name].after]
    better = _rolled_out(draft, best, candidates[:tried], price)
    if better is not None:
        plans.append(plan_faults(_with(viewing, better)))
    plan = max(plans, key=lambda plan: plan.value(price))
    inside = {check.id for check in plan.viewing.checks}
    return ManyPlan(plan, worths, tuple(name for name in order if name not in inside), price)


def _draft(viewing: FaultViewing) -> FaultViewing:
    """The viewing as it is used to choose among checks: quicker, and without rules that forbid buying.

    Under such rules one check alone often changes nothing. Work that faults share is counted in
    the drawn fault sets where there are any, which spares a pass for each.
    """
    drawn = viewing.drawn
    shared = viewing.shared
    if drawn is not None:
        few = slice(0, DRAFT_DRAWS)
        states = drawn.states[few]
        together = sum(
            (group.cost * drawn_with_any(viewing.compiled, states, group.faults) for group in shared),
            start=np.zeros(len(states)),
        )
        drawn = DrawnWorth(
            states,
            drawn.columns[few],
            drawn.summed[few] + together,
            drawn.worth[few],
            drawn.slope[few],
            drawn.prices,
            drawn.loss[few],
        )
        shared = ()
    return replace(viewing, drawn=drawn, shared=shared, limit_known=None, room=0.0, serious=frozenset())


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
    turning = min(price, plan_faults(_with(viewing, [])).ceiling_without_checks)
    pool = order[:POOL]
    kept: list[FaultCheck] = []
    value = 0.0
    while len(kept) < most:
        best_value, best_set = value, kept
        for check in pool:
            wanted = [c for c in _with_earlier(check, by_id) if c not in kept]
            together = [*kept, *wanted]
            if wanted and len(together) <= most and _positions(viewing, together) <= MOST_POSITIONS:
                reached = plan_faults(_with(viewing, together)).value(turning)
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


def _rolled_out(
    viewing: FaultViewing, kept: list[FaultCheck], candidates: Sequence[FaultCheck], price: float
) -> list[FaultCheck] | None:
    """The kept checks with one of the candidates in place of the weakest, if that is worth more.

    A candidate is done first, whatever it shows, and then the best plan over a few of the kept
    checks is followed.
    """
    small = _fitting(viewing, [check for check in kept if not check.after], ROLLOUT_CHECKS)
    most = plan_faults(_with(viewing, kept)).value(price)
    better = None
    for first in candidates:
        reached = plan_faults(_with(viewing, [first, *small])).value_of_doing(first.id, price)
        if reached > most + LEAST_ADDED:
            most, better = reached, _fitting(viewing, [first, *kept], len(kept))
    return better


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
    roots = np.exp(-2j * np.pi * np.arange(BINS) / BINS)
    wave = np.arange(BINS // 2 + 1)
    turned = np.ones((len(terms.weight), len(wave)), dtype=complex)
    for factor, cost in zip(terms.factors, costs, strict=True):
        turned *= factor @ roots[np.outer(np.floor(cost / width).astype(np.int64), wave) % BINS]
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
