"""Makers for the tests of lessons."""

from __future__ import annotations

from decimal import Decimal

from driveout.lessons import Estimate, EstimateLine
from driveout.uncertain import ThreePoint
from tests.money.story import START, usd


def an_estimate(wage: str = "15") -> Estimate:
    """What was expected of the car in tests/money/story.py before buying it."""
    sure = lambda amount: ThreePoint(amount, amount, amount)  # noqa: E731
    return Estimate(
        currency="USD",
        lines=(
            EstimateLine("purchase", "purchase", "The car", sure(1450.0)),
            EstimateLine(
                "clutch",
                "parts",
                "Clutch kit",
                ThreePoint(110, 140, 190),
                ThreePoint(3, 4, 7),
                kind_of_work="clutch",
            ),
            EstimateLine(
                "cooling",
                "parts",
                "Coolant leak",
                ThreePoint(30, 50, 120),
                ThreePoint(1, 2, 4),
                Decimal(2),
                "cooling",
            ),
            EstimateLine("tyres", "parts", "Two tyres", sure(120.0)),
        ),
        sale_price=usd("3300"),
        selling_fees=usd("20"),
        wage=usd(wage),
        frozen_on=START,
    )
