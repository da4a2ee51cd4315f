"""Everything the asking plan needs to know about one sale, checked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from driveout.errors import BadEntry
from driveout.market.time_to_sell import PRIOR_DAYS, PRIOR_SHAPE
from driveout.units import Money

Bottleneck = Literal["none", "bay", "cash", "hours"]


BOTTLENECKS: tuple[Bottleneck, ...] = ("none", "bay", "cash", "hours")


# Per cent fewer sales per per cent of price: about 7 at the market value; half-way known.
# common practice, no source; docs/method/asking.md, price sensitivity.
SENSITIVITY, SENSITIVITY_SD = 6.9, 2.5


# Of those who ask about a car at its market value about one in seven buys: common practice, no source.
BUY_SHARE = 0.15


# A buyer who makes an offer has on average so much more in him, as a share of the value, and so often
# walks away when countered: common practice, no source.
HAGGLE_ROOM, WALK_RISK = 0.04, 0.15


# Of those who come to look, the share that would pay the market value: common practice, no source.
VIEWER_BUYS = 0.3


MOST_DAYS = 730
# Interest from Monday to Sunday when the person says that weekends are busier: common practice, no source.
WEEKEND = (0.8, 0.8, 0.9, 1.0, 1.1, 1.3, 1.1)


@dataclass(frozen=True, slots=True)
class Spell:
    """Days at one price, and how many asked about the car meanwhile without buying."""

    ask: Money
    days: float
    enquiries: int = 0


@dataclass(frozen=True, slots=True)
class SaleSituation:
    """Everything the asking plan needs.

    Attributes
    ----------
    value
        Market value: what such a car is asked at and sells for in the usual time.
    fallback
        What it brings at once from a dealer, breaker or auction, after costs.
    sale_shape, sale_days
        Gamma law of sales per day at the market value: mean ``sale_shape / sale_days``.
    value_sd
        Doubt of the value, as a standard deviation of its logarithm.
    sensitivity, sensitivity_sd
        Per cent fewer sales per per cent of price, and the doubt of it.
    buy_share
        Share of enquirers who buy at the market value.
    deadline_days
        Day on which it goes for the fallback value at the latest.
    holding_per_day
        Cash cost of a day: insurance, place, tax, interest.
    depreciation_per_day
        Fall of the market value a day.
    fee_share, fee_fixed
        Cost of selling: share of the price and a fixed sum.
    step_days
        7 or 14: how often the price may change.
    asked_now
        Price in the advert today; the plan never goes above it.
    bottleneck
        What the next project waits for; ``none`` when no project waits, ``hours`` when own
        time is short (waiting uses no hours, so it then costs nothing more).
    next_cost, next_work_days
        Money and days the next project needs before it is for sale.
    fresh_gain, fresh_days, advert_age_days
        Extra interest of a new advert (1.0 doubles it), days in which it fades by 63 %,
        and how old the advert is.
    weekdays
        Seven factors on interest from Monday; empty for none.
    weekday
        0 for Monday: the day the plan starts on.
    spells
        What was asked so far and how many enquired.
    haggle_room, walk_risk
        Average further willingness of a buyer who offered, as a share of the value; chance
        that one who is countered walks away.
    haggle_cost
        Worth of the time one more round takes.
    viewers_booked, viewer_buys
        Further people who have a day and hour to come and look, and the share of such that would
        pay the market value.
    """

    value: Money
    fallback: Money
    sale_shape: float = PRIOR_SHAPE
    sale_days: float = PRIOR_SHAPE * PRIOR_DAYS
    value_sd: float = 0.0
    sensitivity: float = SENSITIVITY
    sensitivity_sd: float = SENSITIVITY_SD
    buy_share: float = BUY_SHARE
    deadline_days: int = 60
    holding_per_day: Money | None = None
    depreciation_per_day: Money | None = None
    fee_share: float = 0.0
    fee_fixed: Money | None = None
    step_days: int = 7
    asked_now: Money | None = None
    bottleneck: Bottleneck = "none"
    next_cost: Money | None = None
    next_work_days: float = 0.0
    fresh_gain: float = 0.0
    fresh_days: float = 10.0
    advert_age_days: float = 0.0
    weekdays: tuple[float, ...] = ()
    weekday: int = 0
    spells: tuple[Spell, ...] = ()
    haggle_room: float = HAGGLE_ROOM
    walk_risk: float = WALK_RISK
    haggle_cost: Money | None = None
    viewers_booked: int = 0
    viewer_buys: float = VIEWER_BUYS

    def __post_init__(self) -> None:
        for name, low, high in (
            ("sale_shape", 0.01, 1e4),
            ("sale_days", 0.01, 1e6),
            ("value_sd", 0, 2),
            ("sensitivity", 0.5, 60),
            ("sensitivity_sd", 0, 20),
            ("buy_share", 0.001, 1),
            ("deadline_days", 1, MOST_DAYS),
            ("fee_share", 0, 0.9),
            ("next_work_days", 0, 3650),
            ("fresh_gain", 0, 20),
            ("fresh_days", 0.1, 365),
            ("advert_age_days", 0, 3650),
            ("haggle_room", 0.001, 0.5),
            ("walk_risk", 0, 1),
            ("viewers_booked", 0, 50),
            ("viewer_buys", 0.001, 1),
        ):
            found = getattr(self, name)
            if not low <= found <= high:
                raise BadEntry(
                    f"{name} is {found:g}; expected {low:g} to {high:g}.",
                    field=name,
                    value=found,
                    allowed=f"{low:g} to {high:g}",
                )
        if self.value.minor <= 0:
            raise BadEntry(
                f"The value {self.value.text()} is not above 0. Appraise the car first.",
                field="value",
                value=self.value.text(),
                allowed="above 0",
            )
        if self.fallback.minor < 0:
            raise BadEntry(
                f"The fallback value {self.fallback.text()} is below 0. Use 0 when a breaker takes it for nothing.",
                field="fallback",
                value=self.fallback.text(),
                allowed="0 or more",
            )
        for name in MONEY_KEYS:
            money = getattr(self, name)
            if money is not None and money.currency != self.value.currency:
                raise BadEntry(
                    f"{name} is in {money.currency} but the value is in {self.value.currency}. Give all in one currency.",
                    field=name,
                    value=money.text(),
                    allowed=self.value.currency,
                )
            if money is not None and money.minor < 0:
                raise BadEntry(
                    f"{name} {money.text()} is below 0.", field=name, value=money.text(), allowed="0 or more"
                )
        if self.step_days not in (7, 14):
            raise BadEntry(
                f"Price steps of {self.step_days} days are not offered; daily changes bring almost nothing.",
                field="step_days",
                value=self.step_days,
                allowed="7 or 14",
            )
        if self.asked_now is not None and self.asked_now.minor <= 0:
            raise BadEntry(
                "The price asked now must be above 0.", field="asked_now", value=self.asked_now.text()
            )
        if self.bottleneck not in BOTTLENECKS:
            raise BadEntry(
                f"The bottleneck {self.bottleneck!r} is not known.",
                field="bottleneck",
                value=self.bottleneck,
                allowed=", ".join(BOTTLENECKS),
            )
        if self.weekdays and (len(self.weekdays) != 7 or min(self.weekdays) < 0 or sum(self.weekdays) <= 0):
            raise BadEntry(
                "weekdays needs seven factors from Monday, none below 0.",
                field="weekdays",
                value=str(self.weekdays),
            )
        if any(s.days < 0 or s.enquiries < 0 or s.ask.currency != self.value.currency for s in self.spells):
            raise BadEntry(
                "A spell needs days and enquiries of 0 or more and a price in the car's currency.",
                field="spells",
            )

    @property
    def currency(self) -> str:
        """Currency of every amount."""
        return self.value.currency


MONEY_KEYS = (
    "fallback",
    "holding_per_day",
    "depreciation_per_day",
    "fee_fixed",
    "asked_now",
    "next_cost",
    "haggle_cost",
)


def situation_day(situation: SaleSituation, day: date) -> SaleSituation:
    """The same situation starting on a calendar day, for weekday factors."""
    return replace(situation, weekday=day.weekday())
