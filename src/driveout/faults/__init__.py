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
from driveout.faults.posterior import Grid, Posterior, SignedTerms, Speaks, World, grid, infer

__all__ = [
    "ABSENT",
    "SILENT",
    "Arc",
    "Beta",
    "Cause",
    "Compiled",
    "Finding",
    "Grid",
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
    "grid",
    "infer",
]
