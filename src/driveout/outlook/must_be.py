"""What would have to be true: each main input alone, at the value that just reaches a goal.

Two goals: that nothing is lost on average, and that the person's wage is reached on average. One
input is changed at a time, the others stay as they are known; the answer is found on the one
forecast by a bracketed root.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from driveout.outlook.chances import FaultChances
from driveout.outlook.forecast import Case, Forecast
from driveout.outlook.margin import Margin
from driveout.outlook.spread import FINE
from driveout.uncertain import crossing
from driveout.units import Money

GOALS = {"zero": "nothing is lost on average", "wage": "your wage is reached on average"}
#: faults named, largest mean cost first
MOST_FAULTS = 3
#: grid points of the forecasts without a fault: a mean needs no fine grid
ROUGH_POINTS = 512
#: odds of a fault that is ruled out
RULED_OUT = 1e-12
#: the widest change looked at, as a multiple of the value of the mended car
WIDEST = 10.0


@dataclass(frozen=True)
class Needed:
    """One input at the value that would reach a goal.

    Parameters
    ----------
    goal
        ``zero`` or ``wage``.
    key
        ``price``, ``sale``, ``hours``, ``days``, ``repairs`` or ``fault:`` and its id.
    label
        What a person reads.
    unit
        ``money``, ``hours``, ``days`` or ``fault``.
    now
        Its mean as known; the chance of a fault. [minor units, h, days]
    needed
        The value; None when no value of this input alone does it. For a fault 0 when ruling it
        out would be enough. [minor units, h, days]
    words
        In a sentence.
    """

    goal: str
    key: str
    label: str
    unit: str
    now: float
    needed: float | None
    words: str


def what_must_be_true(case: Case, points: int = FINE, known: Forecast | None = None) -> tuple[Needed, ...]:
    """For each goal and each main input alone, the value that would make it so.

    Parameters
    ----------
    case
        The car as known today.
    points
        Grid points of the money distribution.
    known
        Forecast of the case, if it is made already.

    Returns
    -------
    tuple[Needed, ...]
        Price, sale price, own hours, days, repair cost, and the faults that cost most.

    References
    ----------
    own-reasoning, docs/method/outlook.md.
    """
    made = known or Forecast(case, points)
    made.outlook()
    without = _without_each_fault(made)
    return tuple(one for goal in GOALS for one in (*_inputs(made, goal), *_faults(made, goal, without)))


def _margin(made: Forecast, goal: str) -> Margin:
    return made.cash if goal == "zero" else made.charged


def _paid(made: Forecast) -> float:
    return (made.case.price or 0.0) * made.price_factor


def _inputs(made: Forecast, goal: str) -> list[Needed]:
    case, rules, margin = made.case, made.case.rules, _margin(made, goal)
    wage = rules.wage_per_hour if goal == "wage" else 0.0
    paid, sale = _paid(made), made.resale.mean / (1.0 - rules.sale_fee_share)
    most = WIDEST * sale

    def money(minor: float) -> str:
        return Money(round(minor), rules.currency).text()

    def dearer(by: float) -> float:
        return replace(margin, cost=margin.cost.shifted(by)).mean - paid

    per_hour = wage + rules.holding_per_day / rules.hours_per_day
    hours, days, repairs = made.hours_mean, made.days_mean, _repairs(made)
    found = []
    if case.price is not None:
        highest = margin.mean / made.price_factor
        found.append(_one(goal, "price", "Price of the car", "money", case.price, highest, money, least=0.0))

    def sold_at(price: float) -> float:
        kept = price / sale
        resale = replace(made.resale, median=made.resale.median * kept)
        # what the grid added to the spread is taken from the resale only while that stays as it is
        return replace(margin, resale=resale).mean - paid

    at = _root(sold_at, 1e-6 * sale, most)
    found.append(_one(goal, "sale", "Sale price on average", "money", sale, at, money, least=0.0))
    for key, label, unit, now, rate, done in (
        ("hours", "Own hours on average", "hours", hours, per_hour, case.hours_done),
        ("days", "Days until sold on average", "days", days, _per_day(made), case.elapsed_days),
        ("repairs", "Money for repairs on average", "money", repairs, 1.0, case.sunk),
    ):
        change = _root(dearer, -most, most) if rate > 0.0 else None
        needed = None if change is None else now + change / rate
        say = money if unit == "money" else _plain(unit)
        found.append(_one(goal, key, label, unit, now, needed, say, least=done))
    return found


def _per_day(made: Forecast) -> float:
    """What one more day costs: holding, and the money tied up in the price. [minor units/day]."""
    rules = made.case.rules
    return rules.holding_per_day + (made.case.price or 0.0) * rules.capital_share_per_year / 365.0


def _repairs(made: Forecast) -> float:
    """Mean money of all that is not a line of every car: faults, chosen repairs, bookings. [minor units]."""
    cash = made._parts[0]
    always = {piece.label for piece in made.case.book.always if piece.key in EVERY_CAR}
    days = made.case.rules.holding_per_day / made.case.rules.hours_per_day
    own = made._parts[1]
    return sum(
        part.mean - days * hours.mean
        for part, hours in zip(cash, own, strict=True)
        if part.label not in always
    )


#: lines that come whatever is wrong
EVERY_CAR = frozenset(
    {"papers", "fetching", "viewing-trip", "selling", "outside-work", "idle-days", "until-sold", "unforeseen"}
)


def _plain(unit: str) -> Callable[[float], str]:
    short = "h" if unit == "hours" else "days"
    return lambda value: f"{value:.0f} {short}"


def _one(
    goal: str,
    key: str,
    label: str,
    unit: str,
    now: float,
    needed: float | None,
    say: Callable[[float], str],
    *,
    least: float,
) -> Needed:
    if needed is None or needed < least:
        floor = "" if least <= 0.0 else f": {say(least)} are gone already"
        return Needed(goal, key, label, unit, now, None, f"No value of it alone does it{floor}.")
    way = "at most" if key != "sale" else "at least"
    return Needed(goal, key, label, unit, now, needed, f"{way.capitalize()} {say(needed)}; now {say(now)}.")


def _root(gap: Callable[[float], float], low: float, high: float) -> float | None:
    """Where the gap closes; None when it keeps its sign over the whole bracket."""
    at_low, at_high = gap(low), gap(high)
    if (at_low > 0.0) == (at_high > 0.0):
        return None
    return crossing(gap, low, high, 1e-3)


def _without_each_fault(made: Forecast) -> list[tuple[str, str, float, Forecast]]:
    """The dearest faults with the forecast of the same car without each."""
    chances = made.case.chances
    if not isinstance(chances, FaultChances):
        return []
    lines = sorted(
        (line for line in made.outlook().lines if line.kind == "fault" and (line.chance or 0.0) > 0.01),
        key=lambda line: line.profit_mean,
    )[:MOST_FAULTS]
    found = []
    for line in lines:
        chance = line.chance or 0.0
        if chance >= 1.0 - 1e-9:
            continue
        case = replace(made.case, chances=chances.with_odds(line.fault, RULED_OUT))
        found.append(
            (line.fault, _fault_name(line.label), chance, Forecast(case, min(made.points, ROUGH_POINTS)))
        )
    return found


def _fault_name(label: str) -> str:
    """The fault in a line of the breakdown, whatever is done about it."""
    first, _, rest = label.partition(": ")
    return rest if first == "Left and said" else first


def _faults(made: Forecast, goal: str, without: list[tuple[str, str, float, Forecast]]) -> list[Needed]:
    found: list[Needed] = []
    if _margin(made, goal).mean >= _paid(made):
        return found
    for fault, name, chance, other in without:
        mean = _margin(other, goal).mean - _paid(other)
        amount = Money(round(mean), made.case.rules.currency).text()
        short = "the profit" if goal == "zero" else "the profit after your wage"
        enough = mean >= 0.0
        words = (
            f"Ruling it out would {'be enough' if enough else 'not be enough alone'}: {short} would then be "
            f"{amount} on average; its chance is {100 * chance:.0f} %."
        )
        key = f"fault:{fault}"
        found.append(Needed(goal, key, f"Without: {name}", "fault", chance, 0.0 if enough else None, words))
    return found
