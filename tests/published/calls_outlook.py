"""Adaptors from printed examples to the functions that answer them."""

from __future__ import annotations

import numpy as np

from driveout.hunt.bid import Bid, best_bid
from driveout.hunt.order import Trip, own_wage, visiting_order
from driveout.outlook import Case, CostBook, FaultChances, Piece, Rules, forecast
from driveout.uncertain import Fixed, Gamma, Mixture, on_lattice, worth_after_cost


def two_boxes(which: str) -> float:
    """Weitzman's opening example: a safe-looking and a risky box."""
    alpha = Trip("alpha", (100.0, 55.0), (0.5, 0.5), 15.0)
    omega = Trip("omega", (240.0, 0.0), (0.2, 0.8), 20.0)
    if which == "alpha first":
        # open alpha; go on to omega only if what alpha showed is under omega's index
        left = [max(v, 0.0) for v in (100.0, 55.0)]
        after = [max(v, 0.2 * max(240.0, v) + 0.8 * v - 20.0) if v < omega.index else v for v in left]
        return 0.5 * sum(after) - 15.0
    return {"alpha": alpha.index, "omega": omega.index, "order": visiting_order([alpha, omega]).gain}[which]


def unknown_company(bid: float | None = None, multiple: float = 1.5) -> Bid:
    """Worth to the seller uniform on 0 to 100, to the buyer a multiple; accepted when it covers it."""
    low, high = (0.0, 100.0) if bid is None else (bid, bid)
    return best_bid(lambda b: multiple * b / 2.0, lambda b: b / 100.0, low, high)


def exponential_stream(mean_profit: float, hours: float, view_hours: float) -> float:
    """Best earnings an hour when profits are exponential, by Dinkelbach on a fine grid."""
    grid = on_lattice(Gamma(1.0, mean_profit), 0.05, tail=1e-13)
    return own_wage(grid.points, np.full(grid.points.size, hours), view_hours, grid.pmf)


def gamma_cost_equivalent(shape: float, scale: float, amount: float, tolerance: float) -> float:
    """Certainty equivalent of a sure amount less a gamma cost."""
    return worth_after_cost(amount, Gamma(shape, scale), tolerance)


def two_jobs(which: str) -> float:
    """1000 in 5 hours or in 45 hours, each as likely: mean earnings an hour."""
    hours = Mixture((0.5, 0.5), (Fixed(5.0), Fixed(45.0)))
    if which == "mean of ratios":
        return 0.5 * (1000.0 / 5.0 + 1000.0 / 45.0)
    case = Case(
        FaultChances.independent({}),
        CostBook(always=(Piece("work", hours=hours),)),
        (1000.0, 1000.0),
        Rules(holding_per_day=0.0),
    )
    return forecast(case).per_hour
