"""Which check before the purchase would have shown a fault that turned up later."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from driveout.faults import ABSENT, Finding, Network

_MOST_CHECKS = 4
# A check that shows a fault less often than this would not have been asked for because of it.
_LEAST_CHANCE = 0.1


@dataclass(frozen=True)
class Noted:
    """One finding as recorded."""

    finding: str
    outcome: str
    at: datetime.datetime


@dataclass(frozen=True)
class CheckBefore:
    """One check that bears on a fault.

    Parameters
    ----------
    name
        What would have been found.
    shows
        In how many of 100 such cars the fault alone shows it.
    falsely
        In how many of 100 cars without any cause it shows all the same.
    before
        Outcome recorded before the purchase; empty when the check was not made.
    pointed
        Whether that outcome spoke for a fault.
    """

    name: str
    shows: float
    falsely: float
    before: str
    pointed: bool


@dataclass(frozen=True)
class ProvedFault:
    """A fault that turned out to be there.

    Parameters
    ----------
    fault
        Its name.
    checks
        Checks that bear on it, the most telling first.
    """

    fault: str
    checks: tuple[CheckBefore, ...]

    @property
    def missed(self) -> tuple[CheckBefore, ...]:
        """Telling checks that were not made before the purchase."""
        return tuple(check for check in self.checks if not check.before)

    @property
    def pointed(self) -> bool:
        """Whether something recorded before the purchase spoke for it."""
        return any(check.pointed for check in self.checks)


def proved_faults(
    network: Network, rows: Iterable[Noted], bought_on: datetime.date | None
) -> tuple[ProvedFault, ...]:
    """Faults proved by taking apart, each with the checks that could have shown it beforehand.

    Parameters
    ----------
    network
        Faults and findings of the car.
    rows
        What is recorded, in order; a row that names a cause proves or disproves it.
    bought_on
        Day of the purchase; None counts everything recorded as made beforehand.

    Returns
    -------
    tuple of ProvedFault
        In the order they were proved; causes that the network no longer knows are left out.

    References
    ----------
    own-reasoning, docs/method/lessons.md.
    """
    rows = tuple(rows)
    # The day counts whole: what was found at the viewing and typed in after paying is still before.
    before = {row.finding: row.outcome for row in rows if bought_on is None or row.at.date() <= bought_on}
    found = []
    for row in rows:
        cause = network.cause.get(row.finding)
        state = next((one for one in cause.states if one.id == row.outcome), None) if cause else None
        if cause is None or state is None or row.outcome == ABSENT:
            continue
        checks = [
            CheckBefore(
                finding.name,
                100 * shows,
                100 * sum(alarm.mean for alarm in finding.false_alarm),
                "" if (outcome := before.get(finding.id, "")) == "silent" else outcome,
                outcome in finding.outcomes[1:],
            )
            for finding in network.findings
            if finding.kind == "check" and (shows := _shows(finding, cause.id, state.id)) >= _LEAST_CHANCE
        ]
        checks.sort(key=lambda check: (-check.shows / max(check.falsely, 1.0), check.name))
        found.append(ProvedFault(state.name or cause.name, tuple(checks[:_MOST_CHECKS])))
    return tuple(found)


def _shows(finding: Finding, cause: str, state: str) -> float:
    """Chance that a cause in a state alone brings the finding to any outcome above the first."""
    links: Sequence[float] = [
        sum(belief.mean for belief in link.given)
        for link in finding.links
        if link.cause == cause and link.state in (state, "*")
    ]
    return max(links, default=0.0)
