"""The person's own rules: what an hour is worth, how much risk, which limits bind."""

from driveout.rules.own_rules import (
    CEILING_RULES,
    ORIGIN,
    Rules,
    default_rules,
    rules_as_data,
    rules_from,
)

__all__ = ["CEILING_RULES", "ORIGIN", "Rules", "default_rules", "rules_as_data", "rules_from"]
