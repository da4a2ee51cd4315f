"""A posterior as plain data: what commands and the JSON interface give back."""

from __future__ import annotations

from math import copysign, isfinite
from typing import Any

from driveout.faults.network import SILENT
from driveout.faults.posterior import Posterior, Speaks, leave_one_out

# Beyond this the change of log odds is certainty in all but name; JSON knows no infinity.
MOST_LOG_ODDS = 1e6


def plain_answer(posterior: Posterior) -> dict[str, Any]:
    """Probabilities and what speaks for them, as JSON-able data.

    Parameters
    ----------
    posterior
        The answer.

    Returns
    -------
    dict[str, Any]
        Keys ``evidence``, ``evidence_probability``, ``marginals`` (cause, state, probability),
        ``faults`` (fault, probability) and ``speaks`` (fault, list of finding, outcome, log odds).
    """
    return {
        "evidence": dict(posterior.evidence),
        "evidence_probability": posterior.evidence_probability,
        "marginals": posterior.marginals,
        "faults": posterior.faults,
        "speaks": {
            fault: [
                {"finding": s.finding, "outcome": s.outcome, "log_odds": finite(s.log_odds)}
                for s in said
                if s.log_odds != 0
            ]
            for fault, said in spoken(posterior).items()
        },
    }


def spoken(posterior: Posterior) -> dict[str, tuple[Speaks, ...]]:
    """What speaks for every fault; all silences of the advert count as one piece of evidence."""
    quiet = tuple(k for k, v in posterior.evidence.items() if v == SILENT)
    together = {k: (k,) for k in posterior.evidence if k not in quiet}
    return leave_one_out(posterior, {**together, **({SILENT: quiet} if quiet else {})} or None)


def finite(log_odds: float) -> float:
    """The number itself, or a very large one of the same sign."""
    return log_odds if isfinite(log_odds) else copysign(MOST_LOG_ODDS, log_odds)
