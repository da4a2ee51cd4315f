"""Money as whole minor units with an ISO 4217 currency."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from driveout.errors import BadEntry
from driveout.units.numbers import read_number

# ISO 4217 list one, amendment 176 era, minor unit column; currencies not listed here have 2 digits.
_DIGITS = {
    **dict.fromkeys(
        [
            "BIF",
            "CLP",
            "DJF",
            "GNF",
            "ISK",
            "JPY",
            "KMF",
            "KRW",
            "PYG",
            "RWF",
            "UGX",
            "UYI",
            "VND",
            "VUV",
            "XAF",
            "XOF",
            "XPF",
        ],
        0,
    ),
    **dict.fromkeys(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"], 3),
}
_SIGNS = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY", "₹": "INR", "₩": "KRW", "zł": "PLN", "kr": "SEK"}
_CODE = re.compile(r"^[A-Z]{3}$")
_LARGEST_MINOR = 10**15


def minor_digits(currency: str) -> int:
    """Number of decimal digits of a currency's minor unit (ISO 4217)."""
    if not _CODE.match(currency):
        raise BadEntry(
            f"{currency!r} is not a currency code. Use three capital letters such as USD or EUR.",
            field="currency",
            value=currency,
            allowed="an ISO 4217 code",
        )
    return _DIGITS.get(currency, 2)


@dataclass(frozen=True, order=False)
class Money:
    """An exact amount of money.

    Parameters
    ----------
    minor
        Whole minor units (cents, pence, yen).
    currency
        ISO 4217 code.
    """

    minor: int
    currency: str

    def __post_init__(self) -> None:
        if not isinstance(self.minor, int) or isinstance(self.minor, bool):
            raise TypeError("money is counted in whole minor units")
        minor_digits(self.currency)

    @classmethod
    def of(cls, amount: str | int | Decimal, currency: str) -> Money:
        """Make money from major units, rounding halves to even; floats are refused."""
        if isinstance(amount, float):
            raise TypeError("money is never made from a float")
        number = read_number(amount, decimal_comma=False) if isinstance(amount, str) else Decimal(amount)
        scaled = (number * 10 ** minor_digits(currency)).to_integral_value(ROUND_HALF_EVEN)
        return cls(int(scaled), currency)

    @property
    def major(self) -> Decimal:
        """Amount in major units, exact."""
        return Decimal(self.minor).scaleb(-minor_digits(self.currency))

    def _same(self, other: Money) -> None:
        if self.currency != other.currency:
            raise BadEntry(
                f"{self.text()} and {other.text()} are in different currencies; they are never added unasked.",
                field="currency",
                value=other.currency,
                allowed=self.currency,
            )

    def __add__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor + other.minor, self.currency)

    def __sub__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor - other.minor, self.currency)

    def __neg__(self) -> Money:
        return Money(-self.minor, self.currency)

    def __lt__(self, other: Money) -> bool:
        self._same(other)
        return self.minor < other.minor

    def __le__(self, other: Money) -> bool:
        self._same(other)
        return self.minor <= other.minor

    def __gt__(self, other: Money) -> bool:
        return other < self

    def __ge__(self, other: Money) -> bool:
        return other <= self

    def times(self, factor: Decimal | int) -> Money:
        """Multiply by an exact factor, rounding halves to even."""
        return Money(int((self.minor * Decimal(factor)).to_integral_value(ROUND_HALF_EVEN)), self.currency)

    def split(self, weights: Sequence[int]) -> tuple[Money, ...]:
        """Split by weights so that the parts add up to the whole (largest remainder).

        Parameters
        ----------
        weights
            Whole non-negative weights, at least one above 0.

        Returns
        -------
        tuple of Money
            One part per weight; ties go to the earlier part.

        Raises
        ------
        BadEntry
            If no weight is above 0 or one is below.
        """
        total = sum(weights)
        if total <= 0 or min(weights) < 0:
            raise BadEntry(
                "To split money, weights must be whole, not negative, and one above 0.", value=str(weights)
            )
        floors = [self.minor * weight // total for weight in weights]
        left = self.minor - sum(floors)
        by_remainder = sorted(range(len(weights)), key=lambda i: -(self.minor * weights[i] % total))
        for i in by_remainder[:left]:
            floors[i] += 1
        return tuple(Money(part, self.currency) for part in floors)

    def text(self) -> str:
        """Write it for a person: ``1,234.50 USD``."""
        return f"{self.major:,.{minor_digits(self.currency)}f} {self.currency}"

    def __str__(self) -> str:
        return self.text()


def money_from_text(text: str, default_currency: str) -> Money:
    """Read an amount with or without a currency sign or code.

    Parameters
    ----------
    text
        For example ``1,450``, ``$1450.50``, ``1.450 EUR``.
    default_currency
        Currency when none is written.

    Returns
    -------
    Money
        The amount.

    Raises
    ------
    BadEntry
        If there is no single amount, or it has more decimals than the currency.
    """
    rest = text.strip()
    currency = default_currency
    code = re.search(r"\b([A-Za-z]{3})\b", rest)
    if code:
        currency = code.group(1).upper()
        rest = rest.replace(code.group(0), "", 1)
    for sign, of_sign in _SIGNS.items():
        if sign in rest:
            currency = of_sign if not code else currency
            rest = rest.replace(sign, "", 1)
    number = read_number(rest)
    digits = minor_digits(currency)
    scaled = number.scaleb(digits)
    if scaled != scaled.to_integral_value():
        raise BadEntry(
            f"{text.strip()} has more decimals than {currency} has. Write at most {digits}.",
            value=text,
            allowed=f"at most {digits} decimals",
        )
    if abs(scaled) > _LARGEST_MINOR:
        raise BadEntry(f"{text.strip()[:40]} is absurdly large for a car. Check the digits.", value=text[:40])
    return Money(int(scaled), currency)
