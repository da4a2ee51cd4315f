"""Weigh an advert: probable faults, outlook, walk-away price, and why."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from driveout.errors import CannotSay
from driveout.faults import SILENT, SUPPOSED, Network, Posterior, infer
from driveout.hunt.bid import Bid, bid_against_least_price, least_price_from_asking
from driveout.hunt.ceiling import Ceiling, Swing, ceiling_from, rule_variants, tornado
from driveout.hunt.order import Trip, prize
from driveout.outlook import (
    CEILING_RULES,
    Case,
    CostBook,
    FaultChances,
    FaultFacts,
    Forecast,
    Mend,
    Outlook,
    Piece,
    Plan,
    Rules,
    car_case,
    check_currency,
    moments,
    no_value,
    outlook_as_data,
    title_evidence,
)
from driveout.outlook.spread import FINE
from driveout.repairs import Catalogue
from driveout.uncertain import Fixed, Law
from driveout.units import Money

#: inputs shown in the tornado for each kind
MOST_SWINGS = 5
LEAVE = "leave it and say so"


class AdvertFacts(Protocol):
    """What weighing needs to know of an advert."""

    @property
    def currency(self) -> str:
        """ISO 4217 code."""
        ...

    @property
    def asking(self) -> Money | None:
        """Asking price, if any."""
        ...

    @property
    def title(self) -> str:
        """``clean``, ``rebuilt``, ``salvage``, ``none`` or ``unknown``."""
        ...

    @property
    def evidence(self) -> Mapping[str, Any]:
        """Finding id to ``yes``, ``no``, ``supposed`` or ``silent``."""
        ...

    @property
    def clean_value(self) -> Any:
        """Range of the value of the mended car, with ``low``, ``likely``, ``high`` money."""
        ...

    @property
    def distance_km(self) -> float | None:
        """Way to the car, one way. [km]."""
        ...


@dataclass(frozen=True)
class CauseChance:
    """One thing that may be wrong.

    Parameters
    ----------
    fault
        Fault id.
    name
        What a person reads.
    chance
        Chance given all that is known.
    cost_mean
        What it takes on average if it is there, hours at the wage. [minor units].
    plan
        What would be done about it.
    """

    fault: str
    name: str
    chance: float
    cost_mean: float
    plan: str


@dataclass(frozen=True, eq=False)
class Weighing:
    """Buy or walk, and why.

    Parameters
    ----------
    advert
        What was weighed.
    causes
        What may be wrong, the dearest on average first.
    outlook
        Joint forecast at the asking price.
    ceiling
        Walk-away price and the rule that sets it.
    swings
        What moves the walk-away price most; empty when not asked for.
    bid
        Offer with the greatest expected gain, None without an asking price.
    verdict
        ``buy``, ``haggle`` or ``walk``; ``no price`` without an asking price.
    why
        The answer in sentences.
    missing
        What was not known and what was assumed instead.
    case
        Everything the outlook was made from.
    evidence
        Findings that were used, without the silences.
    """

    advert: AdvertFacts
    causes: tuple[CauseChance, ...]
    outlook: Outlook
    ceiling: Ceiling
    swings: tuple[Swing, ...]
    bid: Bid | None
    verdict: str
    why: tuple[str, ...]
    missing: tuple[str, ...]
    case: Case = field(repr=False)
    evidence: Mapping[str, str] = field(default_factory=dict)


def weigh(
    advert: AdvertFacts,
    rules: Rules,
    network: Network,
    repairs: Catalogue,
    *,
    facts: Mapping[str, FaultFacts] | None = None,
    findings: Mapping[str, str] | None = None,
    plan: Plan | None = None,
    with_swings: bool = True,
    points: int = FINE,
) -> Weighing:
    """Probable faults, outlook, walk-away price and why, for one advert.

    Parameters
    ----------
    advert
        Facts of the advert; a value of the mended car must be known.
    rules
        The person's own rules.
    network
        What speaks for what, for the advert's class.
    repairs
        Known repairs.
    facts
        Name and loss of value of each fault, where a fault may be left.
    findings
        Results of checks made since, which outweigh what the advert says.
    plan
        Repairs chosen, faults to leave, personal factors.
    with_swings
        Whether to work out what moves the walk-away price.
    points
        Grid points of the money distribution.

    Returns
    -------
    Weighing
        The answer.

    Raises
    ------
    CannotSay
        If no value of the mended car is known, or a chosen rule has no answer.
    BadEntry
        If the currencies differ or a finding is not known.
    """
    evidence, notes = evidence_of(advert, network, findings or {})
    posterior = infer(network, {**_silences(network, evidence), **evidence})
    case = case_of(advert, rules, posterior, repairs, facts=facts, plan=plan, notes=notes)
    return weighing_of_case(
        advert, case, network, facts=facts, evidence=evidence, with_swings=with_swings, points=points
    )


def weighing_of_case(
    advert: AdvertFacts,
    case: Case,
    network: Network,
    *,
    facts: Mapping[str, FaultFacts] | None = None,
    evidence: Mapping[str, str] | None = None,
    with_swings: bool = True,
    points: int = FINE,
) -> Weighing:
    """Weigh a case that is made already, such as the one behind a stored car's outlook strip.

    Parameters
    ----------
    advert
        Facts of the advert.
    case
        Everything the outlook is made from.
    network
        The fault network, for the names of faults.
    facts
        Name and loss of value of each fault.
    evidence
        Findings that were used.
    with_swings
        Whether to work out what moves the walk-away price.
    points
        Grid points of the money distribution.

    Returns
    -------
    Weighing
        The answer.

    Raises
    ------
    CannotSay
        If a chosen rule has no answer.
    """
    made = Forecast(case, points)
    ceiling, outlook = ceiling_from(made), made.outlook()
    causes = causes_of(case, network, facts or {}, made)
    swings = tornado(swing_variants(case, outlook), made) if with_swings else ()
    bid = None
    if advert.asking is not None:
        spread = float(np.sqrt(max(made.charged.cost.variance, 0.0)))
        bid = bid_against_least_price(
            made.charged.mean / made.price_factor,
            spread,
            least_price_from_asking(float(advert.asking.minor)),
            most=ceiling.price,
        )
    verdict = _verdict(advert, ceiling, bid)
    heard = {name: label for name, label in (evidence or {}).items() if label != SILENT}
    return Weighing(
        advert,
        causes,
        outlook,
        ceiling,
        swings,
        bid,
        verdict,
        _why(advert, case.rules, ceiling, outlook, causes, bid, verdict),
        case.notes,
        case,
        heard,
    )


def evidence_of(
    advert: AdvertFacts, network: Network, findings: Mapping[str, str]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Evidence for the network: what the advert says, then what checks showed.

    Parameters
    ----------
    advert
        Facts of the advert.
    network
        Tells which labels a finding may carry.
    findings
        Results of checks, by finding or cause id.

    Returns
    -------
    tuple[dict[str, str], tuple[str, ...]]
        Label of each finding, and notes on what could not be used.
    """
    evidence: dict[str, str] = {}
    notes: list[str] = []
    for name, said in advert.evidence.items():
        finding = network.finding.get(name)
        if finding is None:
            notes.append(
                f"The advert names {name!r}, which this fault network does not know; it was left out."
            )
            continue
        if said == SUPPOSED and finding.kind != "advert":
            notes.append(f"{finding.name} is only supposed; it counts when it is checked.")
            continue
        labels = finding.outcomes
        known = said in labels or said in (SUPPOSED, SILENT)
        evidence[name] = said if known else labels[0 if said == "no" else 1]
    for name, label in title_evidence(advert.title, network).items():
        evidence.setdefault(name, label)
    evidence.update(findings)
    return evidence, tuple(notes)


