"""What an asking plan says: as data and in sentences."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

from driveout.money.sale_forecast import SaleForecast
from driveout.selling.believed import SaleNumbers
from driveout.selling.situation import SaleSituation
from driveout.units import Money


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


def forecast_of(plan: AskingPlan) -> SaleForecast:
    """Days to the sale and price as the plan forecasts them, to be laid beside what comes."""
    sold_by = ((0.0, 0.0), *((float(step.to_day), step.sold_by) for step in plan.steps))
    shares = [after - before for (_, before), (_, after) in itertools.pairwise(sold_by)]
    prices = [(step.ask, share) for step, share in zip(plan.steps, shares, strict=True)]
    return SaleForecast(sold_by, (*prices, (plan.situation.fallback, 1 - sum(shares))))


def plan_in_words(plan: AskingPlan, at: SaleNumbers) -> list[str]:
    """The plan in sentences, the price first, then what waiting costs and how sure it is."""
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
