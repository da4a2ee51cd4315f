"""The joint outlook of one car: profit, own hours, days and cash, each opened line by line."""

from driveout.outlook.actuals import Booked, Known, PartsOf, with_actuals
from driveout.outlook.ahead import Ahead, ahead_from, ahead_of
from driveout.outlook.book import Charge, CostBook, Mend, Piece, moments
from driveout.outlook.car_case import (
    always_lines,
    car_case,
    chances_or_draws,
    check_currency,
    no_value,
    title_evidence,
    usual_faults,
    ways_out,
)
from driveout.outlook.case_file import OwnCase, case_from_file, case_result
from driveout.outlook.chances import Block, FaultChances, chances_of
from driveout.outlook.draws import FaultDraws
from driveout.outlook.endings import Choice, Endings, WayOut, usual_ways_out, ways_to_end
from driveout.outlook.estimates import lines_of as estimate_lines
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
from driveout.outlook.must_be import Needed, what_must_be_true
from driveout.outlook.shown import outlook_as_data
from driveout.outlook.spread import cost_distribution, mean_and_variance, parts
from driveout.outlook.strip import StripBand, strip_svg, strip_words
from driveout.outlook.walk_away import (
    Ceiling,
    RuleCeiling,
    ceiling_from,
    ceiling_of,
    certain_ceiling,
    chosen_price,
    loss_ceiling,
    tail_ceiling,
    wage_ceiling,
)
from driveout.rules import CEILING_RULES, Rules, default_rules, rules_as_data, rules_from

__all__ = [
    "Ahead",
    "Choice",
    "Endings",
    "Needed",
    "PartsOf",
    "WayOut",
    "ahead_from",
    "ahead_of",
    "usual_faults",
    "usual_ways_out",
    "ways_to_end",
    "what_must_be_true",
    "CEILING_RULES",
    "Band",
    "Block",
    "Booked",
    "Case",
    "Ceiling",
    "Charge",
    "CostBook",
    "FaultChances",
    "FaultDraws",
    "FaultFacts",
    "Forecast",
    "Known",
    "Margin",
    "Mend",
    "Outlook",
    "OutlookLine",
    "OwnCase",
    "Piece",
    "Plan",
    "Resale",
    "RuleCeiling",
    "Rules",
    "Salvage",
    "StripBand",
    "always_lines",
    "car_case",
    "case_from_file",
    "case_result",
    "ceiling_from",
    "ceiling_of",
    "certain_ceiling",
    "chances_of",
    "chosen_price",
    "chances_or_draws",
    "check_currency",
    "cost_book",
    "cost_distribution",
    "default_rules",
    "estimate_lines",
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
    "strip_svg",
    "strip_words",
    "tail_ceiling",
    "title_evidence",
    "wage_ceiling",
    "ways_out",
    "with_actuals",
]
