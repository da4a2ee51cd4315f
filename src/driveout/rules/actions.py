"""Reading and changing the person's own rules."""

from __future__ import annotations

from datetime import datetime

from driveout.rules import records
from driveout.rules.own_rules import Rules
from driveout.rules.records import KeptRules
from driveout.store import Tx


def rules_of(tx: Tx, currency: str = "USD") -> KeptRules:
    """The person's rules in a currency; the defaults, version 0, if none were ever written."""
    return records.rules_kept(tx, currency)


def change_rules(tx: Tx, rules: Rules, *, version: int, at: datetime) -> KeptRules:
    """Write the person's rules; outlooks follow with the next fact of each car.

    Parameters
    ----------
    tx
        Open transaction.
    rules
        All rules in one currency.
    version
        Version the person was looking at.
    at
        Present moment.

    Returns
    -------
    KeptRules
        The rules with their new version.

    Raises
    ------
    Conflict
        If somebody else changed them meanwhile.
    """
    return records.keep_rules(tx, rules, version, at)
