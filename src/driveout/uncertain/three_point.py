"""Low, likely, high: how a person says that a number is not sure.

The one convention of the whole project stands here: **low is the value undershot one time in
ten (P10), likely is the single most likely value (the mode), high is the value overshot one
time in ten (P90)**. Every range in a file, on a screen or in a table is read this way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry

LOW_SHARE = 0.10
HIGH_SHARE = 0.90
CONVENTION = "low = P10, likely = mode, high = P90"


@dataclass(frozen=True, slots=True)
class ThreePoint:
    """Low (P10), likely (mode) and high (P90) of an unsure number, in any one unit."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        for name, value in (("low", self.low), ("likely", self.likely), ("high", self.high)):
            if not math.isfinite(value):
                raise BadEntry(
                    f"The {name} value is {value!r}; a plain number was expected. Type a number.",
                    field=name,
                    value=value,
                    allowed="a finite number",
                    fix="Type a number.",
                )
        if not self.low <= self.likely <= self.high:
            raise BadEntry(
                f"The range {self.low:g} / {self.likely:g} / {self.high:g} is out of order; "
                "low, likely, high must rise. Put the smallest value first.",
                field="likely",
                value=[self.low, self.likely, self.high],
                allowed="low <= likely <= high",
                fix="Put the smallest value first.",
            )

    @classmethod
    def of(cls, values: object, field: str = "range", *, least: float | None = None) -> ThreePoint:
        """Read a bare number or a list of one or three numbers.

        Parameters
        ----------
        values
            A number (then all three are equal), or ``[low, likely, high]``.
        field
            Name used in the message when the entry is wrong.
        least
            Smallest value allowed; none if any value may stand.

        Returns
        -------
        ThreePoint
            The range.

        Raises
        ------
        BadEntry
            If it is neither, if the three do not rise, or if one lies under ``least``.
        """
        numbers: list[Any] = list(values) if isinstance(values, list | tuple) else [values]
        plain = all(isinstance(v, int | float) and not isinstance(v, bool) for v in numbers)
        if len(numbers) not in (1, 3) or not plain:
            raise BadEntry(
                f"{field} is {values!r}; one number or three numbers [low, likely, high] were "
                "expected. Write for example [80, 120, 200].",
                field=field,
                value=str(values),
                allowed=CONVENTION,
                fix="Write for example [80, 120, 200].",
            )
        given = [float(v) for v in numbers] * (3 if len(numbers) == 1 else 1)
        if least is not None and min(given) < least:
            raise BadEntry(
                f"{field} holds {min(given):g}; nothing under {least:g} is possible here. Check the sign.",
                field=field,
                value=min(given),
                allowed=f"{least:g} or more",
                fix="Check the sign.",
            )
        return cls(*given)

    @property
    def is_sure(self) -> bool:
        """Whether the three values coincide."""
        return self.low == self.high

    @property
    def lean(self) -> float:
        """Where the likely value lies between low (0) and high (1)."""
        return 0.5 if self.is_sure else (self.likely - self.low) / (self.high - self.low)

    def times(self, factor: float) -> ThreePoint:
        """The same range in another unit or at another scale; the factor is 0 or more."""
        return ThreePoint(self.low * factor, self.likely * factor, self.high * factor)
