"""The asking plan: what to ask now, when to come down, what to take today, and what waiting costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

import numpy as np

from driveout.errors import BadEntry
from driveout.market.time_to_sell import PRIOR_DAYS, PRIOR_SHAPE
from driveout.selling.demand import Floats, next_project_per_day, value_now
from driveout.selling.programme import Demand, Programme, Terms, solve
from driveout.units import Money, minor_digits

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
        for name in _MONEY:
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


_MONEY = (
    "fallback",
    "holding_per_day",
    "depreciation_per_day",
    "fee_fixed",
    "asked_now",
    "next_cost",
    "haggle_cost",
)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the plan, if the car is still unsold."""

    from_day: int
    to_day: int
    ask: Money
    take_it: Money
    ask_if_quiet: Money
    sold_by: float


@dataclass(frozen=True)
class AskingPlan:
    """What to ask and what to take.

    Attributes
    ----------
    ask
        Price to put in the advert now.
    take_it
        Least offer to take today.
    sell_out_now
        Whether the fallback beats waiting already now.
    expected
        Money expected after fees and waiting.
    steps
        The course of prices while enquiries come as expected, and if nobody calls.
    median_days
        Day by which it is sold with even odds; None beyond the deadline.
    unsold_at_deadline
        Chance that it goes for the fallback value.
    quiet_until
        Day on which to let it go for the fallback value if nobody has called; None for never
        before the deadline.
    waiting_per_day
        What one more day costs in all.
    next_project_per_day
        The part of it that the next project loses.
    haggling_band
        Ask less take-it price in the simple rule, ``1/alpha`` before fees.
    simple_ask
        Ask of the one-line rule, with demand taken as known.
    sensitivity
        Price sensitivity after what was seen.
    other_asks
        Ask if buyers were (less, more) sensitive to the price.
    grid_error
        Change of the expected money when every grid is made coarser by a third; the true error
        of the programme is smaller.
    reasons
        The plan in sentences.
    """

    situation: SaleSituation
    ask: Money
    take_it: Money
    sell_out_now: bool
    expected: Money
    steps: tuple[Step, ...]
    median_days: float | None
    unsold_at_deadline: float
    quiet_until: int | None
    waiting_per_day: Money
    next_project_per_day: Money
    haggling_band: Money
    simple_ask: Money
    sensitivity: float
    other_asks: tuple[Money, Money]
    grid_error: Money
    reasons: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; money as text of major units."""
        amounts = ("ask", "take_it", "expected", "waiting_per_day", "next_project_per_day", "haggling_band")
        return {
            "schema": "driveout-asking-plan/1",
            "currency": self.situation.currency,
            **{name: str(getattr(self, name).major) for name in (*amounts, "simple_ask", "grid_error")},
            "sell_out_now": self.sell_out_now,
            "median_days": self.median_days,
            "unsold_at_deadline": self.unsold_at_deadline,
            "quiet_until": self.quiet_until,
            "sensitivity": self.sensitivity,
            "other_asks": [str(money.major) for money in self.other_asks],
            "steps": [
                {
                    "from_day": s.from_day,
                    "to_day": s.to_day,
                    "ask": str(s.ask.major),
                    "take_it": str(s.take_it.major),
                    "ask_if_quiet": str(s.ask_if_quiet.major),
                    "sold_by": s.sold_by,
                }
                for s in self.steps
            ],
            "reasons": list(self.reasons),
        }


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
    at = _Numbers.of(situation)
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
    others = tuple(_simple_ask(situation, at, factor) for factor in (0.7, 1.4))
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
    return replace(plan, reasons=tuple(_reasons(plan, at)))


def value_today(situation: SaleSituation) -> Money:
    """Money expected from going on with the sale, after fees and waiting (the take-it price net of fees)."""
    at = _Numbers.of(situation)
    return at.money(solve(at.demand, at.terms, highest_ask=at.asked_now).value)


@dataclass(frozen=True)
class _Numbers:
    """The situation as plain numbers of major units, with what was seen so far folded in."""

    demand: Demand
    terms: Terms
    asked_now: float | None
    next_project: float
    unit: float
    currency: str
    starts: tuple[float, ...]

    @classmethod
    def of(cls, s: SaleSituation) -> _Numbers:
        lengths, factors = _steps(s)
        demand = _demand(s)
        terms = Terms(
            lengths, factors, _major(s.holding_per_day), _major(s.fallback), s.fee_share, _major(s.fee_fixed)
        )
        g = 0.0
        if s.bottleneck in ("bay", "cash"):
            g = _next_project(s, demand, terms)
        terms = replace(terms, holding_per_day=terms.holding_per_day + g)
        starts = tuple(float(x) for x in np.concatenate([[0.0], np.cumsum(lengths)]))
        unit = _rounding(float(s.value.major))
        asked = None if s.asked_now is None else _major(s.asked_now)
        return cls(demand, terms, asked, g, unit, s.currency, starts)

    @property
    def holding(self) -> float:
        return self.terms.holding_per_day

    @property
    def net_alpha(self) -> float:
        """Sensitivity per unit of net money."""
        return self.demand.alpha / (1 - self.terms.fee_share)

    def interest(self, days: Floats) -> Floats:
        """a(s) of the closed form, demand taken at its mean, in terms of the net price."""
        return _interest(self.demand, self.terms, days)

    def money(self, amount: float) -> Money:
        return Money(round(amount * 10 ** minor_digits(self.currency)), self.currency)

    def rounded(self, price: float) -> float:
        """A price as people write one."""
        return round(price / self.unit) * self.unit


def _interest(demand: Demand, terms: Terms, days: Floats) -> Floats:
    starts = np.concatenate([[0.0], np.cumsum(terms.lengths)])
    step = np.clip(np.searchsorted(starts, days, side="right") - 1, 0, len(terms.lengths) - 1)
    level = demand.shape / demand.days * demand.buy_share
    at_zero = level * np.exp(demand.alpha * (demand.market - demand.depreciation_per_day * days))
    return np.asarray(at_zero * np.exp(-demand.alpha * terms.gross(0.0)) * np.array(terms.interest)[step])


def _major(money: Money | None) -> float:
    return 0.0 if money is None else float(money.major)


def _rounding(value: float) -> float:
    """Step of 1, 2 or 5 times a power of ten, at most 1 % of the value."""
    power = 10.0 ** math.floor(math.log10(value * 0.01))
    return next(m * power for m in (5, 2, 1) if m * power <= value * 0.01 * (1 + 1e-12))


def _steps(s: SaleSituation) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Length of each price step and the mean interest in it."""
    # Eight steps of the chosen length, then four twice as long, then four times: far prices are a sketch.
    lengths: list[float] = []
    left = s.deadline_days
    while left > 0:
        length = s.step_days * (1 if len(lengths) < 8 else 2 if len(lengths) < 12 else 4)
        lengths.append(float(min(length, left)))
        left -= length
    factors = []
    day = 0
    weekdays = np.array(s.weekdays or (1.0,) * 7)
    weekdays = weekdays / weekdays.mean()
    for days_in_step in lengths:
        days = day + np.arange(int(days_in_step))
        week = weekdays[(s.weekday + days) % 7]
        age = s.advert_age_days + days
        fade = s.fresh_days * (np.exp(-age / s.fresh_days) - np.exp(-(age + 1) / s.fresh_days))
        factors.append(float(np.mean(week * (1 + s.fresh_gain * fade))))
        day += int(days_in_step)
    return tuple(lengths), tuple(factors)


