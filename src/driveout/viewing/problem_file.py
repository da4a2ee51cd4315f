"""A decision problem as a file of one's own: `driveout-decision/1`, described in docs/formats/decision.md."""

from collections.abc import Mapping
from math import inf
from typing import Any

from driveout.errors import BadEntry
from driveout.files import yaml_document
from driveout.viewing.file_reader import FileReader
from driveout.viewing.problem import Check, DecisionProblem, FinalAction, JointTable

SCHEMA = "driveout-decision/1"

_TOP = (
    "schema", "name", "currency", "asking", "price_range", "wage_per_hour", "minutes_available",
    "trip_cost", "states", "actions", "checks", "together", "one_of", "found",
)  # fmt: skip
_ACTION = ("worth", "price_share", "needs_seller")
_CHECK = ("outcomes", "chances", "cost", "minutes", "lose_deal", "after", "caution")


def read_problem(text: str | bytes, name: str = "decision") -> tuple[DecisionProblem, dict[str, str]]:
    """Read a decision problem and what has been found so far.

    Parameters
    ----------
    text
        Content of the file, YAML or JSON.
    name
        Name of the file, for messages.

    Returns
    -------
    tuple[DecisionProblem, dict[str, str]]
        The problem, and the outcomes listed under ``found``.

    Raises
    ------
    BadEntry
        With file, line and key of the first thing that cannot be used.
    """
    reader = _Reader(yaml_document(text, name, SCHEMA))
    return reader.problem()


class _Reader(FileReader):
    """Turns a document into values; every complaint names its line."""

    def problem(self) -> tuple[DecisionProblem, dict[str, str]]:
        top = self.mapping((), _TOP)
        for needed in ("states", "actions"):
            if needed not in top:
                raise self.document.bad(
                    (), f"The key {needed!r} is missing. Add it.", allowed=", ".join(_TOP)
                )
        states = {str(state): self.number(("states", state)) for state in self.mapping(("states",))}
        actions = tuple(self.action(name, tuple(states)) for name in self.mapping(("actions",)))
        checks = tuple(self.check(name) for name in self.mapping(("checks",))) if "checks" in top else ()
        tables = tuple(self.joint_table(number) for number in range(len(self.listed(("together",)))))
        try:
            problem = DecisionProblem(
                states=states,
                actions=actions,
                checks=self.with_outcomes(checks, tables),
                joint_tables=tables,
                one_of=tuple(
                    frozenset(self.names(("one_of", n))) for n in range(len(self.listed(("one_of",))))
                ),
                wage_per_hour=self.number(("wage_per_hour",), 0.0),
                minutes_available=self.number(("minutes_available",), inf),
                price_range=self.price_range(),
                asking=self.number(("asking",), 0.0),
                trip_cost=self.number(("trip_cost",), 0.0),
                currency=self.text(("currency",), "USD"),
                name=self.text(("name",), ""),
            )
        except BadEntry as bad:
            raise self.placed(bad) from bad
        found = self.mapping(("found",)) if "found" in top else {}
        return problem, {str(check): str(outcome) for check, outcome in found.items()}

    def action(self, name: Any, states: tuple[str, ...]) -> FinalAction:
        path = ("actions", name)
        body = self.mapping(path, _ACTION)
        if "worth" not in body:
            raise self.document.bad(path, f"Action {name!r} has no worth. Give a number or one per state.")
        if isinstance(body["worth"], Mapping):
            worth = {str(state): self.number((*path, "worth", state)) for state in body["worth"]}
        else:
            worth = dict.fromkeys(states, self.number((*path, "worth")))
        needs_seller = body.get("needs_seller", body.get("price_share", 1) != 0)
        return FinalAction(
            name=str(name),
            worth=worth,
            price_share=self.number((*path, "price_share"), 1.0 if needs_seller else 0.0),
            needs_seller=bool(needs_seller),
        )

    def check(self, name: Any) -> Check:
        path = ("checks", name)
        body = self.mapping(path, _CHECK)
        chances: dict[str, dict[str, float]] = {}
        for state in self.mapping((*path, "chances")) if "chances" in body else ():
            row = self.mapping((*path, "chances", state))
            chances[str(state)] = {str(o): self.number((*path, "chances", state, o)) for o in row}
        outcomes = self.names((*path, "outcomes")) if "outcomes" in body else _seen(chances.values())
        return Check(
            name=str(name),
            outcomes=outcomes,
            chances=chances,
            cost=self.number((*path, "cost"), 0.0),
            minutes=self.number((*path, "minutes"), 0.0),
            lose_deal=self.number((*path, "lose_deal"), 0.0),
            after=self.after((*path, "after")),
            caution=self.text((*path, "caution"), ""),
        )

    def joint_table(self, number: int) -> JointTable:
        path = ("together", number)
        self.mapping(path, ("checks", "chances"))
        checks = self.names((*path, "checks"))
        rows: dict[str, dict[tuple[str, ...], float]] = {}
        for state in self.mapping((*path, "chances")):
            rows[str(state)] = {}
            for place in range(len(self.listed((*path, "chances", state)))):
                row_path = (*path, "chances", state, place)
                row = self.mapping(row_path, (*checks, "chance"))
                missing = [name for name in (*checks, "chance") if name not in row]
                if missing:
                    raise self.document.bad(row_path, f"The row does not say {missing[0]!r}. Add it.")
                outcomes = tuple(str(row[name]) for name in checks)
                rows[str(state)][outcomes] = rows[str(state)].get(outcomes, 0.0) + self.number(
                    (*row_path, "chance")
                )
        return JointTable(checks, rows)

    @staticmethod
    def with_outcomes(checks: tuple[Check, ...], tables: tuple[JointTable, ...]) -> tuple[Check, ...]:
        """Fill in the outcomes of checks that only stand in a joint table."""
        seen: dict[str, tuple[str, ...]] = {}
        for table in tables:
            for place, name in enumerate(table.checks):
                seen[name] = tuple(dict.fromkeys(row[place] for rows in table.rows.values() for row in rows))
        return tuple(
            Check(**{**check.__dict__, "outcomes": seen[check.name]})
            if not check.outcomes and check.name in seen
            else check
            for check in checks
        )

    def price_range(self) -> tuple[float, float]:
        path = ("price_range",)
        row = self.listed(path)
        if not row:
            return (0.0, inf)
        if len(row) != 2:
            raise self.document.bad(path, "A price range is two numbers: [lowest, highest].", value=str(row))
        return (self.number((*path, 0)), self.number((*path, 1)))


def _seen(rows: Any) -> tuple[str, ...]:
    """Outcomes in the order in which they first stand in the chances."""
    return tuple(dict.fromkeys(outcome for row in rows for outcome in row))
