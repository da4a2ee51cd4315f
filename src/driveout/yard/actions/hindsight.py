"""What a check before the purchase would have been worth, by what was known on that day."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from driveout.cars import Car
from driveout.cars.actions import get_car
from driveout.errors import BadEntry, CannotSay
from driveout.faults import Network, infer, title_evidence, with_silence
from driveout.faults.actions import ADVERT_FACTS, class_of, findings_of, knowledge_of, traits_of
from driveout.faults.shipped import network_of
from driveout.lessons.actions import frozen_estimate
from driveout.money import standing
from driveout.money.actions import car_entries
from driveout.outlook import Forecast, car_case, ceiling_from
from driveout.outlook.actions import POINTS, fault_facts
from driveout.repairs.actions import catalogue_of
from driveout.rules.actions import rules_of
from driveout.store import Tx, remembered
from driveout.units import Money
from driveout.viewing.car_plan import checks_on_offer
from driveout.viewing.from_case import viewing_of
from driveout.viewing.many_checks import plan_many

#: checks planned together; the worth of each alone is exact whatever this is
_KEPT = 4
#: spread of the sale price around the one that was planned, where no range was typed (own reasoning)
_LOW, _HIGH = 0.9, 1.1


@dataclass(frozen=True)
class WorthThen:
    """A check that was not made before the purchase: what knowing its outcome was worth then, and its cost."""

    name: str
    worth: Money
    cost: Money
    outcomes: tuple[str, ...]


#: what the worth of a check rests on besides the car's own rows: the pack with what cars proved, the rules
_READ_FROM = ("faults_pack", "faults_finding", "faults_aside", "faults_shared", "rules_own")


def checks_worth_then(tx: Tx, car_id: int) -> tuple[WorthThen, ...]:
    """Checks left out before a car was bought, by what each was worth on that day.

    The chances are those of the day: only what was recorded up to the purchase counts, at the
    price paid, with the sale price that was planned. What this car taught is left out; the pack and
    the person's rules are today's.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    tuple of WorthThen
        Most worth first; only checks worth more than nothing.

    Raises
    ------
    CannotSay
        If the car was not bought, or nothing says what it would sell for.

    References
    ----------
    own-reasoning, docs/method/viewing.md (one check alone).
    """
    car = get_car(tx, car_id)
    bought = next((e for e in standing(car_entries(tx, car_id)) if e.fact("kind") == "purchase"), None)
    if bought is None:
        raise CannotSay(f"{car.name} was not bought here, so no check stood before it.", missing="purchase")
    # What this very car taught afterwards was not known then.
    pack = knowledge_of(tx, without=car_id)
    network = network_of(pack, class_of(car), traits_of(car))
    evidence = evidence_then(tx, car, network, bought.day)
    posterior = infer(network, evidence)
    rules = rules_of(tx, car.currency).rules
    paid = float(max(posting.amount for posting in bought.postings if posting.commodity == car.currency))
    case = car_case(
        posterior,
        catalogue_of(car),
        rules,
        _value_then(tx, car),
        price=paid,
        distance_km=car.facts.get("distance_km"),
        facts=fault_facts(tx),
    )
    made = Forecast(case, POINTS)
    offered = checks_on_offer(pack, network, evidence, class_of(car))
    if not offered:
        return ()
    viewing = viewing_of(case, posterior, offered, known=(made, ceiling_from(made)))
    names = {check.id: check for check in pack.checks.values()}
    found = [
        WorthThen(
            names[worth.name].do,
            Money(round(worth.gross), car.currency),
            Money(round(worth.cost), car.currency),
            tuple(names[worth.name].findings),
        )
        for worth in plan_many(viewing, paid, _KEPT).worths
        if round(worth.gross) > 0
    ]
    return tuple(sorted(found, key=lambda one: -one.worth.minor))


def evidence_then(tx: Tx, car: Car, network: Network, day: datetime.date) -> dict[str, str]:
    """What was known of a car on a day, proved faults left out; silences of its advert included."""
    rows = [row for row in findings_of(tx, car.id) if row.at.date() <= day and row.finding in network.finding]
    evidence = {row.finding: row.outcome for row in rows}
    for name, label in title_evidence(str(car.facts.get("title") or ""), network).items():
        evidence.setdefault(name, label)
    if any(row.origin == "advert" for row in rows) or ADVERT_FACTS & car.facts.keys():
        return dict(with_silence(network, evidence))
    return evidence


def _value_then(tx: Tx, car: Car) -> tuple[float, float, float]:
    stated = car.facts.get("clean_value_minor")
    if isinstance(stated, list | tuple) and len(stated) == 3:
        return float(stated[0]), float(stated[1]), float(stated[2])
    estimate = frozen_estimate(tx, car.id)
    if estimate is None or not estimate.sale_price.minor:
        raise CannotSay(
            "Nothing says what the car was to sell for, so no check can be weighed.", missing="sale price"
        )
    likely = float(estimate.sale_price.minor)
    return _LOW * likely, likely, _HIGH * likely


def worth_or_missing(tx: Tx, car_id: int) -> tuple[tuple[WorthThen, ...], str]:
    """The same for a page: what was left out and its worth, or why that cannot be said."""
    try:
        worths = remembered(
            tx, ("worth then", car_id), lambda: checks_worth_then(tx, car_id), tables=_READ_FROM, car=car_id
        )
        return worths, ""
    except (CannotSay, BadEntry) as unknown:
        return (), unknown.message
