"""What the effort and the money tied up earned, in the order that misleads least."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry, CannotSay
from driveout.money.car_cost import CashMove
from driveout.units import Money

_DAYS_A_YEAR = 365.0
_LEAST_DAYS_FOR_YEARLY = 90
# ln(1 + rate) searched: from losing all but e**-9 a period to gaining e**9, in 2 % steps.
_LOG_REACH = 9.0
_LOG_STEPS = 901


@dataclass(frozen=True)
class Earnings:
    """Return measures of one finished car, to be read in this order.

    Parameters
    ----------
    profit
        Income less every cost.
    per_own_hour
        Profit per hour of own work, None when no hours were booked.
    per_bay_day
        Profit per day the car took up the garage.
    average_capital
        Money tied up on an average day, None when none was.
    on_average_capital
        Profit over average capital for the whole time (fraction), None when no capital was tied up.
    days
        From first to last money. [days]
    yearly_rates
        Every rate at which the cash flows are worth nothing (fraction a year). Empty under
        90 days, where a yearly rate only misleads; two or more mean that none of them is "the" return.
    note
        What to know when reading the last two.
    """

    profit: Money
    per_own_hour: Money | None
    per_bay_day: Money | None
    average_capital: Money | None
    on_average_capital: float | None
    days: int
    yearly_rates: tuple[float, ...]
    note: str


def average_capital(moves: Sequence[CashMove]) -> float:
    """Capital tied up on an average day, from first to last move.

    Each move is weighted by the share of the time it was in: sum of amount x days held / days.

    Parameters
    ----------
    moves
        Money in above 0, money out below 0.

    Returns
    -------
    float
        Average capital, in minor units; below 0 when more came in early than went out.

    Raises
    ------
    CannotSay
        If all moves fall on one day.

    References
    ----------
    modified-dietz, denominator of the formula.
    """
    first, last = min(move.day for move in moves), max(move.day for move in moves)
    days = (last - first).days
    if days == 0:
        raise CannotSay("All money moved on one day; no capital was tied up over time.", missing="days")
    return sum(-move.amount.minor * (last - move.day).days for move in moves) / days


def dietz_return(
    start_worth: float, end_worth: float, flows: Sequence[tuple[float, float]], span_days: float
) -> float:
    """Return of a period with money put in or taken out on the way, weighted by time.

    Parameters
    ----------
    start_worth
        Worth at the beginning.
    end_worth
        Worth at the end.
    flows
        Pairs of day and money put in (below 0: taken out).
    span_days
        Length of the period, above 0. [days]

    Returns
    -------
    float
        Gain over average capital, as a fraction of the period.

    Raises
    ------
    CannotSay
        If the average capital is not above 0.

    References
    ----------
    modified-dietz.
    """
    put_in = sum(amount for _, amount in flows)
    capital = start_worth + sum(amount * (span_days - day) / span_days for day, amount in flows)
    if capital <= 0:
        raise CannotSay("No money was tied up on average, so there is no return on it.", missing="capital")
    return (end_worth - start_worth - put_in) / capital


def rates_of_return(times: Sequence[float], amounts: Sequence[float]) -> tuple[float, ...]:
    """Every rate per unit of time at which the flows together are worth nothing now.

    Present worth is scanned over ln(1 + rate) from -9 to 9 and each sign change is closed in on by
    halving. Two roots closer than 2 % in 1 + rate, or a root without a sign change, can be missed.

    Parameters
    ----------
    times
        When each flow happens, in units of the wanted rate (years for a yearly rate).
    amounts
        Money in above 0, money out below 0.

    Returns
    -------
    tuple of float
        Rising; empty when there is none, more than one when the flows change direction more than once.

    Raises
    ------
    BadEntry
        If the two lists differ in length.
    """
    if len(times) != len(amounts):
        raise BadEntry(f"{len(times)} times but {len(amounts)} amounts.", field="times", value=len(times))
    start = min(times, default=0.0)

    def worth(log_rate: float) -> float:
        # Scaled so that the largest discount factor is 1: only the sign matters, and nothing overflows.
        powers = [-(time - start) * log_rate for time in times]
        top = max(powers, default=0.0)
        return math.fsum(a * math.exp(power - top) for a, power in zip(amounts, powers, strict=True))

    if not any(amounts):
        return ()
    grid = [_LOG_REACH * (2 * i / (_LOG_STEPS - 1) - 1) for i in range(_LOG_STEPS)]
    values = [worth(x) for x in grid]
    roots = [math.expm1(x) for x, value in zip(grid, values, strict=True) if value == 0]
    for low, high, at_low, at_high in zip(grid, grid[1:], values, values[1:], strict=False):
        if at_low * at_high < 0:
            for _ in range(60):
                middle = (low + high) / 2
                low, high = (middle, high) if worth(middle) * at_low > 0 else (low, middle)
            roots.append(math.expm1((low + high) / 2))
    return tuple(sorted(roots))


def yearly_rates(moves: Sequence[tuple[datetime.date, float]]) -> tuple[float, ...]:
    """Every yearly rate (365 days) at which dated flows together are worth nothing."""
    first = min(day for day, _ in moves)
    return rates_of_return(
        [(day - first).days / _DAYS_A_YEAR for day, _ in moves], [amount for _, amount in moves]
    )


def modified_rate(amounts: Sequence[float], finance_rate: float, reinvest_rate: float) -> float:
    """Rate per period when money out is financed and money in is reinvested at stated rates.

    Unlike the plain rate of return it is always single.

    Parameters
    ----------
    amounts
        One flow per period, at least one out and one in.
    finance_rate
        What money out costs, a fraction per period.
    reinvest_rate
        What money in earns, a fraction per period.

    Returns
    -------
    float
        Fraction per period.

    Raises
    ------
    CannotSay
        If money only flows one way.
    """
    last = len(amounts) - 1
    out = sum(-a / (1 + finance_rate) ** i for i, a in enumerate(amounts) if a < 0)
    back = sum(a * (1 + reinvest_rate) ** (last - i) for i, a in enumerate(amounts) if a > 0)
    if out <= 0 or back <= 0:
        raise CannotSay("Money flows one way only; there is no rate of return.", missing="flows both ways")
    return float((back / out) ** (1 / last) - 1)


def present_worth(rate: float, amounts: Sequence[float]) -> float:
    """Worth now of one flow per period at a rate per period."""
    return math.fsum(a / (1 + rate) ** i for i, a in enumerate(amounts))


def earnings(profit: Money, moves: Sequence[CashMove], minutes: int, bay_days: int | None = None) -> Earnings:
    """Return measures of a finished car.

    Parameters
    ----------
    profit
        Income less every cost.
    moves
        The car's money by day; own-vehicle allowances count as money.
    minutes
        Own time. [min]
    bay_days
        Days the car took up the garage; None takes the days from first to last money.

    Returns
    -------
    Earnings
        Profit, per hour, per bay-day, on average capital, yearly rates last.
    """
    currency = profit.currency
    days = (max(m.day for m in moves) - min(m.day for m in moves)).days if moves else 0
    held = days if bay_days is None else bay_days
    capital = average_capital(moves) if days else 0.0
    rates = yearly_rates([(m.day, float(m.amount.minor)) for m in moves]) if moves else ()
    notes = []
    if capital <= 0:
        notes.append(
            "No money was tied up on average (paid before or on the day it was spent): no return on capital."
        )
    if len(rates) > 1:
        notes.append(
            f"Money changed direction more than once: {len(rates)} yearly rates fit, so none is the return."
        )
    if days < _LEAST_DAYS_FOR_YEARLY:
        notes.append(
            f"{days} days is too short for a yearly rate: it would assume the same deal over and over again."
        )
    return Earnings(
        profit=profit,
        per_own_hour=Money(round(profit.minor * 60 / minutes), currency) if minutes > 0 else None,
        per_bay_day=Money(round(profit.minor / held), currency) if held > 0 else None,
        average_capital=Money(round(capital), currency) if capital > 0 else None,
        on_average_capital=profit.minor / capital if capital > 0 else None,
        days=days,
        yearly_rates=rates if days >= _LEAST_DAYS_FOR_YEARLY else (),
        note=" ".join(notes),
    )
