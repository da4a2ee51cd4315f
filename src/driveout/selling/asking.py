"""Working out the asking plan: what to ask now, when to come down, what to take today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from driveout.selling.believed import SaleNumbers, interest_at
from driveout.selling.demand import value_now
from driveout.selling.plan import AskingPlan, Step, plan_in_words
from driveout.selling.programme import Programme, solve
from driveout.selling.situation import BOTTLENECKS, SaleSituation, Spell
from driveout.units import Money

__all__ = [
    "BOTTLENECKS",
    "OTHER_SENSITIVITIES",
    "AskingPlan",
    "SaleSituation",
    "Spell",
    "Step",
    "asking_plan",
    "value_today",
]

# The ask is also worked out for buyers so much less and more sensitive to the price.
OTHER_SENSITIVITIES = (0.7, 1.0, 1.4)


def asking_plan(situation: SaleSituation) -> AskingPlan:
    """Best asking prices from now to the deadline, learning from enquiries and their absence.

    The exact programme of `driveout.selling.programme` gives the advice; the closed form explains
    it. The price never goes up by itself: it starts at or below what is asked now.

    Parameters
    ----------
    situation
        The car's sale as it stands.

    Returns
    -------
    AskingPlan
        Ask, take-it price, steps, costs of waiting and reasons.

    References
    ----------
    own-reasoning, docs/method/asking.md.
    """
    return _worked_out(situation)


@lru_cache(maxsize=128)
def _worked_out(situation: SaleSituation) -> AskingPlan:
    # A page is looked at far more often than the sale changes; the plan is a pure function of it.
    at = SaleNumbers.of(situation)
    programme = solve(at.demand, at.terms, highest_ask=at.asked_now)
    coarse = solve(
        at.demand, at.terms, highest_ask=at.asked_now, price_count=17, exposure_count=11, most_counts=22
    )
    sell_out_now = programme.choices[0][0, 0, -1] < 0
    ask = _finer_ask(programme)
    shown = at.rounded(ask) if at.asked_now is None or ask < at.asked_now - 1e-9 else at.asked_now
    if at.asked_now is not None:
        shown = min(shown, at.asked_now)
    value = programme.value
    steps, unsold, quiet_until = _course(programme, at, shown)
    simple = value_now(
        at.interest, at.net_alpha, at.holding, at.terms.fallback, float(situation.deadline_days)
    )
    simple_ask = at.terms.gross(simple + 1 / at.net_alpha)
    others = tuple(_simple_ask(situation, at, factor) for factor in OTHER_SENSITIVITIES[::2])
    money = at.money
    plan = AskingPlan(
        situation=situation,
        ask=money(shown),
        take_it=money(at.terms.gross(value)),
        sell_out_now=bool(sell_out_now),
        expected=money(value),
        steps=steps,
        median_days=_median_day(steps),
        unsold_at_deadline=unsold,
        quiet_until=quiet_until,
        waiting_per_day=money(at.holding + at.demand.depreciation_per_day),
        next_project_per_day=money(at.next_project),
        haggling_band=money(at.terms.gross(simple + 1 / at.net_alpha) - at.terms.gross(simple)),
        simple_ask=money(simple_ask),
        sensitivity=at.demand.enquiry_fall + at.demand.buy_fall,
        other_asks=(money(others[0]), money(others[1])),
        grid_error=money(abs(programme.value - coarse.value)),
        reasons=(),
    )
    return replace(plan, reasons=tuple(plan_in_words(plan, at)))


def value_today(situation: SaleSituation) -> Money:
    """Money expected from going on with the sale, after fees and waiting (the take-it price net of fees)."""
    at = SaleNumbers.of(situation)
    return at.money(solve(at.demand, at.terms, highest_ask=at.asked_now).value)


def _finer_ask(programme: Programme) -> float:
    """Best first price between grid points, by the parabola through the best three."""
    best = int(np.argmax(programme.first))
    prices, first = programme.prices, programme.first
    if 0 < best < len(prices) - 1:
        down, here, up = first[best - 1 : best + 2]
        bend = down - 2 * here + up
        if bend < 0:
            return float(prices[best] + 0.5 * (down - up) / bend * (prices[1] - prices[0]))
    return float(prices[best])


def _course(programme: Programme, at: SaleNumbers, ask: float) -> tuple[tuple[Step, ...], float, int | None]:
    """Prices step by step while enquiries come as expected, and while nobody calls."""
    demand, terms = at.demand, at.terms
    usual_price = quiet_price = ask
    count, usual, quiet, sold_exposure = 0.0, demand.days, demand.days, 0.0
    steps: list[Step] = []
    quiet_until: int | None = None
    for i, length in enumerate(terms.lengths):
        day = at.starts[i]
        value, choice = programme.look_up(i, count, usual, _index(programme, usual_price))
        if i:
            if choice >= 0:
                usual_price = min(usual_price, at.rounded(float(programme.prices[choice])))
            _, low = programme.look_up(i, 0, quiet, _index(programme, quiet_price))
            quiet_price = min(quiet_price, at.rounded(float(programme.prices[max(low, 0)])))
            if low < 0:
                quiet_until = int(day) if quiet_until is None else quiet_until
                quiet_price = min(quiet_price, terms.gross(terms.fallback))
        middle = day + length / 2
        price = np.array([usual_price])
        seen = float(demand.exposure(price, middle)[0]) * terms.interest[i] * length
        buys = float(demand.buys(price, middle)[0])
        sold_exposure += seen * buys
        count += (demand.shape / demand.days) * seen * (1 - buys)
        usual += seen
        quiet += float(demand.exposure(np.array([quiet_price]), middle)[0]) * terms.interest[i] * length
        unsold = (demand.days / (demand.days + sold_exposure)) ** demand.shape
        steps.append(
            Step(
                int(day),
                int(day + length),
                at.money(usual_price),
                at.money(terms.gross(value)),
                at.money(quiet_price),
                1 - unsold,
            )
        )
    return tuple(steps), 1 - steps[-1].sold_by, quiet_until


def _index(programme: Programme, price: float) -> int:
    """Highest grid price not above this one."""
    return max(int(np.searchsorted(programme.prices, price + 1e-9, side="right")) - 1, 0)


def _median_day(steps: Sequence[Step]) -> float | None:
    before = 0.0
    for step in steps:
        if step.sold_by >= 0.5:
            share = (0.5 - before) / max(step.sold_by - before, 1e-12)
            return round(step.from_day + share * (step.to_day - step.from_day), 1)
        before = step.sold_by
    return None


def _simple_ask(s: SaleSituation, at: SaleNumbers, factor: float) -> float:
    """Ask of the one-line rule if buyers were more or less sensitive to the price."""
    demand = replace(
        at.demand, enquiry_fall=at.demand.enquiry_fall * factor, buy_fall=at.demand.buy_fall * factor
    )
    alpha = demand.alpha / (1 - at.terms.fee_share)
    value = value_now(
        lambda d: interest_at(demand, at.terms, d),
        alpha,
        at.holding,
        at.terms.fallback,
        float(s.deadline_days),
    )
    return at.terms.gross(value + 1 / alpha)
