"""The joint outlook of one car: profit, own hours, days and cash, each opened line by line."""

from driveout.outlook.book import Charge, CostBook, Mend, Piece
from driveout.outlook.chances import Block, FaultChances, chances_of
from driveout.outlook.draws import FaultDraws
from driveout.outlook.forecast import (
    Band,
    Case,
    Forecast,
    Outlook,
    OutlookLine,
    Salvage,
    forecast,
)
from driveout.outlook.from_catalogue import FaultFacts, Plan, cost_book, repair_pieces
from driveout.outlook.margin import Margin, Resale
from driveout.outlook.rules import CEILING_RULES, Rules, rules_as_data, rules_from
from driveout.outlook.shown import outlook_as_data
from driveout.outlook.spread import cost_distribution, mean_and_variance, parts

__all__ = [
    "CEILING_RULES",
    "Band",
    "Block",
    "Case",
    "Charge",
    "CostBook",
    "FaultChances",
    "FaultDraws",
    "FaultFacts",
    "Forecast",
    "Margin",
    "Mend",
    "Outlook",
    "OutlookLine",
    "Piece",
    "Plan",
    "Resale",
    "Rules",
    "Salvage",
    "chances_of",
    "cost_book",
    "cost_distribution",
    "forecast",
    "mean_and_variance",
    "outlook_as_data",
    "parts",
    "repair_pieces",
    "rules_as_data",
    "rules_from",
]
