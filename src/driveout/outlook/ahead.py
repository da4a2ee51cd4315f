"""What is still to come of a car: money, own hours and days from today on; what is spent is spent."""

from __future__ import annotations

import math
from dataclasses import dataclass

from driveout.outlook.forecast import Band, Case, Forecast
from driveout.outlook.spread import FINE


@dataclass(frozen=True)
class Ahead:
    """What is still to come if a car is gone on with. Money in minor units.

    Parameters
    ----------
    currency
        ISO 4217 code.
    money
        Sale less everything that is still to be paid; own hours are not charged.
    hours
        Own hours still to work. [h]
    days
        Days until it is sold. [days]
    finish_days
        Days until the work is finished. [days]
    cash_out
        Still to be paid before the sale, not more in nine of ten cases.
    per_hour
        Mean money over mean hours to come: what a further hour brings; NaN without hours.
    worth
        Mean money less the hours to come at the person's wage.
    """

    currency: str
    money: Band
    hours: Band
    days: Band
    finish_days: Band
    cash_out: float
    per_hour: float
    worth: float


def ahead_of(case: Case, points: int = FINE) -> Ahead:
    """What is still to come of a car; see `Ahead`.

    Parameters
    ----------
    case
        The car as known today.
    points
        Grid points of the money distribution.

    Returns
    -------
    Ahead
        Nothing of it depends on what has been paid for the car, or on money that is spent.
    """
    return ahead_from(Forecast(case, points))


def ahead_from(made: Forecast) -> Ahead:
    """The same from a forecast that is being computed anyway."""
    case, outlook = made.case, made.outlook()
    gone = spent(made)
    margin = made.cash

    def money(share: float) -> float:
        return margin.quantile(share) + gone

    mean = margin.mean + gone
    hours = less(outlook.hours, case.hours_done)
    return Ahead(
        case.rules.currency,
        Band(money(0.10), money(0.50), money(0.90), mean),
        hours,
        less(outlook.days, case.elapsed_days),
        less(outlook.finish, case.elapsed_days),
        max(made.cash.cost.quantile(0.90) + case.received + case.usual[0] - gone, 0.0),
        mean / hours.mean if hours.mean > 0.0 else math.nan,
        mean - case.rules.wage_per_hour * hours.mean,
    )


def spent(made: Forecast) -> float:
    """Money that is gone by today and has come in, whatever is done next. [minor units]."""
    case = made.case
    return case.sunk + case.sunk_first + case.rules.holding_per_day * case.elapsed_days - case.received


def less(band: Band, gone: float) -> Band:
    """What is left of hours or days after those that are gone."""
    return Band(
        max(band.low - gone, 0.0),
        max(band.middle - gone, 0.0),
        max(band.high - gone, 0.0),
        max(band.mean - gone, 0.0),
    )
