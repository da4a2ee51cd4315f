"""What has happened to a car, gathered from the parts below: money, hours, parts, steps, buyers, days."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from driveout.cars import Car
from driveout.cars.actions import newest_events, trail_of
from driveout.lessons.actions import SoFar, so_far
from driveout.market.actions import latest_appraisal, sale_rate_of
from driveout.outlook.actuals import AFTER_A_DEAL, Booked, Known, PartsOf
from driveout.parts import Part
from driveout.parts.actions import offers_of, parts_of
from driveout.repairs.actions import FREE_HOURS, PLAN_OF_DAYS, catalogue_of, decisions_of
from driveout.repairs.catalogue import PartChoice, Repair
from driveout.repairs.days import PARCEL_LATE_DAYS, FreeHours, hours_a_week
from driveout.repairs.shopping import unit_words
from driveout.store import Tx
from driveout.uncertain import Law, ThreePoint, Wait, fitted
from driveout.workshop import SHIPPED, shipped_assembly
from driveout.workshop.actions import progress_of

DELAY = "delay"
#: kinds of event that carry what is believed about buyers, and what else moves days
DEMAND = ("ask", "enquiry", "offer", "asking plan")
#: days after which an unsold car goes for what it brings at once; common practice, no source
LONGEST_SALE_DAYS = 180.0


def present_day(tx: Tx, car_id: int) -> date | None:
    """Day of the newest event of a car; the outlook stands as of that day."""
    newest = trail_of(tx, car_id, 1)
    return newest[0].at.date() if newest else None


def known_of(tx: Tx, car: Car) -> Known:
    """What has happened: bought, booked, chosen, done, ordered, delayed, offered, sold.

    Parameters
    ----------
    tx
        Open transaction.
    car
        The car.

    Returns
    -------
    Known
        As of the newest event of the car.
    """
    record = so_far(tx, car.id)
    cost = record.cost
    today = present_day(tx, car.id)
    price = next((float(a.cost.minor) for a in record.booked if a.key == "purchase"), 0.0)
    bought = price or float(cost.by_kind["purchase"].minor)
    decided = decisions_of(tx, car.id)
    chosen = {d.repair: d.choice for d in decided if d.state in ("chosen", "done")}
    known = Known(
        price_paid=bought if bought > 0 else None,
        chosen=chosen,
        done=frozenset(d.repair for d in decided if d.state == "done"),
        booked=_booked(record),
        received=float(cost.other_income.minor),
        elapsed_days=_days_held(record, today),
    )
    if cost.sales.minor > 0:
        spent = cost.cost_of_sale + cost.after_sale
        return replace(
            known,
            price_paid=0.0,
            booked=(Booked("", "Everything spent on it", float(spent.minor), cost.minutes / 60.0),),
            sold_for=float(cost.sales.minor - cost.selling_fees.minor),
        )
    if today is None:
        return known
    return replace(known, **_from_events(tx, car, today), **_from_work(tx, car, chosen, today))


def _booked(record: SoFar) -> tuple[Booked, ...]:
    cost = record.cost
    booked = [
        Booked(a.key, a.label, float(a.cost.minor), a.minutes / 60.0)
        for a in record.booked
        if a.key != "purchase"
    ]
    if record.estimate is None:
        booked += [
            Booked("", f"Booked: {kind}", float(amount.minor))
            for kind, amount in cost.by_kind.items()
            if kind != "purchase" and amount.minor > 0
        ]
        if cost.minutes:
            booked.append(Booked("", "Own hours booked", 0.0, cost.minutes / 60.0))
    return tuple(booked)


def _days_held(record: SoFar, today: date | None) -> float:
    """Days from buying to today, or to the sale."""
    bought = [entry.day for entry in record.entries if entry.fact("kind") == "purchase"]
    sold = [entry.day for entry in record.entries if entry.fact("kind") == "sale"]
    if not bought or today is None:
        return 0.0
    return float(max((min([today, *sold]) - min(bought)).days, 0))


def _from_events(tx: Tx, car: Car, today: date) -> dict[str, Any]:
    """Buyers, delays and the pace of the plan of days, from the newest events of their kinds."""
    newest = newest_events(tx, car.id, *DEMAND, DELAY, FREE_HOURS, PLAN_OF_DAYS)
    found: dict[str, Any] = {}
    told = [newest[kind] for kind in DEMAND if kind in newest and newest[kind].data.get("demand")]
    wait: Law | None = None
    if told:
        facts = max(told, key=lambda event: event.seq).data
        most = LONGEST_SALE_DAYS
        if facts.get("deadline"):
            most = float(max((date.fromisoformat(facts["deadline"]) - today).days, 1))
        wait = Wait(float(facts["demand"]["shape"]), float(facts["demand"]["days"]), most)
    elif latest_appraisal(tx, car.id) is not None:
        rate = sale_rate_of(tx, car.id, today)
        if rate.watched:
            wait = Wait(rate.shape, rate.days, LONGEST_SALE_DAYS)
    offer = newest.get("offer")
    if offer is not None and offer.data.get("answer") == "accept" and offer.data.get("amount"):
        found["agreed"] = float(offer.data["amount"])
        wait = fitted(AFTER_A_DEAL)
    if wait is not None:
        found["until_sold"] = wait
    if car.stage == "for sale" and "ask" in newest:
        found["asked"] = float(newest["ask"].data["ask"])
    if DELAY in newest:
        late = newest[DELAY].data
        found["delay_days"] = float(max((date.fromisoformat(late["until"]) - today).days, 0))
        found["delay_why"] = str(late.get("why", ""))
    pace = newest.get(PLAN_OF_DAYS)
    typed = newest.get(FREE_HOURS)
    if typed is not None and (pace is None or pace.seq < typed.seq):
        week = hours_a_week(FreeHours.of(typed.data))
        if week > 0.0:
            found["hours_per_week"] = min(week, 168.0)
    elif pace is not None:
        found["hours_per_week"] = min(max(float(pace.data["hours_per_week"]), 0.1), 168.0)
    return found


def _from_work(tx: Tx, car: Car, chosen: Mapping[str, str], today: date) -> dict[str, Any]:
    """Parts and progress of the chosen repairs."""
    if not chosen:
        return {}
    held = catalogue_of(car)
    steps = {kind: share for kind, (share, began) in progress_of(tx, car.id).items() if began}
    listed = [part for part in parts_of(tx, car.id) if part.line.key in chosen]
    asked = [part for part in listed if part.state == "needed"]
    offers = offers_of(tx, asked) if asked else {}
    cheapest = {
        number: min(float(offer.landed.minor) for offer in found) for number, found in offers.items() if found
    }
    return {
        "progress": {repair: steps[repair] for repair in chosen if repair in steps},
        "parts": {
            key: _parts_of(repair, repair.choices.get(kind, repair.first_choice), mine, cheapest, held, today)
            for key, kind in chosen.items()
            if (repair := held.repairs.get(key)) is not None
            and (mine := [p for p in listed if p.line.key == key and p.state in STILL_COUNTS])
        },
    }


STILL_COUNTS = ("needed", "ordered", "here")


def _parts_of(
    repair: Repair,
    choice: PartChoice,
    parts: list[Part],
    cheapest: Mapping[int, float],
    held: Any,
    today: date,
) -> PartsOf:
    assembly = shipped_assembly(repair.assembly) if repair.assembly in SHIPPED else None
    reached = held.access[repair.access].target if repair.access else ""
    units = unit_words(repair, choice, assembly, reached)
    unit = rest = 0.0
    is_whole = is_unit_known = True
    has_unit = False
    for part in parts:
        price: float | None = 0.0
        if part.state == "ordered" and part.offer is not None:
            price = float(part.offer.landed.minor)
        elif part.state == "needed":
            price = cheapest.get(part.id)
        is_whole = is_whole and price is not None
        if part.line.what in units:
            has_unit = True
            is_unit_known = is_unit_known and price is not None
            unit += price or 0.0
        else:
            rest += price or 0.0
    return PartsOf(
        unit,
        rest,
        is_whole,
        has_unit and is_unit_known,
        None if _is_open(parts) else _days_left(parts, today),
    )


def _is_open(parts: list[Part]) -> bool:
    return any(part.state == "needed" for part in parts)


def _days_left(parts: list[Part], today: date) -> Law:
    """Days until the last ordered part is here; a parcel may be late."""
    waits = [
        max((part.expected_on - today).days, 0)
        for part in parts
        if part.state == "ordered" and part.expected_on is not None
    ]
    if not waits:
        return fitted(ThreePoint(0.0, 0.0, 0.0))
    late, longest = PARCEL_LATE_DAYS, float(max(waits))
    return fitted(ThreePoint(longest + late.low, longest + late.likely, longest + late.high))
