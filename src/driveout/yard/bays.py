"""How long each bay is taken, and when the next one is free."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry

#: more bays than this cannot be meant
MOST_BAYS = 50


@dataclass(frozen=True)
class Stay:
    """A car in a bay.

    Parameters
    ----------
    car_id, name
        Which.
    since
        First day.
    until
        Day it is expected to leave; None when nobody knows.
    """

    car_id: int
    name: str
    since: datetime.date
    until: datetime.date | None


@dataclass(frozen=True)
class Bay:
    """One bay: who stands in it, for how many days so far, and when it is expected to be free."""

    number: int
    stay: Stay | None
    days_taken: int
    free_on: datetime.date | None


@dataclass(frozen=True)
class BayUse:
    """All bays, cars without a bay, and the next free day; None when nobody knows."""

    bays: tuple[Bay, ...]
    outside: tuple[Stay, ...]
    next_free: datetime.date | None

    @property
    def free_now(self) -> int:
        """Bays that nothing stands in."""
        return sum(bay.stay is None for bay in self.bays)


def bay_use(stays: Sequence[Stay], bays: int, today: datetime.date) -> BayUse:
    """Put cars into bays, the longest there first.

    Parameters
    ----------
    stays
        Cars in the garage, any order.
    bays
        Number of bays, 1 to 50.
    today
        The day.

    Returns
    -------
    BayUse
        With more cars than bays the newest stand outside, and the next free day is the one after
        they have been served as well.

    Raises
    ------
    BadEntry
        If there is no bay.
    """
    if not 1 <= bays <= MOST_BAYS:
        raise BadEntry(f"{bays} bays cannot be meant.", field="bays", value=bays, allowed=f"1 to {MOST_BAYS}")
    order = sorted(stays, key=lambda stay: (stay.since, stay.car_id))
    inside, outside = order[:bays], order[bays:]
    rows = [
        Bay(number, stay, max((today - stay.since).days, 0), _free(stay, today))
        for number, stay in enumerate(inside, start=1)
    ]
    rows += [Bay(number, None, 0, today) for number in range(len(inside) + 1, bays + 1)]
    known = sorted(bay.free_on for bay in rows if bay.free_on is not None)
    # Each car outside takes the first bay that comes free.
    next_free = known[len(outside)] if len(known) > len(outside) else None
    return BayUse(tuple(rows), tuple(outside), next_free)


def _free(stay: Stay, today: datetime.date) -> datetime.date | None:
    return None if stay.until is None else max(stay.until, today)