def case_of(
    advert: AdvertFacts,
    rules: Rules,
    posterior: Posterior,
    repairs: Catalogue,
    *,
    facts: Mapping[str, FaultFacts] | None = None,
    plan: Plan | None = None,
    notes: Collection[str] = (),
) -> Case:
    """Everything the outlook of an advert is made from.

    Parameters
    ----------
    advert
        Facts of the advert.
    rules
        The person's own rules.
    posterior
        Chances of the faults.
    repairs
        Known repairs.
    facts
        Name and loss of value of each fault.
    plan
        Repairs chosen, faults to leave, lessons.
    notes
        What is missing so far.

    Returns
    -------
    Case
        Chances, costs, resale, rules, ways out.

    Raises
    ------
    CannotSay
        If no value of the mended car is known.
    """
    value = advert.clean_value
    if value is None:
        raise no_value()
    check_currency(rules, advert.currency)
    return car_case(
        posterior,
        repairs,
        rules,
        (float(value.low.minor), float(value.likely.minor), float(value.high.minor)),
        price=None if advert.asking is None else float(advert.asking.minor),
        distance_km=advert.distance_km,
        facts=facts,
        plan=plan,
        notes=notes,
    )


def causes_of(
    case: Case, network: Network, facts: Mapping[str, FaultFacts], made: Forecast
) -> tuple[CauseChance, ...]:
    """What may be wrong, the dearest on average first."""
    charge = made.wage_charge
    names = {c.fault_of(s): s.name or c.name for c in network.causes for s in c.states}
    mends, access = {m.fault: m for m in case.book.mends}, dict(case.book.access)
    found = []
    for fault, chance in case.chances.of_fault.items():
        mend = mends.get(fault)
        pieces = () if mend is None else (*mend.pieces, *(access[g] for g in mend.opens))
        cost = moments(pieces, charge)[0]
        name = facts[fault].name if fault in facts and facts[fault].name else names.get(fault, fault)
        plan = "" if mend is None else mend.label.split(": ", 1)[-1] if mend.repair else LEAVE
        found.append(CauseChance(fault, name, chance, cost, plan))
    return tuple(sorted(found, key=lambda c: -c.chance * max(c.cost_mean, 1e-9)))


