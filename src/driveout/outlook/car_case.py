"""From the chances of faults, the repairs and the person's rules to the case of one car."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from driveout.errors import CannotSay
from driveout.faults import Posterior, title_evidence
from driveout.faults.posterior import folded_rows
from driveout.lessons import Bias, corrected
from driveout.outlook.book import Charge, CostBook, Piece
from driveout.outlook.chances import FaultChances, chances_of
from driveout.outlook.draws import FaultDraws
from driveout.outlook.forecast import HOURS, Case, Forecast, Salvage
from driveout.outlook.from_catalogue import FaultFacts, Plan, cost_book
from driveout.outlook.spread import parts_by_charge
from driveout.repairs import Catalogue
from driveout.rules import Rules
from driveout.uncertain import Fixed, fitted

__all__ = [
    "always_lines",
    "car_case",
    "chances_or_draws",
    "check_currency",
    "no_value",
    "title_evidence",
    "usual_faults",
    "ways_out",
]

#: positive findings that hang together, beyond which fault sets are drawn instead of summed
MOST_OPEN = 12
DRAWS, SEED = 20_000, 11
#: chance from which a fault without known cost is worth a note
WORTH_A_NOTE = 0.02


def car_case(
    posterior: Posterior,
    repairs: Catalogue,
    rules: Rules,
    value: tuple[float, float, float],
    *,
    price: float | None = None,
    distance_km: float | None = None,
    facts: Mapping[str, FaultFacts] | None = None,
    plan: Plan | None = None,
    notes: Collection[str] = (),
) -> Case:
    """Everything the outlook of a car is made from.

    Parameters
    ----------
    posterior
        Chances of the faults.
    repairs
        Known repairs.
    rules
        The person's own rules.
    value
        Low, likely, high of the sale price of the mended car. [minor units]
    price
        Price paid or asked. [minor units]
    distance_km
        Way to the car, one way. [km]
    facts
        Name and loss of value of each fault.
    plan
        Repairs chosen, faults to leave, personal factors.
    notes
        What is missing so far.

    Returns
    -------
    Case
        Chances, costs, resale, rules, ways out.
    """
    noted = list(notes)
    if repairs.currency != rules.currency:
        noted.append(
            f"The repair costs are in {repairs.currency} and were read as {rules.currency}. "
            "Replace them by your own."
        )
    low, likely, high = value
    network = posterior.network
    names = {c.fault_of(s): s.name or c.name for c in network.causes for s in c.states}
    wanted = {fault: (facts or {}).get(fault, FaultFacts(name)) for fault, name in names.items()}
    charge = Forecast(Case(FaultChances.independent({}), CostBook(), (1.0, 1.0), rules)).wage_charge
    book, unknown = cost_book(
        repairs, wanted, charge, likely, plan, always_lines(rules, distance_km, plan.hours if plan else None)
    )
    heavy = [f for f in unknown if posterior.faults[f] > WORTH_A_NOTE]
    if heavy:
        listed = ", ".join(names[f].lower() for f in heavy[:4])
        noted.append(f"No repair and no loss of value is known for: {listed}. They count as costing nothing.")
    return Case(
        chances=chances_or_draws(posterior),
        book=book,
        value=(low, high),
        rules=rules,
        price=price,
        salvage=ways_out(rules, likely),
        spent_first=frozenset({PURCHASE, FETCH, TRIP}),
        notes=tuple(noted),
    )


def usual_faults(prior: FaultChances | FaultDraws, book: CostBook, cash: Charge) -> tuple[float, float]:
    """Money and own hours that the faults of a car take on average when nothing is known of it.

    Similar cars stand for sale with their usual faults, so their prices have come down by about
    as much: an outlook that takes every fault off such a price adds this back, and only what is
    worse (or better) than usual counts.

    Parameters
    ----------
    prior
        Chances of the faults without any finding, for a car that runs, of the same age and distance.
    book
        What each fault takes.
    cash
        How money and days make one amount.

    Returns
    -------
    tuple[float, float]
        Mean money and mean own hours of all faults together. [minor units, h]

    References
    ----------
    own-reasoning, docs/method/outlook.md.
    """
    if not isinstance(prior, FaultChances):
        return 0.0, 0.0
    money, hours = parts_by_charge(prior, replace(book, always=()), (cash, HOURS))
    return math.fsum(part.mean for part in money), math.fsum(part.mean for part in hours)


def no_value() -> CannotSay:
    """The refusal when nothing is known of the value of the mended car."""
    return CannotSay(
        "No value of the mended car is known, so neither a profit nor a walk-away price can be "
        "said. Type what such a car sells for without its faults (low, likely, high), or give "
        "comparables.",
        missing="clean_value",
    )


def check_currency(rules: Rules, currency: str) -> None:
    """Refuse rules in another currency than the car's."""
    if rules.currency != currency:
        raise CannotSay(
            f"The car is in {currency}, your rules are in {rules.currency}; amounts are "
            "never converted unasked. Write your rules in the car's currency.",
            missing=f"rules in {currency}",
        )


