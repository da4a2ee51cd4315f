"""Comparables to value, and adverts to time on the market."""

from driveout.market.comparables import (
    Comparable,
    comparables_from_csv,
    comparables_from_document,
    comparables_from_paste,
    duplicates,
)
from driveout.market.prior import Prior, default_prior, learned_prior
from driveout.market.uplift import Uplift, repair_adds
from driveout.market.value import Appraisal, CarToValue, appraise

__all__ = [
    "Appraisal",
    "CarToValue",
    "Comparable",
    "Prior",
    "Uplift",
    "appraise",
    "comparables_from_csv",
    "comparables_from_document",
    "comparables_from_paste",
    "default_prior",
    "duplicates",
    "learned_prior",
    "repair_adds",
]
