"""Threads and what they can bear: plausibility bands for tightening values, never instructions."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from driveout.errors import BadEntry, CannotSay
from driveout.units import FACTORS

# ISO 261 coarse pitches [mm], from memory (iso-261).
COARSE_MM = {5.0: 0.8, 6.0: 1.0, 7.0: 1.0, 8.0: 1.25, 10.0: 1.5, 12.0: 1.75, 14.0: 2.0, 16.0: 2.0}
# Fine pitches in use on cars [mm], from memory (iso-261).
FINE_MM = {8.0: (1.0,), 10.0: (1.25, 1.0), 12.0: (1.5, 1.25), 14.0: (1.5,), 16.0: (1.5,)}
# Least bearing diameter of hexagon heads, ISO 4014 [mm]; medium clearance hole, ISO 273 [mm]; from memory.
_BEARING_MM = {5.0: 6.88, 6.0: 8.88, 8.0: 11.63, 10.0: 14.63, 12.0: 16.63, 14.0: 19.64, 16.0: 22.49}
_HOLE_MM = {5.0: 5.5, 6.0: 6.6, 8.0: 9.0, 10.0: 11.0, 12.0: 13.5, 14.0: 15.5, 16.0: 17.5}


@dataclass(frozen=True)
class Strength:
    """Nominal strengths of a property class, ISO 898-1. [MPa]."""

    proof: float
    yield_point: float
    tensile: float


# ISO 898-1 (iso-898-1), from memory, cross-checked by the published proof loads. [MPa]
_STRENGTH = {
    "8.8": Strength(580, 640, 800),
    "10.9": Strength(830, 940, 1040),
    "12.9": Strength(970, 1100, 1220),
}
_STRENGTH_88_OVER_16 = Strength(600, 660, 830)
CLASSES = tuple(_STRENGTH)
LOWEST_FRICTION = 0.08
HIGHEST_FRICTION = 0.20
USUAL_USE = 0.9
"""Share of the yield point that the assembly torque uses, VDI 2230 (vdi-2230)."""


@dataclass(frozen=True)
class Thread:
    """One metric thread. [mm]."""

    diameter: float
    pitch: float

    @property
    def pitch_diameter(self) -> float:
        """Diameter d2, in mm."""
        return self.diameter - 0.649519 * self.pitch

    @property
    def core_diameter(self) -> float:
        """Diameter d3, in mm."""
        return self.diameter - 1.226869 * self.pitch

    @property
    def stress_diameter(self) -> float:
        """Mean of d2 and d3, in mm."""
        return (self.pitch_diameter + self.core_diameter) / 2

    @property
    def stress_area(self) -> float:
        """Area As that carries the load, in mm2 (iso-898-1)."""
        return math.pi / 4 * self.stress_diameter**2

    def text(self) -> str:
        """Write it as on a bag label, for example ``M10×1.25``."""
        return f"M{self.diameter:g}×{self.pitch:g}"


def read_thread(text: str) -> Thread:
    """Read a metric thread such as ``M10``, ``M10x1.25`` or ``m12 × 1,5``.

    Parameters
    ----------
    text
        Diameter and, where it is not the coarse one, the pitch.

    Returns
    -------
    Thread
        With the coarse pitch when none is written.

    Raises
    ------
    BadEntry
        If it is not a metric thread of 3 to 30 mm, or the pitch does not fit the diameter.
    """
    match = re.fullmatch(r"\s*[mM]\s*(\d+(?:[.,]\d+)?)(?:\s*[x×X*]\s*(\d+(?:[.,]\d+)?))?\s*", text)
    if not match:
        raise BadEntry(
            f"{text!r} is not a metric thread.",
            field="size",
            value=text,
            allowed="for example M8 or M10x1.25",
        )
    diameter = float(match[1].replace(",", "."))
    written = match[2]
    if written is None and diameter not in COARSE_MM:
        raise BadEntry(
            f"The coarse pitch of M{diameter:g} is not on file. Write the pitch too, for example M{diameter:g}x1.5.",
            field="size",
            value=text,
        )
    pitch = float(written.replace(",", ".")) if written else COARSE_MM[diameter]
    if not 3 <= diameter <= 30 or not 0.3 <= pitch <= diameter / 4:
        raise BadEntry(
            f"M{diameter:g}×{pitch:g} is not a thread found on cars.",
            field="size",
            value=text,
            allowed="M3 to M30, pitch 0.3 mm to a quarter of the diameter",
        )
    return Thread(diameter, pitch)


def inch_stress_area(diameter: Fraction | float, threads_per_inch: int) -> float:
    """Area that carries the load of an inch thread, in square inches (sae-j429): 0.7854 (D - 0.9743/n)^2."""
    return 0.7854 * (float(diameter) - 0.9743 / threads_per_inch) ** 2


def strength(thread: Thread, property_class: str) -> Strength:
    """Strengths of a property class at this size.

    Parameters
    ----------
    thread
        The thread.
    property_class
        ``8.8``, ``10.9`` or ``12.9``, as stamped on the head.

    Returns
    -------
    Strength
        Nominal values. [MPa]

    Raises
    ------
    BadEntry
        If the class is not one of these.

    References
    ----------
    iso-898-1, table 3.
    """
    if property_class not in _STRENGTH:
        raise BadEntry(
            f"Property class {property_class!r} is not known.",
            field="property_class",
            value=property_class,
            allowed=", ".join(CLASSES),
        )
    if property_class == "8.8" and thread.diameter > 16:
        return _STRENGTH_88_OVER_16
    return _STRENGTH[property_class]


def proof_load(thread: Thread, property_class: str) -> float:
    """Load without lasting stretch, in N (iso-898-1)."""
    return thread.stress_area * strength(thread, property_class).proof


def assembly_preload(thread: Thread, property_class: str, friction: float, use: float = USUAL_USE) -> float:
    """Preload at which thread torsion and tension together reach a share of the yield point.

    F = use Rp As / sqrt(1 + 3 [1.5 (d2/d0) (P/(pi d2) + 1.155 mu)]^2), d0 = (d2 + d3)/2.

    Parameters
    ----------
    thread
        The thread.
    property_class
        As stamped on the head.
    friction
        Friction in the thread.
    use
        Share of the yield point.

    Returns
    -------
    float
        Preload. [N]

    References
    ----------
    vdi-2230, section 5.4.3.
    """
    torsion = (
        1.5
        * (thread.pitch_diameter / thread.stress_diameter)
        * (thread.pitch / (math.pi * thread.pitch_diameter) + 1.155 * friction)
    )
    yield_point = strength(thread, property_class).yield_point
    return use * yield_point * thread.stress_area / math.sqrt(1 + 3 * torsion**2)


def assembly_torque(thread: Thread, property_class: str, friction: float, use: float = USUAL_USE) -> float:
    """Torque that gives the assembly preload with a hexagon head on steel.

    M = F [0.159 P + 0.577 d2 mu + 0.5 DKm mu], the same friction in thread and under the head.

    Parameters
    ----------
    thread
        The thread, M5 to M16.
    property_class
        As stamped on the head.
    friction
        Friction in the thread and under the head.
    use
        Share of the yield point.

    Returns
    -------
    float
        Torque. [N·m]

    Raises
    ------
    CannotSay
        If no head size is on file for the diameter.

    References
    ----------
    vdi-2230, equation (R13) with the head of ISO 4014 and the hole of ISO 273 medium.
    """
    if thread.diameter not in _BEARING_MM:
        raise CannotSay(
            f"No head size is on file for {thread.text()}, so no torque band can be given.",
            missing="head size",
        )
    mean_head = (_BEARING_MM[thread.diameter] + _HOLE_MM[thread.diameter]) / 2
    lever = 0.159 * thread.pitch + 0.577 * thread.pitch_diameter * friction + 0.5 * mean_head * friction
    return assembly_preload(thread, property_class, friction, use) * lever / 1000


def possible_torque(thread: Thread, property_class: str) -> tuple[float, float]:
    """Least and greatest torque that can make sense for a steel bolt of this size and class.

    Not valid for drain and spark plugs, hollow bolts, threads in soft metal, or bolts taken past
    yield on purpose.

    Parameters
    ----------
    thread
        The thread.
    property_class
        As stamped on the head.

    Returns
    -------
    tuple
        Torque at friction 0.08 and a fifth of yield, and at friction 0.20 and full yield. [N·m]

    References
    ----------
    vdi-2230 for the formula; own-reasoning, docs/method/tightening.md for the ends of the band.
    """
    return (
        assembly_torque(thread, property_class, LOWEST_FRICTION, 0.2),
        assembly_torque(thread, property_class, HIGHEST_FRICTION, 1.0),
    )


# How often each unit is met and how far makers stay under full use: our own guesses (own-reasoning).
_UNIT_SHARES = {"N·m": 0.50, "lbf·ft": 0.38, "lbf·in": 0.06, "kgf·m": 0.04, "kgf·cm": 0.02}
_USUAL_RATIO = 0.75
_RATIO_SPREAD = 0.30


def unit_odds(value: float, thread: Thread, property_class: str) -> dict[str, float]:
    """Chance of each unit when a value was written without one.

    It shows why the unit is compulsory: a factor of 1.36 cannot be seen from size and class.

    Parameters
    ----------
    value
        The bare number.
    thread
        Thread that it is meant for.
    property_class
        Class of the bolt, as stamped on its head.

    Returns
    -------
    dict
        Chance by unit; they add up to 1.

    References
    ----------
    own-reasoning, docs/method/tightening.md.
    """
    usual = assembly_torque(thread, property_class, 0.12)
    weights = {
        unit: share
        * math.exp(
            -0.5
            * (
                (math.log(value * FACTORS.get(f"N·m per {unit}", 1.0) / usual) - math.log(_USUAL_RATIO))
                / _RATIO_SPREAD
            )
            ** 2
        )
        for unit, share in _UNIT_SHARES.items()
    }
    total = sum(weights.values())
    if total == 0:
        raise CannotSay(f"{value:g} fits no unit for {thread.text()} {property_class}.", missing="unit")
    return {unit: weight / total for unit, weight in weights.items()}


def preload_from_angle(
    degrees: float,
    thread: Thread,
    clamped_length_mm: float,
    give_of_parts: float = 0.0,
    modulus_mpa: float = 205_000.0,
) -> float:
    """Extra preload from turning by an angle after the joint is snug.

    dF = (angle/360) P / (dS + dP), dS = L/(E As).

    Parameters
    ----------
    degrees
        Angle of turn.
    thread
        The thread.
    clamped_length_mm
        Length that is stretched. [mm]
    give_of_parts
        Give of the clamped parts as a share of the bolt's; 0 for rigid parts.
    modulus_mpa
        Stiffness of the bolt's steel. [MPa]

    Returns
    -------
    float
        Extra preload, as long as the bolt does not yield. [N]

    References
    ----------
    vdi-2230.
    """
    bolt_give = clamped_length_mm / (modulus_mpa * thread.stress_area)
    return degrees / 360 * thread.pitch / (bolt_give * (1 + give_of_parts))
