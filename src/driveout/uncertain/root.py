"""Where a steady function crosses 0, without loading an optimisation library."""

from __future__ import annotations

from collections.abc import Callable

from driveout.errors import BadEntry


def crossing(gap: Callable[[float], float], low: float, high: float, tolerance: float = 0.0) -> float:
    """Place between ``low`` and ``high`` where ``gap`` changes sign.

    Regula falsi with the Illinois correction; every third step halves the bracket, so that a
    flat stretch cannot stall it.

    Parameters
    ----------
    gap
        A continuous function with different signs at the two ends.
    low
        Bracket.
    high
        Bracket.
    tolerance
        Width of the bracket at which to stop; 0 goes on to the last digit.

    Returns
    -------
    float
        The crossing.

    Raises
    ------
    BadEntry
        If the function has the same sign at both ends.
    """
    at_low, at_high = gap(low), gap(high)
    if at_low == 0.0:
        return low
    if at_high == 0.0:
        return high
    if (at_low > 0.0) == (at_high > 0.0):
        raise BadEntry(
            f"No crossing lies between {low:g} and {high:g}: the values there are {at_low:g} and "
            f"{at_high:g}. Widen the bracket.",
            field="bracket",
            value=[low, high],
        )
    for step in range(400):
        width = high - low
        middle = 0.5 * (low + high)
        if abs(width) <= tolerance or not min(low, high) < middle < max(low, high):
            break
        guess = high - at_high * width / (at_high - at_low)
        if step % 3 == 2 or not min(low, high) < guess < max(low, high):
            guess = middle
        value = gap(guess)
        if value == 0.0:
            return guess
        if (value > 0.0) == (at_high > 0.0):
            high, at_high = guess, value
            at_low *= 0.5
        else:
            low, at_low = guess, value
            at_high *= 0.5
    return 0.5 * (low + high)
