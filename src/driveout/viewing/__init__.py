"""Which check next: the best plan over all check results, and the sheet that works with no signal."""

from driveout.viewing.decide import CheckWorth, Decision, decide
from driveout.viewing.policy import Node, Policy, as_table, from_table
from driveout.viewing.problem import Check, DecisionProblem, FinalAction, JointTable
from driveout.viewing.problem_file import read_problem
from driveout.viewing.profit_law import ProfitLaw

__all__ = [
    "Check",
    "CheckWorth",
    "Decision",
    "DecisionProblem",
    "FinalAction",
    "JointTable",
    "Node",
    "Policy",
    "ProfitLaw",
    "as_table",
    "decide",
    "from_table",
    "read_problem",
]
