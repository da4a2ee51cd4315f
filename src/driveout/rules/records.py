"""Rows of the person's own rules, one set per currency."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from driveout.errors import Conflict
from driveout.rules.own_rules import Rules, default_rules, rules_as_data, rules_from
from driveout.store import Moment, Tx, metadata

rules_own = sa.Table(
    "rules_own",
    metadata,
    sa.Column("currency", sa.String(3), primary_key=True),
    sa.Column("rules", sa.JSON, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)


@dataclass(frozen=True)
class KeptRules:
    """The person's rules in one currency; version 0 while they are the defaults."""

    rules: Rules
    version: int


def rules_kept(tx: Tx, currency: str) -> KeptRules:
    """The person's rules in a currency, the defaults if none were ever written."""
    row = tx.execute(sa.select(rules_own).where(rules_own.c.currency == currency)).first()
    if row is None:
        return KeptRules(default_rules(currency), 0)
    return KeptRules(rules_from(row.rules, default_rules(currency)), row.version)


def keep_rules(tx: Tx, rules: Rules, version: int, at: datetime) -> KeptRules:
    """Write the rules if nobody has since; otherwise a Conflict."""
    values = {"rules": rules_as_data(rules), "at": at, "version": version + 1}
    if version == 0:
        taken = sa.select(rules_own.c.version).where(rules_own.c.currency == rules.currency)
        if tx.execute(taken).first() is None:
            tx.execute(sa.insert(rules_own).values(currency=rules.currency, **values))
            return KeptRules(rules, 1)
    changed = tx.execute(
        sa.update(rules_own)
        .where(rules_own.c.currency == rules.currency, rules_own.c.version == version)
        .values(**values)
    )
    if changed.rowcount != 1:
        raise Conflict("Your rules were changed in another window meanwhile. Look at them again.")
    return KeptRules(rules, version + 1)
