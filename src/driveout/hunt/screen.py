"""A first look at very many adverts: the loss rule alone, on a coarse grid, by the class of advert.

It decides only which adverts are weighed closely afterwards. Left out against `weigh`: the
car's build, money tied up, and every rule but the accepted chance of a loss; mileage counts to
the nearest 50,000 km, and the ways out of a fault are chosen at the value to two figures. Each row's number
depends on that row alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from driveout.faults import Network, compile_network, shipped_network, with_silence
from driveout.hunt.advert import Advert
from driveout.hunt.setting import Setting
from driveout.hunt.weigh import evidence_of
from driveout.outlook import Case, CostBook, FaultChances, FaultFacts, Forecast, cost_book
from driveout.outlook.book import moments
from driveout.outlook.car_case import FETCH, PURCHASE, always_lines, ways_out
from driveout.outlook.many import OneOfMany, loss_ceilings

# How far the grid reaches: prior mean, eight standard deviations, and the dearest faults at once.
SPREADS, DEAREST = 8.0, 6


@dataclass(frozen=True, slots=True)
class _Group:
    """Adverts that share one network and one cost book."""

    runs: str
    layout: str
    value: float
    mileage_km: int | None


def screened(adverts: Sequence[Advert], setting: Setting) -> list[float | None]:
    """Walk-away price of each advert by the loss rule, roughly; None where no value is known.

    Parameters
    ----------
    adverts
        The adverts, all in the currency of the rules.
    setting
        Rules and knowledge.

    Returns
    -------
    list[float | None]
        Prices in the order given. [minor units]
    """
    groups: dict[_Group, list[int]] = {}
    for place, advert in enumerate(adverts):
        if advert.clean_value is not None and advert.currency == setting.rules.currency:
            group = _Group(
                advert.prior_class,
                "rear" if advert.drive == "rwd" else "front",
                two_figures(advert.clean_value.likely.minor),
                _coarse_km(advert.mileage_km),
            )
            groups.setdefault(group, []).append(place)
    found: list[float | None] = [None] * len(adverts)
    for group, places in groups.items():
        for place, price in zip(places, _of_group(group, [adverts[p] for p in places], setting), strict=True):
            found[place] = price
    return found


def two_figures(amount: float) -> float:
    """An amount rounded to two figures: 443,700 becomes 440,000."""
    if amount <= 0:
        return 0.0
    unit = 10.0 ** (math.floor(math.log10(amount)) - 1)
    return round(amount / unit) * unit


def _coarse_km(km: int | None) -> int | None:
    """Mileage to the nearest 50,000 km, 50,000 to 300,000; few different networks are then needed."""
    return None if km is None else min(max(round(km / 50_000), 1), 6) * 50_000


def _of_group(group: _Group, adverts: Sequence[Advert], setting: Setting) -> list[float]:
    rules = setting.rules
    known = {} if group.mileage_km is None else {"mileage_km": group.mileage_km}
    network = setting.network or shipped_network(group.runs, setting.own_pack, known)
    book, largest = _book(setting, network, group)
    cars = [
        OneOfMany(_evidence(advert, network), (float(v.low.minor), float(v.high.minor)))
        for advert in adverts
        if (v := advert.clean_value) is not None
    ]
    prices = loss_ceilings(compile_network(network), book, rules, cars, largest_cost=largest)
    factor = 1.0 + rules.purchase_tax_share
    out = []
    for advert, price in zip(adverts, prices, strict=True):
        trip = 2.0 * (advert.distance_km or 0.0) * rules.trip_per_km
        spent = sum(p.money.mean for p in book.always if p.label in (PURCHASE, FETCH)) + trip
        best = max(
            ways_out(rules, group.value), key=lambda w: w.money - rules.wage_per_hour * w.hours, default=None
        )
        floor = 0.0 if best is None else best.money - spent
        out.append(max(float(price) - trip / factor, floor / factor))
    return out


def _evidence(advert: Advert, network: Network) -> Mapping[str, str]:
    evidence, _ = evidence_of(advert, network, {})
    return with_silence(network, evidence)


@lru_cache(maxsize=256)
def _book(setting: Setting, network: Network, group: _Group) -> tuple[CostBook, float]:
    """Costs of a group, and a cost that no car goes beyond by more than a negligible chance."""
    rules, value = setting.rules, group.value
    repairs = setting.repairs_of(Advert(drive="rwd" if group.layout == "rear" else None))
    facts = setting.facts
    nothing = Case(FaultChances.independent({}), CostBook(), (1.0, 1.0), rules)
    made = Forecast(nothing)
    wanted = {
        fault: facts.get(fault, FaultFacts(state.name or cause.name))
        for cause in network.causes
        for state in cause.states
        for fault in [cause.fault_of(state)]
    }
    book, _ = cost_book(repairs, wanted, made.wage_charge, value, None, always_lines(rules, None))
    chance = {
        cause.fault_of(state): cause.prior.mean * state.share / sum(s.share for s in cause.states)
        for cause in network.causes
        for state in cause.states
    }
    means, mean, variance = [], 0.0, 0.0
    access = dict(book.access)
    for mend in book.mends:
        one, square = moments((*mend.pieces, *(access[g] for g in mend.opens)), made.cash_charge)
        p = chance.get(mend.fault, 0.0)
        means.append(one + 3.0 * math.sqrt(max(square - one * one, 0.0)))
        mean += p * one
        variance += p * square - (p * one) ** 2
    always = moments(book.always, made.cash_charge)
    reach = mean + always[0] + SPREADS * math.sqrt(max(variance + always[1] - always[0] ** 2, 0.0))
    return book, reach + sum(sorted(means)[-DEAREST:])
