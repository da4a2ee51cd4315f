"""Which check next at one car: the plan over the best checks, with its reasons in words."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import floor, inf

import numpy as np
from numpy.typing import NDArray

from driveout.faults import Network, Pack, Posterior
from driveout.outlook import Ceiling, Forecast
from driveout.units import Money, minor_digits
from driveout.viewing.decide import CheckWorth
from driveout.viewing.fault_viewing import FaultCheck
from driveout.viewing.from_case import check_on_offer, viewing_of
from driveout.viewing.many_checks import ManyPlan, plan_many
from driveout.viewing.policy import Policy

# A check with many findings (fault codes) is planned for the two that it is most often about.
MOST_FINDINGS = 2
KEPT = 8
PRICES = 61
STAGES_AT_THE_CAR = ("paper", "walk", "bonnet", "start", "drive", "under")
# What a car of each class cannot do, so that checks which need it fall away.
CANNOT: Mapping[str, frozenset[str]] = {
    "runner": frozenset(),
    "sick": frozenset(),
    "dead": frozenset({"runs", "drives"}),
}


@dataclass(frozen=True, eq=False)
class CarPlan:
    """What to do next at a car, and why, in money.

    Parameters
    ----------
    plan
        Plan over the checks kept.
    price
        Price that it was made for.
    ceiling
        Walk-away price by what is known now, by the person's own rules.
    with_checks
        Walk-away price when the planned checks may still be done: above it not even going on
        looking pays.
    checks
        Checks on offer, by id.
    needs
        What each check needs, in words.
    """

    plan: ManyPlan
    price: Money
    ceiling: Ceiling
    with_checks: Money
    checks: Mapping[str, FaultCheck]
    needs: Mapping[str, str]

    @property
    def step(self) -> str:
        """Id of the check to do next, or ``buy`` or ``walk``."""
        return self.plan.first_step

    @property
    def check(self) -> FaultCheck | None:
        """The check to do next, if there is one."""
        return self.checks.get(self.step)

    @property
    def gain(self) -> Money:
        """What going on with the checks is worth over deciding now."""
        now = self.plan.plan.value_without_checks(float(self.price.minor))
        return Money(round(self.plan.value - now), self.price.currency)

    @property
    def gap(self) -> Money:
        """At most this much is given up by planning with the best checks only."""
        return Money(round(self.plan.gap), self.price.currency)

    def worth(self, check_id: str) -> CheckWorth:
        """Worth of one check alone."""
        return next(worth for worth in self.plan.worths if worth.name == check_id)

    @property
    def why(self) -> tuple[str, ...]:
        """The advice in sentences."""
        limit, checked = self.ceiling.money.text(), self.with_checks.text()
        asked = self.price.text()
        if self.step == "buy":
            return (
                f"At {asked} buying now is best: no check is worth its time and money any more.",
                f"By your rules the car may cost up to {limit} as things stand.",
            )
        if self.step == "walk":
            return (
                f"At {asked} walking away is best: no check can change that at a price worth its time.",
                f"If the price falls to {checked} or less, looking further pays; without checks your limit is {limit}.",
            )
        check = self.checks[self.step]
        said = [
            f"Going on with the checks is worth {self.gain.text()} on average over deciding now at {asked}.",
            f"This one takes {check.minutes:g} min"
            + (f" and {Money(round(check.cost), self.price.currency).text()}" if check.cost else "")
            + f"; alone it is worth {Money(round(self.worth(self.step).gross), self.price.currency).text()}.",
        ]
        if self.worth(self.step).net <= 0.0:
            said.append("Alone it would not pay; it pays together with the checks that follow.")
        return tuple(said)


def checks_on_offer(
    pack: Pack, network: Network, known: Collection[str], advert_class: str, without: Collection[str] = ()
) -> tuple[FaultCheck, ...]:
    """Checks that can be done at the car and have not been done.

    Parameters
    ----------
    pack
        The knowledge pack.
    network
        Network of the car.
    known
        Findings that are recorded.
    advert_class
        ``runner``, ``sick`` or ``dead``: a car that does not run rules checks out.
    without
        Needs that are not met, such as ``permission`` or ``jack``.

    Returns
    -------
    tuple[FaultCheck, ...]
        In the order of the pack.
    """
    missing = CANNOT[advert_class] | frozenset(without)
    offered = []
    for check in pack.checks.values():
        if check.stage not in STAGES_AT_THE_CAR or missing & set(check.needs):
            continue
        open_ = [f for f in check.findings if f in network.finding and network.finding[f].kind == "check"]
        left = [f for f in open_ if f not in known]
        if left and len(left) == len(open_):
            offered.append(check_on_offer(check, tuple(left[:MOST_FINDINGS])))
    return tuple(offered)


def plan_for(
    made: Forecast,
    posterior: Posterior,
    ceiling: Ceiling,
    offered: tuple[FaultCheck, ...],
    needs: Mapping[str, str],
    price: Money,
    *,
    minutes: float = inf,
    kept: int = KEPT,
) -> CarPlan:
    """Plan a viewing of one car.

    Parameters
    ----------
    made
        The outlook.
    posterior
        Chances of the faults, from the same evidence.
    ceiling
        Walk-away price by what is known now.
    offered
        Checks on offer.
    needs
        What each check needs, in words.
    price
        Price asked now.
    minutes
        Time there is for checks. [min]
    kept
        Checks to plan with.

    Returns
    -------
    CarPlan
        Next step, reasons, worth of each check.
    """
    viewing = viewing_of(made.case, posterior, offered, minutes_available=minutes, known=(made, ceiling))
    many = plan_many(viewing, float(price.minor), kept)
    with_checks = Money(max(0, floor(many.plan.ceiling + 1e-6)), price.currency)
    return CarPlan(many, price, ceiling, with_checks, {check.id: check for check in offered}, needs)


def policy_for(made: CarPlan) -> Policy:
    """Advice for every position from here on, prices in whole units of the currency.

    Parameters
    ----------
    made
        The plan.

    Returns
    -------
    Policy
        For prices from a third of the price asked to a tenth above it, or above what checks
        can make of it.
    """
    return made.plan.plan.policy(_prices(made)).scaled(1.0 / 10 ** minor_digits(made.price.currency))


def policies_without(made: CarPlan, policy: Policy) -> dict[str, Policy]:
    """What is best where one check of the plan cannot be done.

    Parameters
    ----------
    made
        The plan.
    policy
        What ``policy_for`` made of it.

    Returns
    -------
    dict[str, Policy]
        By check: the advice from every position at which the plan asks for it, in whole units
        of the currency. Positions that the price alone does not lead to are not in it.
    """
    unit = 10 ** minor_digits(made.price.currency)
    prices = _prices(made)
    return {
        check: made.plan.plan.without(check)
        .policy(prices, starts={place: top * unit + 1e-6 for place, top in asked.items()})
        .scaled(1.0 / unit)
        for check, asked in asked_at(policy).items()
    }


def asked_at(policy: Policy) -> dict[str, dict[str, float]]:
    """By check the positions that ask for it, in the order of the walk, with the highest such price."""
    asked: dict[str, dict[str, float]] = {}
    for place in policy.in_order():
        node = policy.nodes.get(place)
        steps = node.steps if node else ()
        ends = [*(price for price, _ in steps[1:]), policy.price_range[1]]
        for (_, step), end in zip(steps, ends, strict=False):
            if step >= 0:
                asked.setdefault(policy.checks[step], {})[place] = end
    return asked


def _prices(made: CarPlan) -> NDArray[np.float64]:
    """Prices to plan for: whole units of the currency, in minor units."""
    unit = 10 ** minor_digits(made.price.currency)
    high = 1.1 * max(made.price.minor, made.with_checks.minor, unit * PRICES)
    low = min(0.3 * high, 0.5 * made.ceiling.price)
    whole: NDArray[np.float64] = np.unique((np.linspace(low, high, PRICES) / unit).round())
    return whole * float(unit)
