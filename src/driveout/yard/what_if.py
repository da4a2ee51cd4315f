"""The whole yard run forward, and what changes when one thing about it changes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from driveout.errors import BadEntry
from driveout.yard.job import CarInWork, best_order


@dataclass(frozen=True)
class Standing:
    """A car as the yard counts on it. Money in minor units.

    Parameters
    ----------
    car_id, name
        Which.
    money
        Mean money still to come from it, after what it still costs, worked on alone at ``yard``'s
        usual hours.
    cash_out
        Still to pay before its sale; the price too for a car not bought yet.
    hours_left
        Own hours left. [h]
    idle_days
        Days between the work and the sale. [days]
    per_day
        What each day more costs.
    is_here
        Whether it stands in a bay already.
    """

    car_id: int
    name: str
    money: float
    cash_out: float
    hours_left: float
    idle_days: float
    per_day: float
    is_here: bool = True

    @property
    def in_work(self) -> CarInWork:
        """The same as something to finish."""
        return CarInWork(self.car_id, self.name, self.hours_left, self.per_day)


@dataclass(frozen=True)
class YardNow:
    """All that the run forward follows from. Money in minor units.

    Parameters
    ----------
    cars
        Cars in hand, and one that may be bought.
    hours_per_week
        Own hours. [h/week]
    wage
        What an own hour must bring. [minor units/h]
    bays
        Cars that can stand in the garage at once.
    cash
        Money at hand.
    usual_hours_per_week
        Own hours that each car's days were forecast with; 0 for the same as ``hours_per_week``.
    """

    cars: tuple[Standing, ...]
    hours_per_week: float
    wage: float
    bays: int
    cash: float
    usual_hours_per_week: float = 0.0

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("hours_per_week", self.hours_per_week, 0.1, 168.0),
            ("bays", float(self.bays), 1.0, 50.0),
            ("wage", self.wage, 0.0, 1e12),
        ):
            if not low <= value <= high:
                raise BadEntry(
                    f"{name.replace('_', ' ')} is {value:g}.",
                    field=name,
                    value=value,
                    allowed=f"{low:g} to {high:g}",
                )


@dataclass(frozen=True)
class Course:
    """When one car is worked on and sold, and what it brings then. Days from now."""

    car_id: int
    name: str
    begins: float
    finished: float
    sold: float
    money: float


@dataclass(frozen=True)
class Ahead:
    """The yard run forward. Money in minor units, days from now.

    Parameters
    ----------
    courses
        Cars in the order of finishing.
    money
        All money to come.
    hours
        All own hours.
    lowest_cash, lowest_on
        Least cash and its day. What a car in hand still costs is paid when its work begins, a car to
        be bought is paid today with all it costs.
    bay_days
        Days that bays are taken.
    """

    courses: tuple[Course, ...]
    money: float
    hours: float
    lowest_cash: float
    lowest_on: float
    bay_days: float
    wage: float = 0.0

    @property
    def last_sale(self) -> float:
        """Day of the last sale."""
        return max((course.sold for course in self.courses), default=0.0)

    @property
    def per_hour(self) -> float | None:
        """Money to come for each own hour."""
        return self.money / self.hours if self.hours > 0 else None

    @property
    def per_bay_day(self) -> float | None:
        """Money to come, own hours at the wage taken off, for each day of a bay."""
        return (self.money - self.wage * self.hours) / self.bay_days if self.bay_days > 0 else None


def run_forward(yard: YardNow) -> Ahead:
    """Finish the cars one after the other in the best order and sell each after its idle days.

    A car that is not here yet begins when a bay is free. While none is, the next car that has a bay
    is worked on.

    Parameters
    ----------
    yard
        The yard.

    Returns
    -------
    Ahead
        Day and money of each, and of all.

    References
    ----------
    smith-1956; own-reasoning, docs/method/yard.md.
    """
    per_day = yard.hours_per_week / 7.0
    usual = (yard.usual_hours_per_week or yard.hours_per_week) / 7.0
    by_id = {car.car_id: car for car in yard.cars}
    waiting = [by_id[one.car_id] for one in best_order([car.in_work for car in yard.cars])]
    free = max(yard.bays - sum(car.is_here for car in yard.cars), 0)
    leaves: list[float] = []
    clock, courses, bay_days = 0.0, list[Course](), 0.0
    moves: list[tuple[float, float]] = []
    while waiting:
        empty = free + sum(day <= clock + 1e-9 for day in leaves)
        able = [car for car in waiting if car.is_here or empty > 0]
        if not able:
            clock = min(day for day in leaves if day > clock)
            continue
        car = able[0]
        waiting.remove(car)
        if not car.is_here:
            if free:
                free -= 1
            else:
                leaves.remove(min(leaves))
        begins, clock = clock, clock + car.hours_left / per_day
        sold = clock + car.idle_days
        leaves.append(sold)
        bay_days += sold if car.is_here else sold - begins
        alone = car.hours_left / usual + car.idle_days
        delay = sold - alone if car.is_here else (sold - begins) - alone
        money = car.money - car.per_day * delay
        courses.append(Course(car.car_id, car.name, begins, clock, sold, money))
        moves += [(begins if car.is_here else 0.0, -car.cash_out), (sold, money + car.cash_out)]
    cash, low, low_on = yard.cash, yard.cash, 0.0
    for day, amount in sorted(moves, key=lambda move: (move[0], move[1])):
        cash += amount
        if cash < low:
            low, low_on = cash, day
    return Ahead(
        tuple(courses),
        sum(course.money for course in courses),
        sum(car.hours_left for car in yard.cars),
        low,
        low_on,
        bay_days,
        yard.wage,
    )


@dataclass(frozen=True)
class Change:
    """What may be changed to see what it does; None leaves it. Money in minor units."""

    hours_per_week: float | None = None
    wage: float | None = None
    bays: int | None = None
    cash: float | None = None
    added: Standing | None = None
    dropped: frozenset[int] = field(default_factory=frozenset)


def changed(yard: YardNow, change: Change) -> YardNow:
    """The yard after a change; forecasts of each car's days keep the hours they were made with."""
    cars = tuple(car for car in yard.cars if car.car_id not in change.dropped)
    if change.added is not None:
        cars += (change.added,)
    return replace(
        yard,
        cars=cars,
        hours_per_week=yard.hours_per_week if change.hours_per_week is None else change.hours_per_week,
        wage=yard.wage if change.wage is None else change.wage,
        bays=yard.bays if change.bays is None else change.bays,
        cash=yard.cash if change.cash is None else change.cash,
        usual_hours_per_week=yard.usual_hours_per_week or yard.hours_per_week,
    )


@dataclass(frozen=True)
class WhatIf:
    """The yard before and after a change."""

    before: Ahead
    after: Ahead


def what_if(yard: YardNow, change: Change) -> WhatIf:
    """Run the yard forward as it is and as it would be."""
    return WhatIf(run_forward(yard), run_forward(changed(yard, change)))


@dataclass(frozen=True)
class Affordable:
    """Whether another car fits the purse. Money in minor units.

    Parameters
    ----------
    lowest_before, lowest_after
        Least cash to come without and with it.
    fits
        Whether the least cash stays at or above what should be kept.
    """

    lowest_before: float
    lowest_after: float
    fits: bool


def affordable(yard: YardNow, car: Standing, keep: float = 0.0) -> Affordable:
    """Whether the least cash stays above ``keep`` if a car is bought as well. [minor units]."""
    found = what_if(yard, Change(added=car))
    return Affordable(found.before.lowest_cash, found.after.lowest_cash, found.after.lowest_cash >= keep)
