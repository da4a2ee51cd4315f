"""The same car seen twice among comparables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from driveout.market.comparables import Comparable


@dataclass(frozen=True, slots=True)
class Duplicate:
    """Two comparables that look like the same car."""

    first: int
    second: int
    because: str


def duplicates(comparables: Sequence[Comparable]) -> tuple[Duplicate, ...]:
    """Pairs that look like one car seen twice: same name or link, or same price, age and distance.

    Parameters
    ----------
    comparables
        The cars.

    Returns
    -------
    tuple of Duplicate
        Positions of the first and the later one, with the reason in words.
    """
    first_by_key: dict[tuple[Any, ...], int] = {}
    pairs: list[Duplicate] = []
    for i, car in enumerate(comparables):
        km = None if car.mileage_km is None else round(car.mileage_km)
        keys: list[tuple[tuple[Any, ...], str]] = []
        if km is not None and km > 100 and len(car.name) > 3:
            keys.append(
                (("name", car.name.casefold(), km), f"both are called {car.name!r} with the same distance")
            )
        if km is not None and km % 1000:
            # A distance written to the kilometre is nearly a fingerprint; 120,000 km is not.
            keys.append(
                (
                    ("km", km, car.made_year, car.age_years),
                    f"same year and distance to the kilometre, {km:,} km",
                )
            )
        if km is not None:
            keys.append(
                (
                    ("all", km, car.made_year, car.age_years, car.price.minor, car.place.casefold()),
                    "same price, year, distance and place",
                )
            )
        for key, because in keys:
            if key in first_by_key:
                pairs.append(Duplicate(first_by_key[key], i, because))
                break
        for key, _ in keys:
            first_by_key.setdefault(key, i)
    return tuple(pairs)


def without_duplicates(
    comparables: Sequence[Comparable],
) -> tuple[tuple[Comparable, ...], tuple[str, ...]]:
    """Comparables with each car once (the last sighting stays), and sentences on those left out."""
    pairs = duplicates(comparables)
    dropped = {pair.first: pair for pair in pairs}
    kept = tuple(car for i, car in enumerate(comparables) if i not in dropped)
    if len(dropped) > 3:
        i, pair = next(iter(dropped.items()))
        return kept, (
            f"{len(dropped)} comparables look like another one seen again and count once, "
            f"for example {comparables[i].label}: {pair.because}.",
        )
    said = tuple(
        f"{comparables[i].label} counts once: {pair.because}; the later sighting is used."
        for i, pair in sorted(dropped.items())
    )
    return kept, said