def swing_variants(case: Case, outlook: Outlook) -> dict[str, tuple[Case, Case]]:
    """Variants for the tornado: the rules, the dearest faults' chances and costs, own hours."""
    variants = rule_variants(case)
    for name, piece in enumerate(case.book.always):
        if piece.hours.variance > 0:
            variants[piece.label] = (
                replace(case, book=_with_always(case.book, name, piece.hours.quantile(0.1))),
                replace(case, book=_with_always(case.book, name, piece.hours.quantile(0.9))),
            )
    lines = [line for line in outlook.lines if line.kind == "fault" and line.chance]
    dearest = sorted(lines, key=lambda line: line.profit_mean)[:MOST_SWINGS]
    for line in dearest:
        mend = next(m for m in case.book.mends if m.fault == line.fault)
        variants[f"Cost of: {mend.label}"] = (
            replace(case, book=_with_mend(case.book, mend, 0.1)),
            replace(case, book=_with_mend(case.book, mend, 0.9)),
        )
        if isinstance(case.chances, FaultChances):
            title = mend.label.split(": ", 1)[0 if mend.repair else 1]
            variants[f"Chance of: {title}"] = (
                replace(case, chances=case.chances.with_odds(line.fault, 0.5)),
                replace(case, chances=case.chances.with_odds(line.fault, 2.0)),
            )
    return variants


#: what a viewing brings to light of the spread that the faults make, hours of a viewing, speed on the
#: way: common practice, no source
VIEWING_SHOWS, VIEWING_HOURS, SPEED_KM_PER_HOUR = 0.7, 1.5, 50.0


def trip_of(weighing: Weighing, name: str, *, price: float | None = None) -> Trip:
    """A car as something to go and see: what it may turn out to be worth over its price, and the cost of going.

    Parameters
    ----------
    weighing
        The car, weighed.
    name
        What a person calls it.
    price
        Price it may be had for; the asking price if left out. [minor units]

    Returns
    -------
    Trip
        For the order of visits; the worth is taken as normal, with the part of its spread that a
        viewing shows.

    Raises
    ------
    CannotSay
        If there is no price.

    References
    ----------
    weitzman-1979; own-reasoning, docs/method/ceiling.md.
    """
    asking = weighing.advert.asking
    paid = price if price is not None else None if asking is None else float(asking.minor)
    if paid is None:
        raise CannotSay(f"{name} has no price, so going to see it cannot be compared.", missing="price")
    rules, outlook = weighing.case.rules, weighing.outlook
    way_km = 2.0 * (weighing.advert.distance_km or 0.0)
    hours = VIEWING_HOURS + way_km / SPEED_KM_PER_HOUR
    amounts, chances = prize(
        outlook.charged.mean - paid * outlook.price_factor,
        VIEWING_SHOWS * float(np.sqrt(max(outlook.charged.cost.variance, 0.0))),
    )
    return Trip(name, amounts, chances, way_km * rules.trip_per_km + hours * rules.wage_per_hour, hours)


def weighing_as_data(weighing: Weighing) -> dict[str, Any]:
    """The weighing as plain values: money in minor units with its currency beside it."""
    ceiling, bid = weighing.ceiling, weighing.bid
    currency = ceiling.currency

    def cents(value: float | None) -> int | None:
        return None if value is None else round(value)

    return {
        "currency": currency,
        "money_unit": "minor",
        "verdict": weighing.verdict,
        "walk_away_minor": ceiling.money.minor,
        "walk_away": ceiling.money.text(),
        "binding_rule": ceiling.binding,
        "rules": [
            {"rule": r.rule, "price_minor": r.minor, "chosen": r.rule in ceiling.chosen, "why": r.why}
            for r in ceiling.rules
        ],
        "bid": None
        if bid is None
        else {
            "amount_minor": cents(bid.amount),
            "chance": bid.chance,
            "gain_minor": cents(bid.gain),
            "lemons_term_minor": cents(bid.lemons_term),
        },
        "causes": [
            {
                "fault": c.fault,
                "name": c.name,
                "chance": c.chance,
                "cost_mean_minor": cents(c.cost_mean),
                "plan": c.plan,
            }
            for c in weighing.causes
        ],
        "outlook": outlook_as_data(weighing.outlook),
        "swings": [
            {"label": s.label, "at_low_minor": cents(s.at_low), "at_high_minor": cents(s.at_high)}
            for s in weighing.swings
        ],
        "why": list(weighing.why),
        "missing": list(weighing.missing),
        "evidence": dict(weighing.evidence),
    }


