"""What a person does about the value: add similar cars, say when one is gone, appraise the car."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

from driveout.cars import UseAgainstOthers
from driveout.cars.actions import get_car, list_cars, note_event
from driveout.cars.car import Car
from driveout.errors import BadEntry, CannotSay
from driveout.market import records
from driveout.market.appraisal import CarToValue
from driveout.market.comparables import Comparable
from driveout.market.own_models import MOST_CARS, evidence_of, with_own_models
from driveout.market.prior import Prior, default_prior
from driveout.market.records import KeptAppraisal, KeptComparable
from driveout.market.spreadsheet import comparables_from_csv, comparables_from_paste
from driveout.market.time_to_sell import SaleRate, sale_rate, stays
from driveout.market.uplift import Uplift, repair_adds
from driveout.market.use_a_year import yearly_use
from driveout.market.value import appraise
from driveout.market.written import TITLE_WORDS, comparable_from_texts, options_from_text
from driveout.store import Tx

MOST_COMPARABLES = 2_000
# Other cars whose comparables teach the starting slopes, the latest first.
MOST_MODELS = 40


def add_comparables(
    tx: Tx, car_id: int, data: bytes, name: str, *, at: datetime, mileage_unit: str = "km"
) -> tuple[KeptComparable, ...]:
    """Add all rows of a table; a row that is there already is not added twice.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car they are compared with.
    data
        The file's bytes.
    name
        Its name.
    at
        Present moment.
    mileage_unit
        Unit of a distance column that names none.

    Returns
    -------
    tuple of KeptComparable
        Those that were new.

    Raises
    ------
    BadEntry
        If rows cannot be used (all shown together), or a price is in another currency.
    """
    car = get_car(tx, car_id)
    found = comparables_from_csv(
        data, name, currency=car.currency, today=at.date(), mileage_unit=mileage_unit
    )
    return _add(tx, car, found, name, at)


def add_pasted(
    tx: Tx, car_id: int, text: str, *, at: datetime, mileage_unit: str = "km"
) -> tuple[KeptComparable, ...]:
    """Add comparables pasted from a spreadsheet; see `add_comparables`."""
    car = get_car(tx, car_id)
    found = comparables_from_paste(text, currency=car.currency, today=at.date(), mileage_unit=mileage_unit)
    return _add(tx, car, found, "pasted text", at)


def add_one(
    tx: Tx, car_id: int, cells: Mapping[str, str], *, at: datetime, mileage_unit: str = "km"
) -> tuple[KeptComparable, ...]:
    """Add one comparable from the texts of a form; see `add_comparables`."""
    car = get_car(tx, car_id)
    found = comparable_from_texts(cells, currency=car.currency, today=at.date(), mileage_unit=mileage_unit)
    return _add(tx, car, (found,), "the form", at)


def comparables_of(tx: Tx, car_id: int) -> tuple[KeptComparable, ...]:
    """Comparables of a car."""
    return records.comparables_of(tx, car_id)


def take_out(tx: Tx, car_id: int, number: int, version: int, *, at: datetime) -> KeptComparable:
    """Take a comparable out of the list; it stays in the record."""
    kept = records.change_comparable(tx, car_id, number, version, {"taken_out": True})
    note_event(
        tx, car_id, "comparable", f"Comparable taken out: {kept.car.label}", {"comparable": number}, at
    )
    return kept


def put_back(tx: Tx, car_id: int, number: int, version: int, *, at: datetime) -> KeptComparable:
    """Put a comparable that was taken out back into the list."""
    kept = records.change_comparable(tx, car_id, number, version, {"taken_out": False})
    note_event(tx, car_id, "comparable", f"Comparable put back: {kept.car.label}", {"comparable": number}, at)
    return kept


def note_seen(
    tx: Tx, car_id: int, number: int, version: int, day: date, is_gone: bool, *, at: datetime
) -> KeptComparable:
    """Say that a comparable's advert still stood on a day, or was found to be gone.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    number
        The comparable.
    version
        Version the person was looking at.
    day
        Day of the look.
    is_gone
        Whether it was gone.
    at
        Present moment.

    Returns
    -------
    KeptComparable
        The comparable as it is now.

    Raises
    ------
    BadEntry
        If the day is in the future or before it was last seen.
    Conflict
        If it was changed meanwhile.
    """
    if day > at.date():
        raise BadEntry(
            f"The day {day.isoformat()} is in the future.",
            field="day",
            value=day.isoformat(),
            allowed=f"up to {at.date().isoformat()}",
        )
    kept = next((k for k in records.comparables_of(tx, car_id) if k.id == number), None)
    if kept is None:
        raise BadEntry(f"This car has no comparable number {number}.", field="comparable", value=number)
    first = kept.car.seen or kept.at.date()
    # Making the value anew holds the days to their order.
    if is_gone:
        replace(kept.car, seen=first, gone=day)
    else:
        replace(kept.car, seen=first, last_seen=day)
    facts = {"seen": first.isoformat(), "gone" if is_gone else "last_seen": day.isoformat()}
    changed = records.change_comparable(tx, car_id, number, version, {"facts": facts})
    words = "gone" if is_gone else "still there"
    note_event(
        tx,
        car_id,
        "comparable",
        f"{kept.car.label}: {words} on {day.isoformat()}",
        {"comparable": number},
        at,
    )
    return changed


def car_to_value(car: Car, on: date) -> CarToValue:
    """What the record knows of a car, as the appraisal wants it.

    Parameters
    ----------
    car
        The car.
    on
        Day the value is for.

    Returns
    -------
    CarToValue
        Facts that move the price.

    Raises
    ------
    CannotSay
        If distance or year is missing.
    """
    if car.mileage_km is None:
        raise CannotSay(
            f"The distance of {car.name} is not recorded; without it similar cars cannot be compared.",
            missing="mileage_km",
        )
    if car.made_year is None:
        raise CannotSay(
            f"The year of {car.name} is not recorded; without it similar cars cannot be compared.",
            missing="made_year",
        )
    options = car.facts.get("options", ())
    specs = car.facts.get("specs", {})
    return CarToValue(
        on=on,
        mileage_km=float(car.mileage_km),
        made_year=car.made_year,
        condition=str(car.facts.get("condition", "")),
        title_status=TITLE_WORDS.get(str(car.facts.get("title", "")).casefold(), "clean"),
        options=options_from_text(options) if isinstance(options, str) else tuple(map(str, options)),
        specs={str(k): float(v) for k, v in specs.items()} if isinstance(specs, dict) else {},
        name=car.name,
    )


def appraise_car(tx: Tx, car_id: int, *, at: datetime) -> KeptAppraisal:
    """Value a car from its comparables and keep the result.

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
    KeptAppraisal
        The value with its interval; earlier ones stay in the record.

    Raises
    ------
    CannotSay
        If there is no comparable, or distance or year is missing.
    """
    car = get_car(tx, car_id)
    comparables = [kept.car for kept in records.comparables_of(tx, car_id)]
    found = appraise(car_to_value(car, at.date()), comparables, _prior_for(tx, car, at.date()))
    kept = records.add_appraisal(
        tx,
        {
            "car_id": car_id,
            "value": found.value.minor,
            "low": found.low.minor,
            "high": found.high.minor,
            "currency": found.value.currency,
            "log_mean": found.log_mean,
            "log_sd": found.log_sd,
            "used": found.used,
            "content": found.as_dict(),
            "at": at,
        },
    )
    note_event(
        tx,
        car_id,
        "appraisal",
        f"Value {found.value.text()}, 8 of 10 between {found.low.text()} and {found.high.text()}, "
        f"from {found.used} comparable{'' if found.used == 1 else 's'}",
        {"value": found.value.minor, "log_mean": found.log_mean, "log_sd": found.log_sd, "used": found.used},
        at,
    )
    return kept


def _prior_for(tx: Tx, car: Car, on: date) -> Prior:
    """The shipped prior, moved by the comparables of the person's other models."""
    base = default_prior()
    others = records.comparables_of_others(tx, car.id, car.currency, MOST_MODELS, MOST_CARS)
    if not others:
        return base
    # Cars alike up to the first comma of their name are taken to be one model; this one's own is no other model.
    names = {one.id: one.name.split(",")[0].casefold().strip() for one in list_cars(tx)}
    by_name: dict[str, list[Comparable]] = {}
    for other, comparables in others.items():
        if names[other] != names[car.id]:
            by_name.setdefault(names[other], []).extend(comparables)
    found = (evidence_of(comparables, on, base) for comparables in by_name.values())
    return with_own_models(base, [model for model in found if model is not None])


