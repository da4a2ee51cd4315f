"""Making the asking plan from the record, and the sale as it stands today."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import Any

from driveout.cars.actions import get_car, list_cars, note_event
from driveout.errors import CannotSay
from driveout.files import yaml_document
from driveout.market.actions import latest_appraisal, sale_rate_of
from driveout.market.time_to_sell import PRIOR_DAYS, PRIOR_SHAPE
from driveout.money.actions import cars_gone
from driveout.selling import records
from driveout.selling.asking import SaleSituation, Spell, asking_plan
from driveout.selling.believed import sales_per_day
from driveout.selling.own_file import SCHEMA, situation_as_dict, situation_from_document
from driveout.selling.own_sales import FinishedSale, OwnDemand, own_demand
from driveout.selling.plan import forecast_of
from driveout.selling.records import Ask, KeptPlan
from driveout.store import Tx
from driveout.units import Money

LARGEST_VALUE_SD = 0.2
# Older sales were made in another market; and a list of ids stays short.
_MOST_FINISHED = 60


def make_plan(tx: Tx, car_id: int, entries: dict[str, Any], *, at: datetime) -> KeptPlan:
    """Make and keep an asking plan.

    What is not given comes from the record: the value from the newest appraisal, the speed of
    sales from the comparables that were followed, prices asked and enquiries from the log.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    entries
        Keys of an own file ``driveout-asking/1``; ``fallback`` is needed, ``value`` unless appraised.
    at
        Present moment.

    Returns
    -------
    KeptPlan
        The plan with what it was made from.

    Raises
    ------
    BadEntry
        If an entry cannot be used.
    CannotSay
        If there is neither an appraisal nor a typed value.
    """
    car = get_car(tx, car_id)
    given: dict[str, Any] = {"schema": SCHEMA, "currency": car.currency}
    appraisal = latest_appraisal(tx, car_id)
    if entries.get("value") is None:
        if appraisal is None:
            raise CannotSay(
                f"{car.name} has no value yet. Appraise it from comparables, or type its value.",
                missing="value",
            )
        given |= {
            "value": str(appraisal.value.major),
            "value_sd": round(min(float(appraisal.content["level_sd"]), LARGEST_VALUE_SD), 4),
        }
    rate, own = sale_rate_of(tx, car_id, at.date()), own_sales(tx, car.currency)
    # Own sales take the place of common practice; the comparables that were followed come on top.
    given |= {
        "sale_shape": round(own.shape + rate.shape - PRIOR_SHAPE, 4),
        "sale_days": round(own.days + rate.days - PRIOR_SHAPE * PRIOR_DAYS, 3),
        "sensitivity": round(own.sensitivity, 3),
        "sensitivity_sd": round(own.sensitivity_sd, 3),
    }
    given |= {key: value for key, value in entries.items() if value is not None}
    document = yaml_document(json.dumps(given), "asking plan", SCHEMA)
    situation = _as_it_stands(tx, car_id, situation_from_document(document), at)
    plan = asking_plan(situation)
    deadline = at.date() + timedelta(days=situation.deadline_days)
    made = plan.as_dict() | {"own_sales": own.in_words(), "forecast": forecast_of(plan).as_dict()}
    kept = records.add_plan(tx, car_id, situation_as_dict(situation), deadline, made, at)
    words = (
        "sell out now" if plan.sell_out_now else f"ask {plan.ask.text()}, take {plan.take_it.text()} today"
    )
    note_event(
        tx,
        car_id,
        "asking plan",
        f"Asking plan: {words}",
        {"ask": plan.ask.minor, "take_it": plan.take_it.minor, **demand_facts(tx, car_id, at)},
        at,
    )
    return kept


def latest_plan(tx: Tx, car_id: int) -> KeptPlan | None:
    """The newest asking plan of a car."""
    return records.latest_plan(tx, car_id)


def current_situation(tx: Tx, car_id: int, *, at: datetime) -> SaleSituation:
    """The newest plan's entries with the days, prices and enquiries of today.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.

    Returns
    -------
    SaleSituation
        The sale as it stands.

    Raises
    ------
    CannotSay
        If no plan was made yet.
    """
    kept = records.latest_plan(tx, car_id)
    if kept is None:
        raise CannotSay(
            "There is no asking plan yet. Make one first; it sets the take-it price.", missing="plan"
        )
    document = yaml_document(json.dumps(kept.situation), "asking plan", SCHEMA)
    situation = situation_from_document(document)
    left = max((kept.deadline - at.date()).days, 1)
    return _as_it_stands(tx, car_id, replace(situation, deadline_days=left), at)


def _as_it_stands(tx: Tx, car_id: int, situation: SaleSituation, at: datetime) -> SaleSituation:
    """Fill in the price asked now, how old the advert is, and the spells from the log."""
    asks, moments = records.logs_of(tx, [car_id])[car_id]
    if not asks:
        return replace(situation, weekday=at.weekday())
    return replace(
        situation,
        asked_now=asks[-1].ask,
        advert_age_days=_days(at - asks[0].at),
        weekday=at.weekday(),
        spells=_spells(asks, moments, at),
    )


def _days(span: timedelta) -> float:
    """Days to the hour: finer tells nothing, and within an hour the same sale has the same plan."""
    return round(max(span.total_seconds(), 0.0) / 3600) / 24


def _spells(asks: Sequence[Ask], moments: Sequence[datetime], at: datetime) -> tuple[Spell, ...]:
    """Days at each price until a moment, and how many asked meanwhile without buying."""
    spells = []
    for ask, until in zip(asks, [*(a.at for a in asks[1:]), at], strict=True):
        days = _days(until - ask.at)
        count = sum(ask.at <= moment < until or moment == until == at for moment in moments)
        if days > 0 or count:
            spells.append(Spell(ask.ask, days, count))
    return tuple(spells)


def own_sales(tx: Tx, currency: str) -> OwnDemand:
    """What the person's own finished sales say about the next car's demand; the newest count.

    Parameters
    ----------
    tx
        Open transaction.
    currency
        Only cars kept in it: prices of other currencies say nothing about this value.

    Returns
    -------
    OwnDemand
        The prior of the next car.
    """
    ids = [car.id for car in list_cars(tx) if car.stage == "sold" and car.currency == currency]
    plans = records.plans_of(tx, ids[-_MOST_FINISHED:])
    gone = cars_gone(tx, plans, currency)
    finished = []
    for car_id, (asks, moments) in records.logs_of(tx, list(gone)).items():
        end = datetime.combine(gone[car_id].day, time(12), UTC)
        spells = _spells(asks, moments, max(end, asks[-1].at)) if asks else ()
        if spells and sum(spell.days for spell in spells) > 0:
            value = Money.of(str(plans[car_id].situation["value"]), currency)
            finished.append(FinishedSale(value, spells, gone[car_id].price is not None))
    return own_demand(finished)


def demand_facts(tx: Tx, car_id: int, at: datetime) -> dict[str, Any]:
    """Sales per day as believed at the price asked now, and the deadline, for the car's trail; {} without a plan."""
    kept = records.latest_plan(tx, car_id)
    if kept is None:
        return {}
    situation = current_situation(tx, car_id, at=at)
    ask = situation.asked_now or Money.of(str(kept.plan["ask"]), situation.currency)
    shape, days = sales_per_day(situation, ask)
    return {
        "demand": {"shape": round(shape, 5), "days": round(days, 4)},
        "deadline": kept.deadline.isoformat(),
    }
