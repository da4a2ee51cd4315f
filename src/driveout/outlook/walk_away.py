"""The walk-away price: the least of the prices that the person's own rules allow.

Price enters every rule in a straight line, so each rule has its price in closed form: no
search over simulated cars.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from driveout.errors import CannotSay
from driveout.outlook.forecast import Case, Forecast
from driveout.outlook.margin import Margin
from driveout.outlook.spread import FINE
from driveout.rules import CEILING_RULES
from driveout.units import Money


@dataclass(frozen=True)
class RuleCeiling:
    """Highest price one rule allows; None with the reason when the rule cannot say."""

    rule: str
    price: float | None
    why: str

    @property
    def minor(self) -> int | None:
        """The price rounded down to the minor unit."""
        return None if self.price is None else math.floor(self.price + 1e-6)


@dataclass(frozen=True)
class Ceiling:
    """The walk-away price. [minor units].

    Parameters
    ----------
    price
        Least of the chosen rules' prices, never under 0.
    binding
        The rule that sets it.
    rules
        Price of each rule, chosen or not.
    chosen
        Rules the person goes by.
    currency
        ISO 4217 code.
    """

    price: float
    binding: str
    rules: tuple[RuleCeiling, ...]
    chosen: tuple[str, ...]
    currency: str

    @property
    def money(self) -> Money:
        """The walk-away price, rounded down to the minor unit."""
        return Money(math.floor(self.price + 1e-6), self.currency)

    @property
    def is_worthless(self) -> bool:
        """Whether no price above 0 satisfies the rules."""
        return self.price <= 0.0


def wage_ceiling(margin_mean: float, hours_mean: float, wage: float, price_factor: float = 1.0) -> float:
    """Price at which every own hour brings the wage on average.

    ``(E[G] - w E[H]) / E[a]``: over many cars the earnings an hour are the ratio of the means,
    not the mean of the ratios.

    Parameters
    ----------
    margin_mean
        Expected margin before the price. [minor units]
    hours_mean
        Expected own hours. [h]
    wage
        Wage asked. [minor units/h]
    price_factor
        What each unit of price costs in all.

    Returns
    -------
    float
        The price; may be under 0.

    References
    ----------
    own-reasoning, docs/method/ceiling.md (renewal-reward argument).
    """
    return (margin_mean - wage * hours_mean) / price_factor


def loss_ceiling(margin: Margin, loss_chance: float, price_factor: float = 1.0) -> float:
    """Price at which a cash loss is exactly as likely as accepted: a quantile of the margin."""
    return margin.quantile(loss_chance) / price_factor


def tail_ceiling(margin: Margin, share: float, bearable: float, price_factor: float = 1.0) -> float:
    """Price at which the worst ``share`` of outcomes lose ``bearable`` on average."""
    return (margin.mean_of_lowest(share) + bearable) / price_factor


def certain_ceiling(margin: Margin, tolerance: float, price_factor: float = 1.0) -> float:
    """Price at which the wage-charged margin's certainty equivalent is used up."""
    return margin.certainty_equivalent(tolerance) / price_factor


def ceiling_of(case: Case, *, points: int = FINE) -> Ceiling:
    """The walk-away price of a car under the person's rules.

    Parameters
    ----------
    case
        Everything the outlook is made from; its price is not used.
    points
        Grid points of the money distribution.

    Returns
    -------
    Ceiling
        The least of the chosen rules, with every rule beside it.

    Raises
    ------
    CannotSay
        If a chosen rule has no answer, with its reason.

    References
    ----------
    own-reasoning, docs/method/ceiling.md.
    """
    return ceiling_from(Forecast(case, points))


def ceiling_from(made: Forecast) -> Ceiling:
    """The walk-away price from a forecast that is being computed anyway.

    Parameters
    ----------
    made
        The forecast.

    Returns
    -------
    Ceiling
        The least of the chosen rules, with every rule beside it.

    Raises
    ------
    CannotSay
        If a chosen rule has no answer, with its reason.
    """
    rules = made.case.rules
    found = tuple(_rule(name, made) for name in CEILING_RULES)
    by_name = {one.rule: one for one in found}
    prices: dict[str, float] = {}
    for name in rules.chosen:
        price = by_name[name].price
        if price is None:
            raise CannotSay(
                f"The rule {name!r} cannot set a walk-away price here: {by_name[name].why}", missing=name
            )
        prices[name] = price
    binding = min(prices, key=lambda name: prices[name])
    return Ceiling(max(prices[binding], 0.0), binding, found, rules.chosen, rules.currency)


def chosen_price(made: Forecast) -> float:
    """The walk-away price alone, for a quick second look."""
    return max(min(rule_price(name, made) for name in made.case.rules.chosen), 0.0)


def rule_price(name: str, made: Forecast) -> float:
    """Highest price that one rule allows; CannotSay when it has none."""
    rules, factor = made.case.rules, made.price_factor
    if name == "wage":
        return made.charged.mean / factor
    if name == "loss":
        return loss_ceiling(made.cash, rules.loss_chance, factor)
    if name == "tail":
        return tail_ceiling(made.cash, rules.tail_share, rules.tail_loss, factor)
    return certain_ceiling(made.charged, rules.risk_tolerance, factor)


def _rule(name: str, made: Forecast) -> RuleCeiling:
    rules = made.case.rules
    why = {
        "wage": f"{made.hours_mean:.0f} own hours at the wage, on average",
        "loss": f"a cash loss in {100 * rules.loss_chance:g} % of cases",
        "tail": f"the worst {100 * rules.tail_share:g} % of cases on average",
        "certain": "certainty equivalent with hours at the wage",
    }
    try:
        return RuleCeiling(name, rule_price(name, made), why[name])
    except CannotSay as trouble:
        return RuleCeiling(name, None, trouble.message)
