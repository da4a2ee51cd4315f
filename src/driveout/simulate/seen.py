"""What anybody can see of a car before going there. Nothing in here is hidden truth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SeenAdvert:
    """What anybody can read: all that a decision before the viewing may lean on. Money in major units.

    Parameters
    ----------
    number
        Its place in the stream.
    day
        Day it appears.
    value
        Appraised value of the sound car.
    asking
        What the seller asks.
    says
        Faults' signs that the advert names.
    distance_km
        Way to it. [km]
    """

    number: int
    day: float
    value: float
    asking: float
    says: tuple[tuple[str, str], ...]
    distance_km: float