OUTSIDE_WORK = "outside-work"
PURCHASE, FETCH, TRIP = "Papers, checks and registration", "Bringing it home", "Driving to see it"
SELLING, OUTSIDE = "Preparing and selling it", "Search, papers, trips, cleaning, selling"


def always_lines(rules: Rules, distance_km: float | None, learned: Bias | None = None) -> tuple[Piece, ...]:
    """Lines that come whatever is wrong: fees, trips, hours outside the work, idle days."""
    outside = rules.outside_hours
    if learned is not None and OUTSIDE_WORK in learned.kinds:
        # Own finished cars know better than a rule; a kind never booked leaves the rule alone.
        outside = corrected(OUTSIDE_WORK, outside, learned)
    lines = [
        Piece(PURCHASE, fitted(rules.purchase_costs), key="papers"),
        Piece(FETCH, fitted(rules.fetch_costs), key="fetching"),
        Piece(SELLING, fitted(rules.sale_costs), key="selling"),
        Piece(OUTSIDE, hours=fitted(outside), key=OUTSIDE_WORK),
        Piece("Days before the work and until sold", days=fitted(rules.idle_days), key="idle-days"),
    ]
    if distance_km:
        lines.append(Piece(TRIP, Fixed(2.0 * distance_km * rules.trip_per_km), key="viewing-trip"))
    if rules.extra_fault_costs.high > 0:
        lines.append(
            Piece("Set by for what nobody has thought of", fitted(rules.extra_fault_costs), key="unforeseen")
        )
    return tuple(lines)


def ways_out(rules: Rules, clean_value: float) -> tuple[Salvage, ...]:
    """Ways to let the car go instead of mending it."""
    ways = []
    if rules.scrap > 0:
        ways.append(Salvage("scrap it", rules.scrap))
    if rules.part_out > 0:
        ways.append(Salvage("part it out", rules.part_out, rules.part_out_hours))
    if rules.as_it_stands_share > 0:
        ways.append(Salvage("sell it as it stands, faults said", rules.as_it_stands_share * clean_value))
    return tuple(ways)


def chances_or_draws(posterior: Posterior) -> FaultChances | FaultDraws:
    """Exact chances where they are short enough to write down, drawn fault sets beyond.

    Worked out once for the same posterior.
    """
    found = _chances.get(id(posterior))
    if found is None or found[0] is not posterior:
        if len(_chances) >= MOST_CHANCES:
            _chances.clear()
        found = _chances[id(posterior)] = (posterior, _chances_or_draws(posterior))
    return found[1]


MOST_CHANCES = 400
_chances: dict[int, tuple[Posterior, FaultChances | FaultDraws]] = {}


def _chances_or_draws(posterior: Posterior) -> FaultChances | FaultDraws:
    open_together = max((len(part.findings) for part in folded_rows(posterior.reading).parts), default=0)
    if open_together <= MOST_OPEN:
        return chances_of(posterior)
    network = posterior.network
    return FaultDraws(
        tuple(cause.id for cause in network.causes),
        tuple(tuple(cause.fault_of(state) for state in cause.states) for cause in network.causes),
        posterior.sample(np.random.default_rng(SEED), DRAWS),
    )