def _silences(network: Network, evidence: Mapping[str, str]) -> dict[str, str]:
    return {f.id: SILENT for f in network.findings if f.kind == "advert" and f.id not in evidence}


def _verdict(advert: AdvertFacts, ceiling: Ceiling, bid: Bid | None) -> str:
    if advert.asking is None:
        return "no price"
    if advert.asking.minor <= ceiling.price:
        return "buy"
    return "haggle" if bid is not None and bid.chance >= 0.05 and bid.gain > 0 else "walk"


def _why(
    advert: AdvertFacts,
    rules: Rules,
    ceiling: Ceiling,
    outlook: Outlook,
    causes: tuple[CauseChance, ...],
    bid: Bid | None,
    verdict: str,
) -> tuple[str, ...]:
    def text(minor: float) -> str:
        return Money(round(minor), ceiling.currency).text()

    limit = ceiling.money.text()
    said = []
    if ceiling.is_worthless:
        said.append("Walk away at any price: no price above 0 keeps your rules.")
    else:
        said.append(f"Walk away above {limit}: {_rule_in_words(ceiling.binding, rules, text)}.")
    if advert.asking is not None:
        gap = advert.asking.minor - ceiling.price
        if verdict == "buy":
            said.append(f"The asking price {advert.asking.text()} is {text(-gap)} under that.")
        else:
            said.append(f"The asking price {advert.asking.text()} is {text(gap)} over that.")
        band = outlook.profit
        said.append(
            f"At the asking price the profit would be {text(band.middle)} in the middle, "
            f"{text(band.low)} to {text(band.high)} in eight of ten cases; a loss in "
            f"{100 * outlook.loss_chance:.0f} of 100."
        )
    if bid is not None and verdict != "buy" and bid.gain > 0:
        said.append(
            f"An offer of {text(bid.amount)} would be taken in about {100 * bid.chance:.0f} of 100 cases "
            f"and gains most on average."
        )
    dear = [c for c in causes if c.chance >= 0.02 and c.cost_mean > 0][:3]
    if dear:
        listed = "; ".join(
            f"{c.name.lower()} ({100 * c.chance:.0f} %, about {text(c.cost_mean)} with your hours)"
            for c in dear
        )
        said.append(f"What weighs most: {listed}.")
    hours = outlook.hours
    said.append(
        f"Own hours: {hours.mean:.0f} on average, {hours.low:.0f} to {hours.high:.0f} in eight of ten cases; "
        f"{outlook.days.mean:.0f} days from buying to sold."
    )
    if outlook.salvage is not None and outlook.let_go_chance >= 0.01:
        said.append(
            f"In {100 * outlook.let_go_chance:.0f} of 100 cases it would be better to {outlook.salvage.label}; "
            "that is counted in."
        )
    return tuple(said)


def _rule_in_words(rule: str, rules: Rules, text: Any) -> str:
    if rule == "wage":
        return f"above it your hours bring less than {text(rules.wage_per_hour)} each on average"
    if rule == "loss":
        return f"above it a loss comes more often than in {100 * rules.loss_chance:g} of 100 cases"
    if rule == "tail":
        return (
            f"above it the worst {100 * rules.tail_share:g} of 100 cases lose more than "
            f"{text(rules.tail_loss)} on average"
        )
    return f"above it the risk is not worth it at a tolerance of {text(rules.risk_tolerance)} ({CEILING_RULES[rule]})"


def _with_always(book: CostBook, index: int, hours: float) -> CostBook:
    lines = list(book.always)
    lines[index] = replace(lines[index], hours=Fixed(hours))
    return replace(book, always=tuple(lines))


def _with_mend(book: CostBook, mend: Mend, share: float) -> CostBook:
    fixed = replace(mend, pieces=tuple(_at_share(piece, share) for piece in mend.pieces))
    return replace(book, mends=tuple(fixed if m.fault == mend.fault else m for m in book.mends))


def _at_share(piece: Piece, share: float) -> Piece:
    def at(law: Law) -> Law:
        return Fixed(law.quantile(share))

    return replace(
        piece,
        money=at(piece.money),
        hours=at(piece.hours),
        days=at(piece.days),
        also=tuple(at(law) for law in piece.also),
    )
