"""Making the asking plan from the record, and the sale as it stands today."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from driveout.cars.actions import get_car, note_event
from driveout.errors import CannotSay
from driveout.files import yaml_document
from driveout.market.actions import latest_appraisal, sale_rate_of
from driveout.selling import records
from driveout.selling.asking import SaleSituation, Spell, asking_plan
from driveout.selling.own_file import SCHEMA, situation_as_dict, situation_from_document
from driveout.selling.records import KeptPlan
from driveout.store import Tx

LARGEST_VALUE_SD = 0.2


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
    rate = sale_rate_of(tx, car_id, at.date())
    given |= {"sale_shape": round(rate.shape, 4), "sale_days": round(rate.days, 3)}
    given |= {key: value for key, value in entries.items() if value is not None}
    document = yaml_document(json.dumps(given), "asking plan", SCHEMA)
    situation = _as_it_stands(tx, car_id, situation_from_document(document), at)
    plan = asking_plan(situation)
    deadline = at.date() + timedelta(days=situation.deadline_days)
    kept = records.add_plan(tx, car_id, situation_as_dict(situation), deadline, plan.as_dict(), at)
    words = (
        "sell out now" if plan.sell_out_now else f"ask {plan.ask.text()}, take {plan.take_it.text()} today"
    )
    note_event(
        tx,
        car_id,
        "asking plan",
        f"Asking plan: {words}",
        {"ask": plan.ask.minor, "take_it": plan.take_it.minor, "deadline": deadline.isoformat()},
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
    asks = records.asks_of(tx, car_id)
    if not asks:
        return replace(situation, weekday=at.weekday())
    moments = [record.at for record in records.enquiries_of(tx, car_id)]
    # An open offer may still become the sale; a lost one is an enquiry that did not buy.
    moments += [o.at for o in records.offers_of(tx, car_id) if o.answer in ("decline", "withdrawn")]
    spells = []
    for ask, until in zip(asks, [*(a.at for a in asks[1:]), at], strict=True):
        days = max((until - ask.at).total_seconds() / 86400, 0.0)
        count = sum(ask.at <= moment < until or moment == until == at for moment in moments)
        if days > 0 or count:
            spells.append(Spell(ask.ask, round(days, 4), count))
    return replace(
        situation,
        asked_now=asks[-1].ask,
        advert_age_days=max((at - asks[0].at).total_seconds() / 86400, 0.0),
        weekday=at.weekday(),
        spells=tuple(spells),
    )
