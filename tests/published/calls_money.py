"""Adaptors that build money models for the printed values in money.toml."""

from __future__ import annotations

import datetime
from decimal import Decimal

from driveout.money import CashMove, core_bill, dietz_return, rates_of_return, yearly_rates
from driveout.money.facts import margin_scheme_tax, mileage_rate
from driveout.money.measures import average_capital, earnings
from driveout.units import Money


def core(part: str, core: str, rate: str, core_taxed: bool, tax_refunded: bool) -> dict[str, str]:
    """Pay, back and net of a part with a core deposit, as plain amounts."""
    bill = core_bill(
        Money.of(part, "USD"),
        Money.of(core, "USD"),
        Decimal(rate),
        core_taxed=core_taxed,
        tax_refunded=tax_refunded,
    )
    return {"pay": str(bill.pay.major), "back": str(bill.back.major), "net": str(bill.net.major)}


def split(minor: int, weights: list[int]) -> str:
    """Parts of an amount, joined by commas."""
    return ",".join(str(part.minor) for part in Money(minor, "USD").split(weights))


def rate(amounts: list[float]) -> float:
    """Only rate per period of evenly spaced flows."""
    (only,) = rates_of_return(range(len(amounts)), amounts)
    return only


def rates(amounts: list[float]) -> dict[str, float]:
    """All rates per period, with their count."""
    found = rates_of_return(range(len(amounts)), amounts)
    return {"count": len(found), **{f"r{i}": value for i, value in enumerate(found)}}


def dated_rate(days: list[str], amounts: list[float]) -> float:
    """Only yearly rate of dated flows."""
    (only,) = yearly_rates([(datetime.date.fromisoformat(d), a) for d, a in zip(days, amounts, strict=True)])
    return only


def short_hold() -> dict[str, float]:
    """-2500 on day 0, -600 on 5, -300 on 20, -80 on 40, +4500 on 45."""
    start = datetime.date(2026, 1, 1)
    moves = [
        CashMove(start + datetime.timedelta(days=n), Money.of(amount, "USD"))
        for n, amount in ((0, -2500), (5, -600), (20, -300), (40, -80), (45, 4500))
    ]
    capital = average_capital(moves)
    result = earnings(Money.of(1020, "USD"), moves, 0)
    (rate,) = yearly_rates([(move.day, float(move.amount.minor)) for move in moves])
    flows = [(float(n), -a) for n, a in ((5.0, -600.0), (20.0, -300.0), (40.0, -80.0))]
    period = dietz_return(2500.0, 4500.0, flows, 45.0)
    return {
        "capital": capital / 100,
        "period_percent": 100 * period,
        "measured_percent": 100 * (result.on_average_capital or 0.0),
        "simple_annual_percent": 100 * period * 365 / 45,
        "rate_percent": 100 * rate,
        "compound_percent": 100 * ((1 + period) ** (365 / 45) - 1),
        "shown_rates": len(result.yearly_rates),
    }


def mileage(day: str) -> str:
    """Mileage rate in cents per mile."""
    return f"{float(mileage_rate(datetime.date.fromisoformat(day)).per_mile * 100):g}"


def margin_tax(bought: str, sold: str, rate: str) -> str:
    """Tax in the margin, major units."""
    return str(margin_scheme_tax(Money.of(bought, "EUR"), Money.of(sold, "EUR"), Decimal(rate)).major)
