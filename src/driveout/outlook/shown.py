"""An outlook as plain values for files, answers and the record."""

from __future__ import annotations

import math
from typing import Any

from driveout.outlook.endings import Endings
from driveout.outlook.forecast import Band, Outlook


def outlook_as_data(outlook: Outlook) -> dict[str, Any]:
    """The outlook as plain values: money in whole minor units, hours and days with two decimals."""
    return {
        "currency": outlook.currency,
        "price_minor": None if outlook.price is None else round(outlook.price),
        "profit_minor": _whole(outlook.profit),
        "loss_chance": outlook.loss_chance,
        "hours": _two(outlook.hours),
        "days": _two(outlook.days),
        "finish_days": {**_two(outlook.finish), "p80": round(outlook.finish_p80, 2)},
        "per_hour_minor": None if math.isnan(outlook.per_hour) else round(outlook.per_hour),
        "cash_peak_minor": round(outlook.cash_peak),
        "let_go_chance": outlook.let_go_chance,
        "let_go_how": None if outlook.salvage is None else outlook.salvage.label,
        "price_factor": outlook.price_factor,
        "how": outlook.how,
        "missing": list(outlook.notes),
        "lines": [
            {
                "kind": line.kind,
                "label": line.label,
                "fault": line.fault,
                "chance": line.chance,
                "profit_mean_minor": round(line.profit_mean),
                "hours_mean": round(line.hours_mean, 2),
                "variance_share": line.variance_share,
            }
            for line in outlook.lines
        ],
    }


def endings_as_data(compared: Endings) -> dict[str, Any]:
    """Going on and the ways out as plain values, best first."""
    return {
        "currency": compared.currency,
        "best": compared.best,
        "why": compared.sentence,
        "switch": compared.switch,
        "switch_cost_minor": None if compared.switch_cost is None else round(compared.switch_cost),
        "choices": [
            {
                "key": one.key,
                "label": one.label,
                "money_to_come_minor": _whole(one.money),
                "hours_to_come": _two(one.hours),
                "per_hour_minor": None if math.isnan(one.per_hour) else round(one.per_hour),
                "worth_minor": round(one.worth),
                "loss_chance": round(one.loss_chance, 6),
                "days": round(one.days, 1),
                "refused": one.refused,
                "origin": one.origin,
            }
            for one in compared.choices
        ],
    }


def _whole(band: Band) -> dict[str, int]:
    return {
        "p10": round(band.low),
        "p50": round(band.middle),
        "p90": round(band.high),
        "mean": round(band.mean),
    }


def _two(band: Band) -> dict[str, float]:
    return {
        "p10": round(band.low, 2),
        "p50": round(band.middle, 2),
        "p90": round(band.high, 2),
        "mean": round(band.mean, 2),
    }
