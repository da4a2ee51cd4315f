"""Reading ``driveout-repair-choice/1``: the person's own repairs, access and limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, yaml_document
from driveout.repairs.choose import AccessCost, Choice, Limits, RepairOption, choose
from driveout.repairs.order import Attempt, attempt_order
from driveout.units import minor_digits

SCHEMA = "driveout-repair-choice/1"


@dataclass(frozen=True)
class ChoiceCase:
    """What was read from the file."""

    currency: str
    wage: int
    limits: Limits
    options: tuple[RepairOption, ...]
    access: tuple[AccessCost, ...]
    causes: Mapping[str, float]
    attempts: tuple[Attempt, ...]

    def choice(self) -> Choice:
        """The choice for this case."""
        return choose(self.options, self.access, self.wage, self.limits)


def read_choice(text: str | bytes, name: str = "choice") -> ChoiceCase:
    """Read the person's own repair choice.

    Parameters
    ----------
    text
        Content of a ``driveout-repair-choice/1`` file (YAML or JSON).
    name
        File name for messages.

    Returns
    -------
    ChoiceCase
        Ready to be chosen from.

    Raises
    ------
    BadEntry
        If the file is not readable.
    BadRows
        If entries are wrong; all of them together.
    """
    document = yaml_document(text, name, SCHEMA)
    reader = _Reader(document)
    case = reader.case()
    if reader.troubles:
        raise BadRows(reader.troubles)
    return case


def answer_of(case: ChoiceCase) -> dict[str, Any]:
    """Choice, and the order of trying when attempts are given, in JSON shape."""
    answer: dict[str, Any] = {"currency": case.currency}
    if case.options:
        answer["choice"] = case.choice().as_dict()
    if case.attempts:
        answer["order"] = attempt_order(case.causes, case.attempts).as_dict()
    return answer


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.troubles: list[BadEntry] = []
        self.digits = 2

    def complain(self, path: tuple[Any, ...], message: str, **more: Any) -> None:
        self.troubles.append(self.document.bad(path, message, **more))

    def number(self, path: tuple[Any, ...], value: Any, *, signed: bool = False) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(path, f"{value!r} is not a number.", value=str(value), allowed="a number")
            return 0.0
        if abs(value) > 1e12 or (value < 0 and not signed):
            self.complain(path, f"{value:g} is out of range.", value=value, allowed="0 to 1e12")
            return 0.0
        return float(value)

    def money(self, path: tuple[Any, ...], value: Any, *, signed: bool = False) -> int:
        whole = Decimal(str(self.number(path, value, signed=signed))).scaleb(self.digits)
        return int(whole.to_integral_value())

    def names(self, path: tuple[Any, ...], value: Any) -> tuple[str, ...]:
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(x, str) for x in value):
            self.complain(path, f"{value!r} is not a list of ids.", value=str(value), allowed="[id, id]")
            return ()
        return tuple(value)

    def keys(self, path: tuple[Any, ...], row: Mapping[str, Any], allowed: str) -> None:
        for key in row:
            if key not in allowed.split():
                self.complain((*path, key), f"The key {key!r} is not known here.", value=key, allowed=allowed)

    def section(self, name: str) -> dict[str, Any]:
        section = self.document.data.get(name) or {}
        if not isinstance(section, dict):
            self.complain((name,), f"{name} must hold entries by id.")
            return {}
        for key, row in section.items():
            if name != "causes" and not isinstance(row, dict):
                self.complain((name, key), f"{key} must hold keys and values.", value=str(row))
        return {str(k): v for k, v in section.items() if name == "causes" or isinstance(v, dict)}

    def case(self) -> ChoiceCase:
        data = self.document.data
        self.keys((), data, "schema currency wage budget hours lead_days access repairs causes attempts")
        currency = str(data.get("currency", "USD"))
        try:
            self.digits = minor_digits(currency)
        except BadEntry as error:
            self.complain(("currency",), error.message, value=currency)
        access = tuple(self.access(key, row) for key, row in self.section("access").items())
        options = tuple(
            option for key, row in self.section("repairs").items() for option in self.options(key, row)
        )
        known = {option.repair for option in options}
        doors = {group.id for group in access}
        for option in options:
            at = ("repairs", option.repair)
            for name in option.access:
                if name not in doors:
                    self.complain(
                        (*at, "access"), f"{name!r} is not an access group of this file.", value=name
                    )
            for name in option.needs:
                if name not in known:
                    self.complain((*at, "needs"), f"{name!r} is not a repair of this file.", value=name)
        if not options and "attempts" not in data:
            self.complain(
                ("repairs",), "The file names no repair.", fix="Write repairs: and at least one entry."
            )
        return ChoiceCase(
            currency,
            self.money(("wage",), data.get("wage", 0)),
            Limits(
                self.money(("budget",), data["budget"]) if data.get("budget") is not None else None,
                self.number(("hours",), data["hours"]) if data.get("hours") is not None else None,
                self.number(("lead_days",), data["lead_days"]) if data.get("lead_days") is not None else None,
            ),
            options,
            access,
            {k: self.number(("causes", k), v) for k, v in self.section("causes").items()},
            tuple(self.attempt(key, row) for key, row in self.section("attempts").items()),
        )

    def access(self, key: str, row: dict[str, Any]) -> AccessCost:
        at = ("access", key)
        self.keys(at, row, "hours money needs")
        return AccessCost(
            key,
            self.number((*at, "hours"), row.get("hours", 0)),
            self.money((*at, "money"), row.get("money", 0)),
            self.names((*at, "needs"), row.get("needs")),
        )

    def options(self, key: str, row: dict[str, Any]) -> list[RepairOption]:
        at = ("repairs", key)
        own = "uplift money hours lead_days access needs"
        self.keys(at, row, own + " mandatory options")
        ways = row.get("options") or {"": {}}
        if not isinstance(ways, dict) or not all(isinstance(way, dict) for way in ways.values()):
            self.complain((*at, "options"), "options must hold entries by id.")
            return []
        found = []
        for name, way in ways.items():
            here = (*at, "options", name) if name else at
            if name:
                self.keys(here, way, own)
            told = {**row, **way}
            found.append(
                RepairOption(
                    f"{key}:{name}" if name else key,
                    key,
                    self.money((*here, "uplift"), told.get("uplift", 0), signed=True),
                    self.money((*here, "money"), told.get("money", 0)),
                    self.number((*here, "hours"), told.get("hours", 0)),
                    self.names((*here, "access"), told.get("access")),
                    self.names((*here, "needs"), told.get("needs")),
                    row.get("mandatory") is True,
                    self.number((*here, "lead_days"), told.get("lead_days", 0)),
                )
            )
        return found

    def attempt(self, key: str, row: dict[str, Any]) -> Attempt:
        at = ("attempts", key)
        self.keys(at, row, "cost cures after")
        cures = row.get("cures") or {}
        if isinstance(cures, list):
            cures = dict.fromkeys(cures, 1.0)
        if not isinstance(cures, dict):
            self.complain((*at, "cures"), "cures must name causes.", value=str(cures))
            cures = {}
        return Attempt(
            key,
            self.number((*at, "cost"), row.get("cost")),
            {str(c): self.number((*at, "cures", c), p) for c, p in cures.items()},
            self.names((*at, "after"), row.get("after")),
        )
