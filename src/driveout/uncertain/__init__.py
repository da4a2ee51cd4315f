"""Unsure amounts: ranges, laws, exact sums on a grid, seeded draws. Knows no car."""

from driveout.uncertain.attitude import (
    certainty_equivalent,
    normal_certainty_equivalent,
    unit_normal_loss,
    worth_after_cost,
    worth_of_noisy_look,
)
from driveout.uncertain.fitting import fitted
from driveout.uncertain.lattice import Lattice, from_spectrum, mixed, sum_of
from driveout.uncertain.laws import (
    Bounded,
    Fixed,
    Floored,
    Gamma,
    Law,
    Lognormal,
    Mixture,
    Scaled,
    maybe,
    on_lattice,
)
from driveout.uncertain.root import crossing
from driveout.uncertain.three_point import CONVENTION, HIGH_SHARE, LOW_SHARE, ThreePoint
from driveout.uncertain.waits import Wait

__all__ = [
    "CONVENTION",
    "HIGH_SHARE",
    "LOW_SHARE",
    "Bounded",
    "Fixed",
    "Floored",
    "Gamma",
    "Lattice",
    "Law",
    "Lognormal",
    "Mixture",
    "Scaled",
    "ThreePoint",
    "Wait",
    "certainty_equivalent",
    "crossing",
    "fitted",
    "from_spectrum",
    "maybe",
    "mixed",
    "normal_certainty_equivalent",
    "on_lattice",
    "sum_of",
    "unit_normal_loss",
    "worth_after_cost",
    "worth_of_noisy_look",
]
