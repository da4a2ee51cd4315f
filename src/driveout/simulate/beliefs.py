"""What every owner believes before the first car: a small part of the shipped knowledge, and plans made from it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from driveout.faults import Network, Posterior, infer, knowledge, with_silence
from driveout.faults.pack import Pack
from driveout.faults.shipped import network_of
from driveout.outlook import (
    Case,
    FaultFacts,
    Forecast,
    Rules,
    car_case,
    ceiling_from,
)
from driveout.repairs import Catalogue, catalogue
from driveout.uncertain import ThreePoint, fitted
from driveout.viewing.fault_plan import FaultPlan, plan_faults
from driveout.viewing.from_case import check_on_offer, viewing_of
from driveout.viewing.policy import Policy

#: the faults of the invented world, all of them in the shipped pack, each with a shipped repair
FAULTS = (
    "eng_head_gasket", "eng_coolant_leak", "eng_low_compression", "eng_misfire", "exh_cat_weak", "drv_clutch_worn",
    "drv_synchro", "sus_wheel_bearing", "brk_front_worn", "bod_rust_structural",
)  # fmt: skip
#: checks on offer at a viewing; of each only the findings named here
CHECKS: Mapping[str, tuple[str, ...]] = {
    "b_gas_in_coolant": ("b_gas_in_coolant",),
    "b_compression": ("b_compression",),
    "s_codes": ("s_codes_cat",),
    "s_misfire": ("s_misfire",),
    "d_clutch_hold": ("d_clutch_hold",),
    "u_rust_probe": ("u_rust_probe",),
}
#: signs weaker than this are left out of the invented world
LEAST_SIGN = 0.3
#: appraised values of sound cars, major units: few, so that plans are made once and used often
LEVELS = (3200.0, 4600.0, 6500.0)
CAR = {"gearbox": "manual", "drive": "fwd", "mileage_km": 190_000}
CLASS = "sick"
#: hours and money against the catalogue that plans are made for, as a logarithm: the nearest counts
HOUR_STEPS = (-0.3, -0.1, 0.1, 0.3, 0.5, 0.8)
MONEY_STEPS = (-0.1, 0.05, 0.2)
POINTS = 256
#: minutes that a seller lets one look
VIEWING_MINUTES = 75.0
DOUBT_OF_VALUE = 0.13


@cache
def believed_pack() -> Pack:
    """The shipped pack cut down to the faults, signs and checks of the invented world."""
    whole = knowledge()
    faults = {name: whole.faults[name] for name in FAULTS}
    wanted = {finding for findings in CHECKS.values() for finding in findings}
    signs = {}
    for sign in whole.signs.values():
        shows = {f: given for f, given in sign.shows.items() if f in faults}
        strong = any(b.mean >= LEAST_SIGN for given in shows.values() for b in given)
        if strong and (sign.words or sign.id in wanted):
            signs[sign.id] = replace(sign, shows=shows)
    competing = {}
    for group in whole.competing.values():
        members = tuple(f for f in group.faults if f in faults)
        if len(members) > 1:
            competing[group.id] = replace(group, faults=members)
    checks = {name: replace(whole.checks[name], findings=findings) for name, findings in CHECKS.items()}
    brings = tuple(b for b in whole.brings if b.parent in faults and b.child in faults)
    return replace(whole, faults=faults, signs=signs, checks=checks, competing=competing, brings=brings)


@cache
def believed_network() -> Network:
    """The network that owners go by."""
    return network_of(believed_pack(), CLASS, CAR)


@cache
def fault_facts() -> dict[str, FaultFacts]:
    """Loss of value of each fault and whether a car may be sold with it, as believed."""
    return {
        fault.id: FaultFacts(fault.name, ThreePoint(*fault.value_loss), fault.safety == "critical")
        for fault in believed_pack().faults.values()
    }


@cache
def loss_shares() -> dict[str, float]:
    """Share of the value lost when a fault is left, on average."""
    return {name: fitted(facts.value_loss).mean for name, facts in fault_facts().items() if facts.value_loss}


@dataclass(frozen=True)
class Mending:
    """The usual repair of a fault: its middle and mean hours and money, and the share of days waited. Major units."""

    fault: str
    repair: str
    hours_middle: float
    hours_mean: float
    money_middle: float
    money_mean: float
    days: float
    is_critical: bool


@cache
def repair_of(fault: str) -> Mending:
    """The first shipped repair of a fault, by itself."""
    repair = _shipped().for_fault(fault)[0]
    for one in _shipped().for_fault(fault):
        if len(one.cures) < len(repair.cures):
            repair = one
    choice = repair.first_choice
    money = [choice.money, repair.consumables, *(work.money for work in repair.outside)]
    laws = [fitted(points) for points in money if points.high > 0]
    hours = fitted(repair.hours)
    return Mending(
        fault,
        repair.id,
        hours.quantile(0.5) * choice.hours_share,
        hours.mean * choice.hours_share,
        sum(law.quantile(0.5) for law in laws) / 100.0,
        sum(law.mean for law in laws) / 100.0,
        fitted(choice.lead_days).mean,
        believed_pack().faults[fault].safety == "critical",
    )


@cache
def _shipped() -> Catalogue:
    return catalogue(None, layout="front_drive")


@lru_cache(maxsize=64)
def learned_catalogue(hours: float, money: float) -> Catalogue:
    """The repairs of the invented world with hours and money as an owner has learned to expect them."""
    whole = _shipped()
    h, m = math.exp(hours), math.exp(money)
    kept = {}
    for fault in FAULTS:
        one = whole.repairs[repair_of(fault).repair]
        kept[one.id] = replace(
            one,
            hours=one.hours.times(h),
            own_hours=one.hours.times(h),
            access="",
            choices={one.first_choice.kind: replace(one.first_choice, money=one.first_choice.money.times(m))},
            consumables=one.consumables.times(m),
            outside=tuple(replace(work, money=work.money.times(m)) for work in one.outside),
            cures=tuple(f for f in one.cures if f in FAULTS),
            grows=(),
            fixes=1.0,
            redo=replace(one.redo, chance=0.0),
        )
    return replace(whole, repairs=kept, access={})


@lru_cache(maxsize=8)
def rules_for(wage: float, day_cost: float, with_loss_rule: bool) -> Rules:
    """The rules of an owner who wants so much an hour and so much a day. [major units]."""
    return Rules(
        chosen=("wage", "loss") if with_loss_rule else ("wage",),
        wage_per_hour=100.0 * wage,
        hours_per_week=12.0,
        holding_per_day=100.0 * day_cost,
        capital_share_per_year=0.08,
        purchase_tax_share=0.0,
        purchase_costs=ThreePoint(9000, 11000, 13000),
        sale_costs=ThreePoint(7000, 8500, 10000),
        fetch_costs=ThreePoint(4000, 6000, 8000),
        outside_hours=ThreePoint(15, 18, 22),
        idle_days=ThreePoint(10, 22, 45),
        # What a bad car brings otherwise is left out before buying: it makes the plans exact and quick,
        # and the walk-away price a little too low.
        scrap=0.0,
        part_out=0.0,
        as_it_stands_share=0.0,
    )


@lru_cache(maxsize=20_000)
def posterior(evidence: tuple[tuple[str, str], ...]) -> Posterior:
    """Chances of the faults by what the advert says and checks showed; silence counts a little."""
    return infer(believed_network(), with_silence(believed_network(), dict(evidence)))


@dataclass(frozen=True, eq=False)
class Weighed:
    """An advert as an owner with these beliefs weighs it. Major units.

    Parameters
    ----------
    by_mean
        Walk-away price by the advert alone.
    spread
        Standard deviation of the margin.
    plan
        The viewing over the checks on offer.
    value
        Appraised value of the sound car.
    """

    by_mean: float
    spread: float
    plan: FaultPlan
    value: float

    def advice(self, price: float) -> Policy:
        """Which check when, at a price; prices are taken in steps of a fiftieth of the value."""
        step = max(round(50.0 * price / self.value), 1)
        return _advice(self, step)


@lru_cache(maxsize=8192)
def _advice(made: Weighed, step: int) -> Policy:
    return made.plan.policy([2.0 * step * made.value])


def nearest(value: float, steps: tuple[float, ...]) -> float:
    """The step nearest to a value."""
    return min(steps, key=lambda step: abs(step - value))


@lru_cache(maxsize=4096)
def forecast_of(
    says: tuple[tuple[str, str], ...], value: float, hours: float, money: float, rules: Rules
) -> Forecast:
    """The outlook of a car before anything was checked, with what an owner has learned."""
    return Forecast(_case(posterior(says), value, hours, money, rules), POINTS)


def _case(chances: Posterior, value: float, hours: float, money: float, rules: Rules) -> Case:
    minor = 100.0 * value
    return car_case(
        chances,
        learned_catalogue(hours, money),
        rules,
        (minor * math.exp(-1.2816 * DOUBT_OF_VALUE), minor, minor * math.exp(1.2816 * DOUBT_OF_VALUE)),
        facts=fault_facts(),
    )


@lru_cache(maxsize=4096)
def weighed(
    says: tuple[tuple[str, str], ...], value: float, hours: float, money: float, rules: Rules
) -> Weighed:
    """Weigh an advert and plan its viewing.

    Parameters
    ----------
    says
        What the advert says.
    value
        Appraised value. [major units]
    hours
        What was learned of own hours, as a logarithm, one of the steps.
    money
        What was learned of money, as a logarithm, one of the steps.
    rules
        The owner's rules.

    Returns
    -------
    Weighed
        Kept, because the same advert comes again.
    """
    made = forecast_of(says, value, hours, money, rules)
    ceiling = ceiling_from(made)
    pack = believed_pack()
    offered = tuple(check_on_offer(pack.checks[name], findings) for name, findings in CHECKS.items())
    viewing = viewing_of(
        made.case, posterior(says), offered, minutes_available=VIEWING_MINUTES, known=(made, ceiling)
    )
    plan = plan_faults(viewing)
    spread = math.sqrt(max(made.charged.cost.variance, 0.0)) / 100.0
    return Weighed(ceiling.price / 100.0, spread, plan, value)


def expected_repairs(evidence: tuple[tuple[str, str], ...], money: float = 0.0) -> float:
    """Money that mending all faults takes on average, by all that is known. [major units]."""
    chances = posterior(evidence).faults
    return math.exp(money) * sum(chances[fault] * repair_of(fault).money_mean for fault in FAULTS)
