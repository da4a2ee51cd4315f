"""Comparables to value, and adverts to time on the market."""

from driveout.market.appraisal import Appraisal, CarToValue
from driveout.market.comparables import Comparable
from driveout.market.doubles import duplicates
from driveout.market.own_file import comparables_from_document
from driveout.market.prior import Prior, default_prior, learned_prior
from driveout.market.spreadsheet import comparables_from_csv, comparables_from_paste
from driveout.market.uplift import Uplift, repair_adds
from driveout.market.value import appraise

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