def latest_appraisal(tx: Tx, car_id: int) -> KeptAppraisal | None:
    """The newest appraisal of a car, None before the first."""
    return records.latest_appraisal(tx, car_id)


def appraisal_before(tx: Tx, car_id: int, moment: datetime) -> KeptAppraisal | None:
    """The newest appraisal of a car made before a moment, such as its sale; None without one."""
    return records.appraisal_before(tx, car_id, moment)


def repair_adds_to(
    tx: Tx,
    car_id: int,
    *,
    condition_steps_up: float = 0.0,
    share: tuple[float, float, float] | None = None,
) -> Uplift | None:
    """What a repair adds to the newest value of a car; see `repair_adds`.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    condition_steps_up
        Steps of condition the repair lifts the car by.
    share
        Share of the value the fault takes away, low, likely, high.

    Returns
    -------
    Uplift or None
        Amount with its doubt; None before the first appraisal.

    Raises
    ------
    BadEntry
        If neither is given, or the shares do not rise within 0 to 1.
    """
    kept = records.latest_appraisal(tx, car_id)
    if kept is None:
        return None
    return repair_adds(kept, condition_steps_up=condition_steps_up, share=share)


def yearly_use_of(tx: Tx, car_id: int, on: date) -> UseAgainstOthers | None:
    """Distance a year of a car against its comparables; None while either is unknown."""
    car = get_car(tx, car_id)
    if car.mileage_km is None or car.made_year is None:
        return None
    return yearly_use(car_to_value(car, on), [kept.car for kept in records.comparables_of(tx, car_id)])


