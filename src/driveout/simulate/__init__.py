"""Owners and cars with hidden truth: the whole loop played through, to compare ways of deciding and to teach."""

from driveout.simulate.truth import Truth, draw_truth
from driveout.simulate.years import Life, sample_years

__all__ = ["Life", "Truth", "draw_truth", "sample_years"]
