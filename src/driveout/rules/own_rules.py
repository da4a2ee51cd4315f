"""The person's own rules: what an hour is worth, how much risk is borne, what a car costs to keep.

Every default is common practice, no source, and is meant to be replaced by the person's own
figures; the finished cars show whether they were right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from driveout.errors import BadEntry
from driveout.uncertain import ThreePoint
from driveout.units import minor_digits

ORIGIN = "common practice, no source"
# starting values, common practice, no source (common-practice): US cents, hours, days
_PURCHASE_COSTS = ThreePoint(3000, 10500, 29500)
_SALE_COSTS = ThreePoint(2000, 8500, 21000)
_FETCH_COSTS = ThreePoint(0, 11500, 19000)
_OUTSIDE_HOURS = ThreePoint(43, 52, 60)
_IDLE_DAYS = ThreePoint(8, 24, 75)
_EXTRA_FAULT_COSTS = ThreePoint(0, 0, 0)
CEILING_RULES = {
    "wage": "at least your wage for every hour, on average",
    "loss": "a loss at most as often as you accept",
    "tail": "the worst outcomes, on average, lose no more than you can bear",
    "certain": "worth it to someone who weighs risk with your tolerance",
}


@dataclass(frozen=True)
class Rules:
    """Money in whole minor units of ``currency`` unless a unit is named.

    Parameters
    ----------
    currency
        ISO 4217 code.
    chosen
        Which rules set the walk-away price; the least of them counts.
    wage_per_hour
        What an own hour must bring. [minor units/h]
    loss_chance
        Chance of a loss that is accepted, above 0 and below 1.
    tail_share
        Share of worst outcomes that the tail rule looks at.
    tail_loss
        Mean loss over these outcomes that can be borne. [minor units]
    risk_tolerance
        Tolerance R of the certainty rule. [minor units]
    hours_per_week
        Own hours there are for this car. [h/week]
    holding_per_day
        What each day of having the car costs: insurance, space. [minor units/day]
    capital_share_per_year
        What the money tied up in the car costs in a year.
    purchase_tax_share
        Tax or premium on the price paid.
    sale_fee_share
        Share of the sale price that fees take.
    purchase_costs, sale_costs, trip_per_km, fetch_costs
        Papers and checks; advert, cleaning, inspection; driving; bringing the car home.
    outside_hours
        Hours that are no spanner work: search, papers, trips, cleaning, selling. [h]
    idle_days
        Days from buying to starting and from ready to sold. [days]
    scrap, part_out
        What the car brings as scrap, and in parts after the hours of parting. [minor units]
    part_out_hours
        Own hours to part a car out. [h]
    as_it_stands_share
        Share of the clean value that it brings unmended and disclosed; 0 leaves this way out.
    extra_fault_costs
        Faults that no finding points to yet: money set by. [minor units]
    """

    currency: str = "USD"
    chosen: tuple[str, ...] = ("wage", "loss")
    wage_per_hour: float = 1500.0
    loss_chance: float = 0.20
    tail_share: float = 0.10
    tail_loss: float = 40000.0
    risk_tolerance: float = 400000.0
    hours_per_week: float = 9.0
    holding_per_day: float = 250.0
    capital_share_per_year: float = 0.08
    purchase_tax_share: float = 0.06
    sale_fee_share: float = 0.0
    purchase_costs: ThreePoint = _PURCHASE_COSTS
    sale_costs: ThreePoint = _SALE_COSTS
    trip_per_km: float = 30.0
    fetch_costs: ThreePoint = _FETCH_COSTS
    outside_hours: ThreePoint = _OUTSIDE_HOURS
    idle_days: ThreePoint = _IDLE_DAYS
    scrap: float = 30000.0
    part_out: float = 70000.0
    part_out_hours: float = 30.0
    as_it_stands_share: float = 0.0
    extra_fault_costs: ThreePoint = _EXTRA_FAULT_COSTS

    def __post_init__(self) -> None:
        minor_digits(self.currency)
        unknown = [name for name in self.chosen if name not in CEILING_RULES]
        if unknown or not self.chosen:
            raise BadEntry(
                f"The rules chosen are {list(self.chosen)}; one or more of "
                f"{', '.join(CEILING_RULES)} were expected.",
                field="chosen",
                value=", ".join(self.chosen),
                allowed=", ".join(CEILING_RULES),
            )
        for name in ("loss_chance", "tail_share"):
            _within(name, getattr(self, name), 0.0, 1.0, open_ends=True)
        for name in ("purchase_tax_share", "sale_fee_share", "capital_share_per_year"):
            _within(name, getattr(self, name), 0.0, 0.99)
        _within("as_it_stands_share", self.as_it_stands_share, 0.0, 1.0)
        _within("hours_per_week", self.hours_per_week, 0.1, 168.0)
        for name in (
            "wage_per_hour",
            "tail_loss",
            "holding_per_day",
            "trip_per_km",
            "scrap",
            "part_out",
            "part_out_hours",
        ):
            _within(name, getattr(self, name), 0.0, 1e12)
        _within("risk_tolerance", self.risk_tolerance, 1.0, 1e15)
        for one in fields(self):
            value = getattr(self, one.name)
            if isinstance(value, ThreePoint) and value.low < 0:
                raise BadEntry(
                    f"{one.name} starts at {value.low:g}; nothing under 0 is possible here.",
                    field=one.name,
                    value=value.low,
                    allowed="0 or more",
                )

    @property
    def hours_per_day(self) -> float:
        """Own hours a day, weekends spread over the week. [h/day]."""
        return self.hours_per_week / 7.0


MONEY_FIELDS = (
    "wage_per_hour",
    "tail_loss",
    "risk_tolerance",
    "holding_per_day",
    "trip_per_km",
    "scrap",
    "part_out",
)
MONEY_RANGES = ("purchase_costs", "sale_costs", "fetch_costs", "extra_fault_costs")


def rules_from(data: Mapping[str, Any], base: Rules | None = None) -> Rules:
    """Rules from a plain mapping with money in major units, as files and forms give them.

    Parameters
    ----------
    data
        Any of the names of `Rules`; ranges as ``[low, likely, high]``.
    base
        What stands where the mapping is silent; the defaults if none.

    Returns
    -------
    Rules
        The rules, with money in minor units.

    Raises
    ------
    BadEntry
        If a name is unknown or a value cannot be used.
    """
    base = base or Rules()
    known = {one.name for one in fields(Rules)}
    currency = str(data.get("currency", base.currency))
    scale = 10.0 ** minor_digits(currency)
    changes: dict[str, Any] = {}
    for name, value in data.items():
        if name not in known:
            raise BadEntry(
                f"There is no rule {name!r}. Known: {', '.join(sorted(known))}.",
                field=str(name),
                value=str(value),
                allowed=", ".join(sorted(known)),
            )
        current = getattr(base, name)
        if name == "currency":
            changes[name] = currency
        elif name == "chosen":
            changes[name] = tuple([value] if isinstance(value, str) else value)
        elif isinstance(current, ThreePoint):
            points = ThreePoint.of(value, name, least=0.0)
            changes[name] = points.times(scale) if name in MONEY_RANGES else points
        else:
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise BadEntry(
                    f"{name} is {value!r}; a plain number was expected.",
                    field=name,
                    value=str(value),
                    allowed="a number",
                )
            changes[name] = float(value) * (scale if name in MONEY_FIELDS else 1.0)
    return replace(base, **changes)


def default_rules(currency: str) -> Rules:
    """The starting rules with the same figures in another currency's major units."""
    return rules_from({**rules_as_data(Rules()), "currency": currency})


def rules_as_data(rules: Rules) -> dict[str, Any]:
    """The plain mapping that `rules_from` reads: major units, ranges as lists."""
    scale = 10.0 ** minor_digits(rules.currency)
    found: dict[str, Any] = {}
    for one in fields(rules):
        value = getattr(rules, one.name)
        if isinstance(value, ThreePoint):
            factor = scale if one.name in MONEY_RANGES else 1.0
            found[one.name] = [value.low / factor, value.likely / factor, value.high / factor]
        elif isinstance(value, tuple):
            found[one.name] = list(value)
        elif isinstance(value, float):
            found[one.name] = value / (scale if one.name in MONEY_FIELDS else 1.0)
        else:
            found[one.name] = value
    return found


def _within(name: str, value: float, low: float, high: float, *, open_ends: bool = False) -> None:
    fits = low < value < high if open_ends else low <= value <= high
    if not fits:
        between = f"above {low:g} and below {high:g}" if open_ends else f"{low:g} to {high:g}"
        raise BadEntry(
            f"{name} is {value:g}; {between} was expected. Correct the rule.",
            field=name,
            value=value,
            allowed=between,
        )
