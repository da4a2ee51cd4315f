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
from driveout.faults.network_file import read_findings, read_network
from driveout.faults.pack import Check, Fault, Pack, Sign, knowledge
from driveout.faults.posterior import (
    Grid,
    Posterior,
    SignedTerms,
    Speaks,
    World,
    engine,
    grid,
    infer,
    use_fast,
)
from driveout.faults.shipped import shipped_network, with_silence

__all__ = [
    "ABSENT",
    "SILENT",
    "Arc",
    "Beta",
    "Cause",
    "Check",
    "Compiled",
    "Fault",
    "Finding",
    "Grid",
    "Link",
    "Network",
    "Odds",
    "Pack",
    "Posterior",
    "Root",
    "Sign",
    "SignedTerms",
    "Speaks",
    "State",
    "Table",
    "World",
    "compile_network",
    "engine",
    "grid",
    "infer",
    "knowledge",
    "read_findings",
    "read_network",
    "shipped_network",
    "use_fast",
    "with_silence",
]
