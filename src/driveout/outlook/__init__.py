"""The joint outlook of one car: profit, own hours, days and cash, each opened line by line."""

from driveout.outlook.book import Charge, CostBook, Mend, Piece, moments
from driveout.outlook.car_case import (
    always_lines,
    car_case,
    chances_or_draws,
    check_currency,
    no_value,
    title_evidence,
    ways_out,
)
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
from driveout.outlook.walk_away import (
    Ceiling,
    RuleCeiling,
    ceiling_from,
    ceiling_of,
    certain_ceiling,
    loss_ceiling,
    tail_ceiling,
    wage_ceiling,
)

__all__ = [
    "CEILING_RULES",
    "Band",
    "Block",
    "Case",
    "Ceiling",
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
    "RuleCeiling",
    "Rules",
    "Salvage",
    "always_lines",
    "car_case",
    "ceiling_from",
    "ceiling_of",
    "certain_ceiling",
    "chances_of",
    "chances_or_draws",
    "check_currency",
    "cost_book",
    "cost_distribution",
    "forecast",
    "loss_ceiling",
    "mean_and_variance",
    "moments",
    "no_value",
    "outlook_as_data",
    "parts",
    "repair_pieces",
    "rules_as_data",
    "rules_from",
    "tail_ceiling",
    "title_evidence",
    "wage_ceiling",
    "ways_out",
]
