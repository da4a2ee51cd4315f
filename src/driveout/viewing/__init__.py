"""Which check next: the best plan over all check results, and the sheet that works with no signal."""

from driveout.viewing.decide import CheckWorth, Decision, decide
from driveout.viewing.fault_plan import FaultPlan, best_now, plan_faults
from driveout.viewing.fault_sums import prepare
from driveout.viewing.fault_viewing import FaultCheck, FaultViewing, SharedCost
from driveout.viewing.many_checks import ManyPlan, plan_many
from driveout.viewing.policy import Node, Policy, as_table, from_table
from driveout.viewing.problem import Check, DecisionProblem, FinalAction, JointTable
from driveout.viewing.problem_file import read_problem
from driveout.viewing.profit_law import ProfitLaw
from driveout.viewing.viewing_file import ViewingCase, read_viewing

__all__ = [
    "Check",
    "CheckWorth",
    "Decision",
    "DecisionProblem",
    "FaultCheck",
    "FaultPlan",
    "FaultViewing",
    "FinalAction",
    "JointTable",
    "ManyPlan",
    "Node",
    "Policy",
    "ProfitLaw",
    "SharedCost",
    "ViewingCase",
    "as_table",
    "best_now",
    "decide",
    "from_table",
    "plan_faults",
    "plan_many",
    "prepare",
    "read_problem",
    "read_viewing",
]
