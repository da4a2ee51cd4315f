"""Lengths and torques with their exact conversion factors."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from driveout.errors import BadEntry
from driveout.units.numbers import read_number

# Exact by definition: international yard and pound agreement 1959 (NIST SP 811, appendix B).
FACTORS: dict[str, float] = {
    "km per mile": 1.609344,
    "mm per inch": 25.4,
    "N·m per lbf·ft": 1.3558179483314004,
    "N·m per lbf·in": 0.1129848290276167,
    "N·m per kgf·m": 9.80665,
    "N·m per kgf·cm": 0.0980665,
    "kPa per psi": 6.894757293168361,
    "kPa per bar": 100.0,
}
_TORQUE_UNITS = {
    "nm": ("N·m", 1.0),
    "lbfft": ("lbf·ft", FACTORS["N·m per lbf·ft"]),
    "lbft": ("lbf·ft", FACTORS["N·m per lbf·ft"]),
    "ftlb": ("lbf·ft", FACTORS["N·m per lbf·ft"]),
    "ftlbs": ("lbf·ft", FACTORS["N·m per lbf·ft"]),
    "ftlbf": ("lbf·ft", FACTORS["N·m per lbf·ft"]),
    "lbfin": ("lbf·in", FACTORS["N·m per lbf·in"]),
    "lbin": ("lbf·in", FACTORS["N·m per lbf·in"]),
    "inlb": ("lbf·in", FACTORS["N·m per lbf·in"]),
    "inlbs": ("lbf·in", FACTORS["N·m per lbf·in"]),
    "inlbf": ("lbf·in", FACTORS["N·m per lbf·in"]),
    "kgfm": ("kgf·m", FACTORS["N·m per kgf·m"]),
    "kgm": ("kgf·m", FACTORS["N·m per kgf·m"]),
    "kgfcm": ("kgf·cm", FACTORS["N·m per kgf·cm"]),
    "kgcm": ("kgf·cm", FACTORS["N·m per kgf·cm"]),
}


def km_from_miles(miles: float) -> float:
    """Convert miles to kilometres."""
    return miles * FACTORS["km per mile"]


def miles_from_km(km: float) -> float:
    """Convert kilometres to miles."""
    return km / FACTORS["km per mile"]


def nm_from_lbfft(lbfft: float) -> float:
    """Convert pound-force feet to newton metres."""
    return lbfft * FACTORS["N·m per lbf·ft"]


def lbfft_from_nm(nm: float) -> float:
    """Convert newton metres to pound-force feet."""
    return nm / FACTORS["N·m per lbf·ft"]


@dataclass(frozen=True)
class Torque:
    """A tightening value as it was written, with its unit."""

    value: float
    unit: str

    @property
    def nm(self) -> float:
        """Value in newton metres."""
        return self.value * next(f for u, f in _TORQUE_UNITS.values() if u == self.unit)

    @property
    def lbfft(self) -> float:
        """Value in pound-force feet."""
        return lbfft_from_nm(self.nm)

    def text(self) -> str:
        """Write it in both units, the one it was given in first."""
        if self.unit == "N·m":
            return f"{self.value:g} N·m ({self.lbfft:.0f} lbf·ft)"
        return f"{self.value:g} {self.unit} ({self.nm:.0f} N·m)"


def read_torque(text: str) -> Torque:
    """Read a torque; the unit is compulsory because no size tells N·m from lbf·ft.

    Parameters
    ----------
    text
        For example ``76 lbf·ft``, ``103 Nm``, ``9.5 in-lb``.

    Returns
    -------
    Torque
        Value and unit as written.

    Raises
    ------
    BadEntry
        If the unit is missing or unknown, or the value is not above 0.
    """
    match = re.fullmatch(r"\s*([-+\d.,\s]+?)\s*([^\d\s.,].*)?\s*", unicodedata.normalize("NFKC", text))
    if not match:
        raise BadEntry(
            f"{text!r} is not a torque. Write value and unit, for example 76 lbf·ft.",
            field="torque",
            value=text,
        )
    if not match.group(2):
        raise BadEntry(
            f"{text.strip()} has no unit. Write N·m or lbf·ft after it: the two differ by 1.36 and cannot be told apart.",
            field="torque",
            value=text,
            allowed="a number followed by N·m, lbf·ft, lbf·in, kgf·m or kgf·cm",
        )
    key = re.sub(r"[^a-z]", "", match.group(2).lower())
    if key not in _TORQUE_UNITS:
        raise BadEntry(
            f"{match.group(2).strip()!r} is not a torque unit that driveout knows.",
            field="torque",
            value=text,
            allowed="N·m, lbf·ft, lbf·in, kgf·m or kgf·cm",
        )
    value = float(read_number(match.group(1)))
    if value <= 0:
        raise BadEntry(f"Torque {value:g} is not above 0.", field="torque", value=text, allowed="above 0")
    return Torque(value, _TORQUE_UNITS[key][0])
