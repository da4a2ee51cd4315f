"""All the person's cars at once: what each needs next, the best list for today, the yard ahead."""

from driveout.yard.bays import Bay, BayUse, Stay, bay_use
from driveout.yard.job import CarInWork, Job, Pull, Reason, best_order, night_worth, pull_of, waiting_cost
from driveout.yard.next_step import Situation, Step, next_step
from driveout.yard.renewal import Chance, LongRun, long_run, long_run_by_programme, next_or_this
from driveout.yard.today import Hours, Left, Placed, Today, today_list
from driveout.yard.what_if import (
    Affordable,
    Ahead,
    Change,
    Course,
    Standing,
    WhatIf,
    YardNow,
    affordable,
    changed,
    run_forward,
    what_if,
)

__all__ = [
    "Affordable",
    "Ahead",
    "Bay",
    "BayUse",
    "CarInWork",
    "Chance",
    "Change",
    "Course",
    "Hours",
    "Job",
    "Left",
    "LongRun",
    "Placed",
    "Pull",
    "Reason",
    "Situation",
    "Standing",
    "Stay",
    "Step",
    "Today",
    "WhatIf",
    "YardNow",
    "affordable",
    "bay_use",
    "best_order",
    "changed",
    "long_run",
    "long_run_by_programme",
    "next_or_this",
    "next_step",
    "night_worth",
    "pull_of",
    "run_forward",
    "today_list",
    "waiting_cost",
    "what_if",
]
