"""Asking plan, offers, and what waiting costs."""

from driveout.selling.asking import AskingPlan, SaleSituation, Spell, Step, asking_plan, value_today
from driveout.selling.offers import Advice, answer_offer

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
