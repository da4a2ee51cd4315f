"""Going on, selling as it stands, parting out, scrapping: compared by what is still to come.

What is spent is spent under every choice, so it is in none of them: only money and hours from
today on are compared, by the person's own wage and, where chosen, the person's own bounds on risk.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.outlook.ahead import less, spent
from driveout.outlook.forecast import Band, Case, Forecast
from driveout.outlook.spread import FINE
from driveout.rules import Rules
from driveout.uncertain import ThreePoint, fitted
from driveout.units import Money

GO_ON, AS_IT_STANDS, PARTS, SCRAP, OFFER = "go on", "as it stands", "parts", "scrap", "offer"
#: common practice, no source: hours and days that each way of giving up takes, and how sure its money is
AS_IT_STANDS_HOURS, AS_IT_STANDS_DAYS = ThreePoint(3.0, 6.0, 12.0), 14.0
SCRAP_HOURS, SCRAP_DAYS, PARTS_DAYS = ThreePoint(1.5, 3.0, 5.0), 3.0, 45.0
LOW_SHARE, HIGH_SHARE = 0.8, 1.15


@dataclass(frozen=True)
class WayOut:
    """A way to be done with a car as it is.

    Parameters
    ----------
    key
        ``as it stands``, ``parts``, ``scrap``, ``offer`` or a word of one's own.
    label
        What a person reads.
    money
        What it brings, fees off. [minor units]
    hours
        Own hours it takes. [h]
    days
        Days until the money is in hand. [days]
    origin
        Where the figures come from.
    """

    key: str
    label: str
    money: ThreePoint
    hours: ThreePoint
    days: float
    origin: str


@dataclass(frozen=True)
class Choice:
    """One choice with everything still to come of it. Money in minor units.

    Parameters
    ----------
    key, label
        Which.
    money
        Money still to come, own hours not charged.
    hours
        Own hours still to work. [h]
    per_hour
        Mean money over mean hours, NaN without hours.
    worth
        Mean money less hours at the wage: what the choices are ranked by.
    loss_chance
        Chance that more money still goes out than comes in.
    low_tail
        Mean of the worst outcomes, their share by the person's rule.
    days
        Mean days until the money is in hand. [days]
    refused
        Which of the person's rules it breaks, in words; empty when none.
    origin
        Where the figures come from.
    """

    key: str
    label: str
    money: Band
    hours: Band
    per_hour: float
    worth: float
    loss_chance: float
    low_tail: float
    days: float
    refused: str
    origin: str


@dataclass(frozen=True)
class Endings:
    """The choices compared, best first.

    Parameters
    ----------
    choices
        The one to take first, then by worth.
    best
        Key of the first.
    sentence
        Why, in a sentence.
    switch
        From where on another choice is right; empty when nothing is left to switch to.
    switch_cost
        Further cost on top of what is expected from which going on is no longer best (below 0: by
        how much it would have to get cheaper). None when there is no other choice. [minor units]
    currency
        ISO 4217 code.
    """

    choices: tuple[Choice, ...]
    best: str
    sentence: str
    switch: str
    switch_cost: float | None
    currency: str


def usual_ways_out(
    rules: Rules,
    clean_value: float,
    *,
    as_it_stands: float | None = None,
    part_out: float | None = None,
    part_out_hours: float | None = None,
    offer: float | None = None,
    weight_kg: float | None = None,
    scrap_per_kg: float | None = None,
) -> tuple[WayOut, ...]:
    """The ways out with figures from the person's rules, or typed for this car.

    Parameters
    ----------
    rules
        The person's own rules.
    clean_value
        Likely value of the mended car. [minor units]
    as_it_stands
        What it brings unmended, faults said; the rule's share of the clean value if left out.
    part_out
        What it brings in parts; the rule's figure if left out. [minor units]
    part_out_hours
        Hours of parting; the rule's figure if left out. [h]
    offer
        An offer in hand. [minor units]
    weight_kg
        Weight of the car as scrap. [kg]
    scrap_per_kg
        Scrap rate. [minor units/kg]

    Returns
    -------
    tuple[WayOut, ...]
        Those that bring anything.
    """
    by_rule = "your rules"
    ways = []
    if offer is not None and offer > 0:
        sure = ThreePoint(offer, offer, offer)
        ways.append(
            WayOut(
                OFFER, "taking the offer in hand", sure, ThreePoint(0.5, 1.0, 2.0), 2.0, "offer in the log"
            )
        )
    stands = as_it_stands if as_it_stands is not None else rules.as_it_stands_share * clean_value
    if stands > 0:
        kept = stands * (1.0 - rules.sale_fee_share)
        origin = "typed" if as_it_stands is not None else by_rule
        ways.append(
            WayOut(
                AS_IT_STANDS,
                "selling it as it stands, faults said",
                _around(kept),
                AS_IT_STANDS_HOURS,
                AS_IT_STANDS_DAYS,
                f"{origin}; hours and spread: common practice, no source",
            )
        )
    parts = rules.part_out if part_out is None else part_out
    if parts > 0:
        hours = rules.part_out_hours if part_out_hours is None else part_out_hours
        whose = by_rule if part_out is None else "typed"
        ways.append(
            WayOut(
                PARTS,
                "parting it out",
                _around(parts),
                ThreePoint(0.8 * hours, hours, 1.5 * hours),
                PARTS_DAYS,
                f"{whose}; spread: common practice, no source",
            )
        )
    scrap, origin = rules.scrap, by_rule
    if weight_kg is not None and scrap_per_kg is not None:
        scrap, origin = weight_kg * scrap_per_kg, f"{weight_kg:g} kg at the rate typed"
    if scrap > 0:
        ways.append(
            WayOut(
                SCRAP,
                "scrapping it",
                _around(scrap),
                SCRAP_HOURS,
                SCRAP_DAYS,
                f"{origin}; hours: common practice, no source",
            )
        )
    return tuple(ways)


def ways_to_end(
    case: Case,
    ways: Sequence[WayOut] | None = None,
    points: int = FINE,
    known: Forecast | None = None,
) -> Endings:
    """Compare going on with every way out, by what is still to come.

    Parameters
    ----------
    case
        The car as known today.
    ways
        Ways out; those of the person's rules if left out.
    points
        Grid points of the money distribution.
    known
        Forecast of the case, if it is made already.

    Returns
    -------
    Endings
        The choices, the best of them, why, and where it switches.
    """
    made = (known or Forecast(case, points)).mended_in_any_case()
    rules = case.rules
    if ways is None:
        ways = usual_ways_out(rules, made.resale.mean)
    found = [_going_on(made), *(_way(one, rules) for one in ways)]
    allowed = [one for one in found if not one.refused] or found
    best = max(allowed, key=lambda one: one.worth)
    rest = sorted((one for one in found if one is not best), key=lambda one: -one.worth)
    others = [one for one in found if one.key != GO_ON and (not one.refused or len(allowed) == len(found))]
    rival = max(others, key=lambda one: one.worth, default=None)
    gap = None if rival is None else found[0].worth - rival.worth
    return Endings(
        (best, *rest),
        best.key,
        _why(best, rest, rules),
        _switch(best, found[0], rival, gap, rules),
        gap,
        rules.currency,
    )


def _around(likely: float) -> ThreePoint:
    return ThreePoint(LOW_SHARE * likely, likely, HIGH_SHARE * likely)


def _going_on(made: Forecast) -> Choice:
    case, rules = made.case, made.case.rules
    outlook, margin, gone = made.outlook(), made.cash, spent(made)
    hours = less(outlook.hours, case.hours_done)
    low, middle, high = (margin.quantile(share) + gone for share in (0.10, 0.50, 0.90))
    money = Band(low, middle, high, margin.mean + gone)
    loss = margin.share_below(-gone)
    tail = margin.mean_of_lowest(rules.tail_share) + gone
    return _choice(
        GO_ON,
        "going on and selling it mended",
        money,
        hours,
        loss,
        tail,
        max(outlook.days.mean - case.elapsed_days, 0.0),
        "the outlook",
        rules,
    )


def _way(way: WayOut, rules: Rules) -> Choice:
    holding = rules.holding_per_day * way.days
    law = fitted(way.money)
    low, middle, high = (law.quantile(share) - holding for share in (0.10, 0.50, 0.90))
    hours_law = fitted(way.hours)
    hours = Band(hours_law.quantile(0.10), hours_law.quantile(0.50), hours_law.quantile(0.90), hours_law.mean)
    border = law.quantile(rules.tail_share)
    # mean under the border: E[X] = share * below + (1 - share) * border + E[(X - border)+]
    below = (law.mean - (1.0 - rules.tail_share) * border - float(law.excess(border))) / rules.tail_share
    return _choice(
        way.key,
        way.label,
        Band(low, middle, high, law.mean - holding),
        hours,
        float(law.cdf(holding)),
        below - holding,
        way.days,
        way.origin,
        rules,
    )


def _choice(
    key: str,
    label: str,
    money: Band,
    hours: Band,
    loss: float,
    tail: float,
    days: float,
    origin: str,
    rules: Rules,
) -> Choice:
    broken = []
    if "loss" in rules.chosen and loss > rules.loss_chance:
        broken.append(f"more goes out than comes in in {100 * loss:.0f} of 100 cases")
    if "tail" in rules.chosen and tail < -rules.tail_loss:
        broken.append("the worst cases cost more than you can bear")
    return Choice(
        key,
        label,
        money,
        hours,
        money.mean / hours.mean if hours.mean > 0.0 else math.nan,
        money.mean - rules.wage_per_hour * hours.mean,
        loss,
        tail,
        days,
        "; ".join(broken),
        origin,
    )


def _why(best: Choice, rest: Sequence[Choice], rules: Rules) -> str:
    def money(minor: float) -> str:
        return Money(round(minor), rules.currency).text()

    brings = (
        f"{best.label[0].upper()}{best.label[1:]} still brings {money(best.money.mean)} on average for "
        f"{best.hours.mean:.0f} own hours, {money(best.worth)} after your wage"
    )
    if not rest:
        return f"{brings}."
    second = rest[0]
    said = f"{brings}; {second.label} {money(second.worth)}"
    if second.worth > best.worth and second.refused:
        return f"{said}, but there {second.refused}."
    return f"{said}. What has been spent counts in neither."


def _switch(best: Choice, going: Choice, rival: Choice | None, gap: float | None, rules: Rules) -> str:
    if rival is None or gap is None:
        return ""
    amount = Money(round(abs(gap)), rules.currency).text()
    hours = abs(gap) / rules.wage_per_hour if rules.wage_per_hour > 0 else math.inf
    in_hours = f" (or {hours:.0f} own hours)" if math.isfinite(hours) else ""
    if best.key == GO_ON:
        return f"Going on is right until another {amount}{in_hours} of cost appears; then {rival.label} is better."
    if gap < 0:
        return f"Going on would be right if it came {amount}{in_hours} cheaper than expected."
    return f"Going on brings {amount} more on average, but there {going.refused}."