def sale_rate_of(tx: Tx, car_id: int, today: date) -> SaleRate:
    """How fast cars like it go, from the comparables that were followed."""
    return sale_rate(stays([kept.car for kept in records.comparables_of(tx, car_id)], today))


def _add(
    tx: Tx, car: Car, found: Sequence[Comparable], name: str, at: datetime
) -> tuple[KeptComparable, ...]:
    foreign = sorted({c.price.currency for c in found} - {car.currency})
    if foreign:
        raise BadEntry(
            f"{name} holds prices in {', '.join(foreign)}; this car is kept in {car.currency}. "
            "Convert them first; driveout knows no rates.",
            field="currency",
            value=", ".join(foreign),
            allowed=car.currency,
        )
    there = records.comparables_of(tx, car.id)
    known = {repr(replace(kept.car, origin="", seen=None)) for kept in there}
    new: list[Comparable] = []
    for comparable in found:
        key = repr(replace(comparable, origin="", seen=None))
        if key not in known:
            known.add(key)
            new.append(comparable if comparable.seen else replace(comparable, seen=_seen(comparable, at)))
    if len(there) + len(new) > MOST_COMPARABLES:
        raise BadEntry(
            f"That would make {len(there) + len(new):,} comparables; at most {MOST_COMPARABLES:,} are kept for one car. "
            "Keep those most like it.",
            field="file",
            value=len(new),
            allowed=f"up to {MOST_COMPARABLES:,}",
        )
    kept = tuple(records.add_comparable(tx, car.id, comparable, at) for comparable in new)
    same = len(found) - len(new)
    note_event(
        tx,
        car.id,
        "comparables",
        f"{len(new)} comparable{'' if len(new) == 1 else 's'} added from {name}"
        + (f"; {same} were there already" if same else ""),
        {"added": len(new), "same": same, "from": name},
        at,
    )
    return kept


def _seen(comparable: Comparable, at: datetime) -> date:
    """First day it was seen when none is given: today, but not after the days that are given."""
    days = [d for d in (comparable.last_seen, comparable.gone) if d is not None]
    return min([at.date(), *days])
