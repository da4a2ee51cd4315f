"""What to read before trusting a value, and why a comparable counts little, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from driveout.market.appraisal import CarToValue
from driveout.market.columns import TEN_THOUSAND_MILES_KM, Table
from driveout.market.comparables import Comparable, Kind
from driveout.market.prior import condition_steps
from driveout.market.regression import Floats
from driveout.units import FACTORS


def outlier_reason(comparable: Comparable, off: float, scale: float, mileage_slope: float) -> str:
    """Why a price far from what the others say counts little; empty for an ordinary one.

    Parameters
    ----------
    comparable
        The comparable.
    off
        Its log price less what the others say.
    scale
        Scale of such a difference.
    mileage_slope
        Log price per 10,000 miles.

    Returns
    -------
    str
        A sentence, or nothing.
    """
    if abs(off) < 2.24 * scale:
        return ""
    side = "below" if off < 0 else "above"
    share = abs(math.expm1(off))
    said = f"{share:.0%} {side} what the others say for its age and distance"
    ideas = []
    for factor, slip in ((10.0, "a digit too few"), (0.1, "a digit too many")):
        if abs(off + math.log(factor)) < 0.3:
            ideas.append(f"the price may have {slip}")
    if comparable.mileage_km is not None:
        for factor in (FACTORS["km per mile"], 1 / FACTORS["km per mile"]):
            shift = mileage_slope * comparable.mileage_km * (factor - 1) / TEN_THOUSAND_MILES_KM
            if abs(off - shift) < 0.5 * scale:
                ideas.append("its distance may be in the other unit (km or miles)")
                break
    if not ideas:
        ideas.append(
            "a branded title, a fault or a slip of the pen is likely"
            if off < 0
            else "rare equipment, a dealer's warranty or a slip of the pen is likely"
        )
    return f"{said}: {' or '.join(ideas)}. Look at the advert again."


def cautions(
    car: CarToValue,
    used: Sequence[Comparable],
    table: Table,
    outside: Floats,
    out_of_range: bool,
    price_kind: Kind,
) -> list[str]:
    """Sentences to read before trusting the value.

    Parameters
    ----------
    car
        The car valued.
    used
        Comparables used.
    table
        Their columns.
    outside
        How far the car lies outside them, by column.
    out_of_range
        Whether it lies outside in any way.
    price_kind
        ``sold`` or ``asking``, as asked for.

    Returns
    -------
    list[str]
        Plain sentences; none when nothing speaks against it.
    """
    said = []
    n = len(used)
    if n <= 2:
        said.append(
            f"Only {n} comparable{'' if n == 1 else 's'}: {'it sets' if n == 1 else 'they set'} the level of the value. "
            "How fast this model loses value with age and distance, and how much prices scatter, cannot be seen from "
            "so few; both are taken from six other models. Five comparables or more make it this model's own value."
        )
    elif n < 5:
        said.append(
            f"Only {n} comparables: the value leans on what other models showed. Five or more are better."
        )
    ages, kms = table.x[:, 0], table.x[:, 1]
    if n > 1 and float(np.ptp(ages)) < 0.5:
        gap = abs(car.age - float(ages.mean()))
        tail = (
            f" Your car is {gap:.1f} years away from them, so that step is taken from other models."
            if gap > 0.5
            else " Your car is of the same age, so that does no harm."
        )
        said.append(
            "All comparables are of one model year: what a year costs cannot be seen from them." + tail
        )
    if outside[0] > 0:
        said.append(
            f"Your car's age, {car.age:.1f} years, lies outside the comparables ({ages.min():.1f} to {ages.max():.1f}). "
            "The interval was widened."
        )
    if outside[1] > 0:
        low, high = (kms.min() * TEN_THOUSAND_MILES_KM, kms.max() * TEN_THOUSAND_MILES_KM)
        said.append(
            f"Your car's {car.mileage_km:,.0f} km lie outside the comparables ({low:,.0f} to {high:,.0f} km). "
            "The interval was widened."
        )
    if out_of_range and not outside.any():
        said.append(
            "Your car combines age, distance and equipment as none of the comparables does; read the value with care."
        )
    if price_kind == "sold" and not any(c.kind == "sold" for c in used):
        said.append(
            "All comparables are asking prices. The step to the price paid is common practice (about 6 % less, "
            "between 1 and 11 %), not measured here."
        )
    missing = sum(c.mileage_km is None for c in used)
    if missing:
        said.append(
            f"{missing} of {n} comparables give no distance; the mean of the others was assumed and they count less."
        )
    if car.title_status != "clean" and not any(c.title_status == car.title_status for c in used):
        said.append(
            f"No comparable has a {car.title_status} title; the discount is taken from a consumer guide, not from this market."
        )
    words = condition_steps()
    strange = sorted(
        {w for w in (*(c.condition for c in used), car.condition) if w and w.casefold() not in words}
    )
    if strange:
        said.append(
            f"Condition {', '.join(repr(w) for w in strange[:3])} is not one of {', '.join(words)}; taken as ordinary."
        )
    if condition_steps().get(car.condition.casefold(), 0) < 0:
        said.append(
            f"The condition was typed as {car.condition}: the value already counts what that costs. "
            "A fault taken off again would count twice."
        )
    return said
