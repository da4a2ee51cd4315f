"""One thing the person could do today, what it needs, and what doing it today is worth."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry

DAYLIGHT, HELPER, RENTAL = "daylight", "helper", "rental"
NEEDS = (DAYLIGHT, HELPER, RENTAL)
NEED_WORDS = {DAYLIGHT: "daylight", HELPER: "the helper", RENTAL: "the rented tool"}


@dataclass(frozen=True)
class Reason:
    """One reason in words, and the money it stands for; 0 where it is no money. [minor units]."""

    words: str
    minor: float = 0.0


@dataclass(frozen=True)
class Job:
    """One thing to do at one car.

    Parameters
    ----------
    key
        Its name in the list.
    car_id
        The car.
    car
        What a person calls the car.
    what
        What to do.
    minutes
        Own time. [min]
    reasons
        Why, each in words and money; their sum is what doing it today is worth against leaving it
        for tomorrow.
    link
        Where it is done or recorded.
    after
        Keys of what must be done before it.
    needs
        Any of ``daylight``, ``helper``, ``rental``.
    starts_wait_hours
        Clock hours of cure, drain or soak that it starts, 0 for none. [h]
    detail
        More about what to do, such as from which step to which.
    """

    key: str
    car_id: int
    car: str
    what: str
    minutes: float
    reasons: tuple[Reason, ...] = ()
    link: str = ""
    after: tuple[str, ...] = ()
    needs: frozenset[str] = frozenset()
    starts_wait_hours: float = 0.0
    detail: str = ""

    def __post_init__(self) -> None:
        if not 0.0 <= self.minutes <= 1440.0:
            raise BadEntry(
                f"{self.what}: {self.minutes:g} minutes cannot be done in a day.",
                field="minutes",
                value=self.minutes,
                allowed="0 to 1440 min",
            )
        if unknown := self.needs - set(NEEDS):
            raise BadEntry(
                f"{self.what} needs {', '.join(sorted(unknown))}, which is not known here.",
                field="needs",
                value=", ".join(sorted(unknown)),
                allowed=", ".join(NEEDS),
            )

    @property
    def hours(self) -> float:
        """Own time. [h]."""
        return self.minutes / 60.0

    @property
    def worth(self) -> float:
        """What doing it today rather than tomorrow is worth. [minor units]."""
        return sum(reason.minor for reason in self.reasons)

    @property
    def worth_per_hour(self) -> float:
        """Worth over own hours, a tenth of an hour at least. [minor units/h]."""
        return self.worth / max(self.hours, 0.1)


@dataclass(frozen=True)
class CarInWork:
    """A car that waits to be finished and sold.

    Parameters
    ----------
    car_id
        The car.
    name
        What a person calls it.
    hours_left
        Own hours until it can be sold. [h]
    per_day
        What each day until then costs: keeping it, the money in it, the bay it stands in.
        [minor units/day]
    """

    car_id: int
    name: str
    hours_left: float
    per_day: float


def best_order(cars: Collection[CarInWork]) -> tuple[CarInWork, ...]:
    """Cars in the order in which one person should finish them.

    Highest cost a day over hours left comes first: no other order of finishing one car after the
    other has a lower sum of day costs.

    Parameters
    ----------
    cars
        Cars in work.

    Returns
    -------
    tuple of CarInWork
        First the one to finish first.

    References
    ----------
    smith-1956, theorem 3 (weighted completion times on one machine).
    """
    return tuple(sorted(cars, key=lambda car: (-car.per_day / max(car.hours_left, 1e-9), car.car_id)))


def waiting_cost(cars: Sequence[CarInWork], hours_per_day: float) -> float:
    """Day costs of finishing cars one after the other in this order. [minor units]."""
    total = hours = 0.0
    for car in cars:
        hours += car.hours_left
        total += car.per_day * hours / hours_per_day
    return total


@dataclass(frozen=True)
class Pull:
    """What one own hour at a car is worth: it brings this car and those behind it nearer."""

    per_hour: float
    own_per_hour: float
    behind: tuple[str, ...]


def pull_of(cars: Collection[CarInWork], hours_per_day: float) -> dict[int, Pull]:
    """Worth of an own hour at each car.

    An hour spent on a car brings forward its own sale and that of every car that is finished
    after it in the best order, each by ``1 / hours_per_day`` days.

    Parameters
    ----------
    cars
        Cars in work.
    hours_per_day
        Own hours a day on average, above 0. [h/day]

    Returns
    -------
    dict of int to Pull
        By number of the car.

    Raises
    ------
    BadEntry
        If there are no own hours.
    """
    if not hours_per_day > 0:
        raise BadEntry(
            f"{hours_per_day:g} own hours a day finish no car.",
            field="hours_per_week",
            value=hours_per_day,
            allowed="above 0",
        )
    found: dict[int, Pull] = {}
    behind: list[CarInWork] = []
    for car in reversed(best_order(cars)):
        whole = (car.per_day + sum(other.per_day for other in behind)) / hours_per_day
        found[car.car_id] = Pull(whole, car.per_day / hours_per_day, tuple(o.name for o in behind[::-1]))
        behind.append(car)
    return found


def night_worth(per_day: float, wait_hours: float, other_hours: float, hours_per_day: float) -> float:
    """What it is worth to start a wait today instead of tomorrow.

    While a cure or a parcel takes its time other work of the same car can go on. Only when that
    work is done first does a day lost at the start become a day lost at the sale.

    Parameters
    ----------
    per_day
        What each day of the car costs. [minor units/day]
    wait_hours
        Clock hours of the wait. [h]
    other_hours
        Own hours of the car that need not wait for it. [h]
    hours_per_day
        Own hours a day on average. [h/day]

    Returns
    -------
    float
        From 0 to one day's cost. [minor units]
    """
    slack_days = other_hours / hours_per_day - wait_hours / 24.0
    return per_day * min(max(1.0 - slack_days, 0.0), 1.0)