def _demand(s: SaleSituation) -> Demand:
    """Demand believed now: the prior, doubt of the value, and what the spells showed.

    A doubtful market value is a doubtful level of demand: a standard deviation v of its logarithm
    moves the log rate by k v. The sensitivity is weighed on a coarse grid.
    """
    shape = 1 / (1 / s.sale_shape + (s.sensitivity * s.value_sd) ** 2)
    days = shape * s.sale_days / s.sale_shape * s.buy_share
    market = _major(s.value)
    grid = (
        np.array([s.sensitivity])
        if s.sensitivity_sd == 0
        else np.maximum(s.sensitivity + s.sensitivity_sd * np.linspace(-2, 2, 9), 1.0)
    )
    logs = -0.5 * ((grid - s.sensitivity) / max(s.sensitivity_sd, 1e-9)) ** 2
    k, exposure, enquiries = s.sensitivity, 0.0, 0
    if s.spells:
        above = np.array([(_major(spell.ask) - market) / market for spell in s.spells])
        lengths = np.array([spell.days for spell in s.spells])
        counts = np.array([spell.enquiries for spell in s.spells])
        seen = lengths[None, :] * np.exp(-0.5 * grid[:, None] * above[None, :])
        enquiries = int(counts.sum())
        # Gamma-mixed Poisson likelihood of the enquiries for each sensitivity.
        logs = (
            logs
            + counts @ np.log(np.maximum(seen, 1e-12)).T
            - (shape + enquiries) * np.log(days + seen.sum(axis=1))
        )
        weights = np.exp(logs - logs.max())
        k = float(weights @ grid / weights.sum())
        exposure = float(np.sum(lengths * np.exp(-0.5 * k * above)))
    return Demand(
        shape=shape + enquiries,
        days=days + exposure,
        market=market,
        enquiry_fall=k / 2,
        buy_fall=k / 2,
        buy_share=s.buy_share,
        depreciation_per_day=_major(s.depreciation_per_day),
    )


