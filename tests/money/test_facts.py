"""Facts are dated and sourced; what is not on file is refused, never guessed."""

from __future__ import annotations

import datetime
import tomllib
from decimal import Decimal

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.files import shipped
from driveout.money.facts import margin_scheme_tax, mileage_rate
from driveout.sources import cite
from tests.money.story import usd


@pytest.mark.parametrize("day", ["2021-12-31", "2027-01-01"])
def test_a_year_without_a_rate_on_file_is_refused(day: str) -> None:
    with pytest.raises(CannotSay, match="Type your own rate"):
        mileage_rate(datetime.date.fromisoformat(day))


def test_another_place_is_refused() -> None:
    with pytest.raises(CannotSay, match="No mileage rate for UK"):
        mileage_rate(datetime.date(2026, 1, 1), "UK")


def test_every_fact_has_a_source_on_the_shelf() -> None:
    facts = tomllib.loads(shipped("driveout.money", "data/facts.toml").decode())
    for row in facts["mileage"]:
        assert cite(row["source"]).title


def test_a_tax_rate_in_percent_is_refused() -> None:
    with pytest.raises(BadEntry, match=r"Write 0\.20"):
        margin_scheme_tax(usd("1"), usd("2"), Decimal(20))
