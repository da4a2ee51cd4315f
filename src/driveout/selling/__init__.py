"""Asking plan, offers, and what waiting costs."""

from driveout.selling.asking import asking_plan, value_today
from driveout.selling.offers import Advice, answer_offer
from driveout.selling.plan import AskingPlan, Step
from driveout.selling.situation import SaleSituation, Spell

__all__ = [
    "Advice",
    "AskingPlan",
    "SaleSituation",
    "Spell",
    "Step",
    "answer_offer",
    "asking_plan",
    "value_today",
]