def _next_project(s: SaleSituation, demand: Demand, terms: Terms) -> float:
    alpha = demand.alpha / (1 - terms.fee_share)

    def value_at(holding: float) -> float:
        wait = value_now(
            lambda d: _interest(demand, terms, d), alpha, holding, terms.fallback, float(s.deadline_days)
        )
        return max(wait, terms.fallback)

    return next_project_per_day(value_at, _major(s.next_cost), s.next_work_days, terms.holding_per_day)


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


def _course(programme: Programme, at: _Numbers, ask: float) -> tuple[tuple[Step, ...], float, int | None]:
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


def _simple_ask(s: SaleSituation, at: _Numbers, factor: float) -> float:
    """Ask of the one-line rule if buyers were more or less sensitive to the price."""
    demand = replace(
        at.demand, enquiry_fall=at.demand.enquiry_fall * factor, buy_fall=at.demand.buy_fall * factor
    )
    alpha = demand.alpha / (1 - at.terms.fee_share)
    value = value_now(
        lambda d: _interest(demand, at.terms, d), alpha, at.holding, at.terms.fallback, float(s.deadline_days)
    )
    return at.terms.gross(value + 1 / alpha)


def _reasons(plan: AskingPlan, at: _Numbers) -> list[str]:
    s = plan.situation
    said = []
    if plan.sell_out_now:
        said.append(
            f"Waiting is not worth its cost: take the fallback of {s.fallback.text()} now, or any offer above "
            f"{plan.take_it.text()}. If you advertise all the same, ask {plan.ask.text()}."
        )
    else:
        said.append(f"Ask {plan.ask.text()} now. Take any offer of {plan.take_it.text()} or more today.")
    if s.asked_now is not None and plan.simple_ask > s.asked_now and plan.ask == s.asked_now:
        said.append(
            f"A new advert could ask more, but a price that goes up puts buyers off; driveout never raises it by "
            f"itself and stays at {s.asked_now.text()}."
        )
    first = plan.steps[0]
    lower = next((step for step in plan.steps if step.ask < first.ask), None)
    if lower is not None:
        said.append(
            f"If it is still here after {lower.from_day} days with enquiries as expected, come down to {lower.ask.text()}."
        )
    quiet = next((step for step in plan.steps if step.ask_if_quiet < first.ask), None)
    if (
        quiet is not None
        and quiet.from_day != plan.quiet_until
        and (lower is None or quiet.ask_if_quiet < lower.ask or quiet.from_day < lower.from_day)
    ):
        said.append(f"If nobody calls, come down to {quiet.ask_if_quiet.text()} after {quiet.from_day} days.")
    if plan.quiet_until is not None and not plan.sell_out_now:
        said.append(
            f"If nobody has called by day {plan.quiet_until}, let it go for the fallback of {s.fallback.text()}."
        )
    parts = [f"holding {at.money(at.holding - at.next_project).text()}"]
    if at.next_project:
        parts.append(f"the next project {plan.next_project_per_day.text()}")
    if at.demand.depreciation_per_day:
        parts.append(f"loss of value {at.money(at.demand.depreciation_per_day).text()}")
    said.append(f"A day of waiting costs {plan.waiting_per_day.text()}: {', '.join(parts)}.")
    if s.bottleneck == "hours":
        said.append(
            "Your own hours are short, but a car that waits uses none, so no next project is counted."
        )
    said.append(
        f"The rule behind it: ask the take-it price plus a haggling band of about {plan.haggling_band.text()}, "
        f"because 1 % more price means about {plan.sensitivity:.1f} % fewer sales."
    )
    said.append(
        f"Were buyers less price-sensitive, the ask would be about {plan.other_asks[0].text()}; "
        f"more sensitive, {plan.other_asks[1].text()}."
    )
    if plan.median_days is None:
        said.append(
            f"With more than even odds it is still unsold after {s.deadline_days} days "
            f"({plan.unsold_at_deadline:.0%}) and goes for the fallback value."
        )
    else:
        said.append(
            f"Even odds to be sold by day {plan.median_days:.0f}; {plan.unsold_at_deadline:.0%} to be left at the deadline."
        )
    return said


def situation_day(situation: SaleSituation, day: date) -> SaleSituation:
    """The same situation starting on a calendar day, for weekday factors."""
    return replace(situation, weekday=day.weekday())
