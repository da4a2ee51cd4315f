"""What the garage earns in the long run, and whether the next car beats finishing this one.

One car after the other goes through the garage. What counts is the gain over many cars divided by
the time over many cars (renewal reward), so the best choice among the cars that turn up is the
one with the highest such rate, and every day in the garage costs that rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from driveout.errors import BadEntry, CannotSay


@dataclass(frozen=True)
class Chance:
    """A kind of car that turns up.

    Parameters
    ----------
    name
        What a person calls it.
    gain
        What it brings, own hours at the wage taken off. [minor units]
    time
        Time it takes up: days in the garage, or own hours. [day or h]
    share
        How often it is the one that turns up; shares are made to add up to 1.
    """

    name: str
    gain: float
    time: float
    share: float = 1.0


@dataclass(frozen=True)
class LongRun:
    """The best long-run rate and which cars it takes.

    Parameters
    ----------
    rate
        Gain per unit of time over many cars; 0 when none is worth taking.
    taken
        Names of what is worth taking at that rate.
    """

    rate: float
    taken: tuple[str, ...]


def _checked(chances: Sequence[Chance], search: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not chances:
        raise CannotSay("No car to choose from, so no long-run rate can be said.", missing="cars")
    gain = np.array([one.gain for one in chances])
    time = np.array([one.time for one in chances])
    share = np.array([one.share for one in chances], dtype=float)
    if search < 0 or time.min() < 0 or share.min() < 0 or share.sum() <= 0 or (search + time).min() <= 0:
        raise BadEntry(
            f"Looking takes {search:g} and the quickest car {time.min():g}; together they must be above 0, "
            "and no share below 0.",
            field="time",
            value=float(time.min()),
            allowed="above 0",
        )
    return gain, time, share / share.sum()


def long_run(chances: Sequence[Chance], search: float) -> LongRun:
    """Highest gain per unit of time over many cars.

    Solves ``sum share max(gain - rate time, 0) = rate search`` by Dinkelbach's steps: from a rate,
    take what beats it, and work out the rate of doing so, until it stands still.

    Parameters
    ----------
    chances
        What turns up.
    search
        Time until the next one turns up, during which the garage stands idle; 0 or more.

    Returns
    -------
    LongRun
        Rate and what to take.

    Raises
    ------
    CannotSay
        If nothing turns up.
    BadEntry
        If times or shares are below 0, or all times 0.

    References
    ----------
    dinkelbach-1967; own-reasoning, docs/method/yard.md.
    """
    gain, time, share = _checked(chances, search)
    rate = 0.0
    taken = gain > 0
    for _ in range(200):
        taken = gain > rate * time
        spent = float(share[taken] @ time[taken]) + search
        new = float(share[taken] @ gain[taken]) / spent if taken.any() and spent > 0 else rate
        if abs(new - rate) <= 1e-14 * max(abs(new), 1.0):
            break
        rate = new
    return LongRun(
        rate,
        tuple(
            one.name for one, yes in zip(chances, gain >= rate * time, strict=True) if yes and one.gain > 0
        ),
    )


def long_run_by_programme(chances: Sequence[Chance], search: float) -> float:
    """The same rate as the optimum of a linear programme: the second route that checks the first.

    With ``y`` the number of cars of each kind taken per unit of time and ``s`` the number that turn
    up: maximise ``gain y`` with ``time y + search s = 1`` and ``0 <= y <= share s``.
    """
    from scipy.optimize import linprog

    gain, time, share = _checked(chances, search)
    size = len(gain)
    # Gains are put on the scale of 1, so that the solver's tolerance is one of the rate.
    scale = max(float(np.abs(gain).max()), 1e-300)
    bounded = np.hstack([np.eye(size), -share[:, None]])
    found = linprog(
        np.append(-gain / scale, 0.0),
        A_ub=bounded,
        b_ub=np.zeros(size),
        A_eq=np.append(time, search)[None, :],
        b_eq=[1.0],
        method="highs",
    )
    return -float(found.fun) * scale if found.status == 0 else 0.0


@dataclass(frozen=True)
class NextOrThis:
    """Whether another car is worth more of the scarce time than finishing this one."""

    this_rate: float
    next_rate: float

    @property
    def finish_first(self) -> bool:
        """Whether an hour or a day at this car brings at least what the next one would."""
        return self.this_rate >= self.next_rate


def next_or_this(gain_to_come: float, time_left: float, rate: float) -> NextOrThis:
    """Compare what is still to come from a car with the long-run rate of the next ones.

    Parameters
    ----------
    gain_to_come
        Money to come from finishing it less what it would bring now; what is spent does not
        count. [minor units]
    time_left
        Time it still takes up. [day or h]
    rate
        Long-run rate of the next cars, per the same time.

    Returns
    -------
    NextOrThis
        Both rates; a car that takes no more time is always finished first.
    """
    if time_left <= 0:
        return NextOrThis(np.inf if gain_to_come >= 0 else -np.inf, rate)
    return NextOrThis(gain_to_come / time_left, rate)
