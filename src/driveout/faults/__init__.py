"""Faults, findings and checks: what is probably wrong with a car, exactly, and why."""

from driveout.faults.compiled import Compiled, compile_network
from driveout.faults.network import (
    ABSENT,
    SILENT,
    Arc,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    Odds,
    Root,
    State,
    Table,
)
from driveout.faults.posterior import Posterior, SignedTerms, Speaks, World, infer

__all__ = [
    "ABSENT",
    "SILENT",
    "Arc",
    "Beta",
    "Cause",
    "Compiled",
    "Finding",
    "Link",
    "Network",
    "Odds",
    "Posterior",
    "Root",
    "SignedTerms",
    "Speaks",
    "State",
    "Table",
    "World",
    "compile_network",
    "infer",
]
