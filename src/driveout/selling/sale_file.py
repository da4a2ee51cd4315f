"""The papers of a sale as an own file, ``driveout-sale/1``: filled without any record."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from driveout.cars.papers import disclosure_duty
from driveout.errors import BadEntry, BadRows
from driveout.files import Document
from driveout.money.car_sale import DepositPaid
from driveout.selling.listing import ListingFacts
from driveout.selling.sale_papers import SalePapers, payments
from driveout.units import Money, minor_digits

SALE_SCHEMA = "driveout-sale/1"
_KEYS = (
    *("schema", "currency", "car", "buyer", "price", "sold_on", "paid_by", "deposits", "taken_in"),
    "known_faults",
)
_CAR_KEYS = ("name", "made_year", "mileage_km", "vin", "title")
_DEPOSIT_KEYS = ("day", "amount", "buyer", "paid")


def sale_from_document(document: Document, on: date) -> SalePapers:
    """Read what the papers are filled with from an own file.

    Parameters
    ----------
    document
        The read file.
    on
        Day of printing.

    Returns
    -------
    SalePapers
        Checked; what the file leaves out stays a line to write on.

    Raises
    ------
    BadRows
        If several keys are wrong.
    BadEntry
        If one is: with file, line and key.
    """
    data: dict[str, Any] = document.data
    file = _File(document)
    file.known((), data, _KEYS)
    currency = file.take(("currency",), data.get("currency"), _currency, "USD")

    def money(raw: Any) -> Money:
        return _money(raw, currency)

    facts, vin = _car(file, data)
    deposits = _deposits(file, data, money)
    odometer = ""
    if facts.made_year is not None:
        odometer = disclosure_duty(facts.made_year, on.year).why
    buyer = file.take(("buyer",), data.get("buyer"), _text, "")
    filled = {
        "facts": facts,
        "vin": vin,
        "buyer": buyer or (deposits[-1].buyer if deposits else ""),
        "price": file.take(("price",), data.get("price"), money, None),
        "odometer": odometer,
        "on": on,
        "deposits": deposits,
        "sold_on": file.take(("sold_on",), data.get("sold_on"), _day, None),
        "paid_by": file.take(("paid_by",), data.get("paid_by"), _payment, ""),
        "taken_in": file.take(("taken_in",), data.get("taken_in"), money, None),
    }
    file.refuse()
    try:
        return SalePapers(**filled)
    except BadEntry as error:
        raise document.bad((error.field,), error.message, value=error.value, allowed=error.allowed) from error


class _File:
    """The file while it is read: whatever is wrong is collected and said together."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.wrong: list[BadEntry] = []

    def say(self, path: tuple[Any, ...], error: BadEntry) -> None:
        self.wrong.append(self.document.bad(path, error.message, value=error.value, allowed=error.allowed))

    def take(self, path: tuple[Any, ...], raw: Any, read: Callable[[Any], Any], default: Any) -> Any:
        if raw is None:
            return default
        try:
            return read(raw)
        except BadEntry as error:
            self.say(path, error)
            return default

    def known(self, path: tuple[Any, ...], keys: Iterable[Any], allowed: tuple[str, ...]) -> None:
        for key in keys:
            if key not in allowed:
                said = f"There is no key {str(key)[:40]!r} here."
                self.say((*path, key), BadEntry(said, allowed=", ".join(allowed)))

    def refuse(self) -> None:
        if len(self.wrong) == 1:
            raise self.wrong[0]
        if self.wrong:
            raise BadRows(self.wrong, f"{self.document.name}: {len(self.wrong)} entries cannot be used.")


def _car(file: _File, data: dict[str, Any]) -> tuple[ListingFacts, str]:
    car = file.take(("car",), data.get("car"), _mapping, {})
    file.known(("car",), car, _CAR_KEYS)
    name = file.take(("car", "name"), car.get("name"), _text, "")
    if not name:
        file.say(("car",), BadEntry("The car needs a name.", allowed="1 to 200 characters"))
    facts = ListingFacts(
        name=name,
        made_year=file.take(("car", "made_year"), car.get("made_year"), _year, None),
        mileage_km=file.take(("car", "mileage_km"), car.get("mileage_km"), _distance, None),
        title=file.take(("car", "title"), car.get("title"), _text, ""),
        remains=file.take(("known_faults",), data.get("known_faults"), _texts, ()),
    )
    return facts, file.take(("car", "vin"), car.get("vin"), _text, "")


def _deposits(file: _File, data: dict[str, Any], money: Callable[[Any], Money]) -> tuple[DepositPaid, ...]:
    found = []
    for i, row in enumerate(file.take(("deposits",), data.get("deposits"), _rows, [])):
        path = ("deposits", i)
        file.known(path, row, _DEPOSIT_KEYS)
        if row.get("amount") is None or row.get("day") is None:
            file.say(path, BadEntry("A deposit needs a day and an amount.", allowed="day, amount"))
            continue
        amount = file.take((*path, "amount"), row["amount"], money, None)
        day = file.take((*path, "day"), row["day"], _day, None)
        buyer, paid = (file.take((*path, key), row.get(key), _text, "") for key in ("buyer", "paid"))
        if amount is not None and day is not None:
            found.append(DepositPaid(day, amount, buyer, paid))
    return tuple(found)


def _currency(raw: Any) -> str:
    minor_digits(str(raw))
    return str(raw)


def _mapping(raw: Any) -> dict[str, Any]:
    if not isinstance(raw, dict):
        raise BadEntry("Expected keys and values.", value=str(raw)[:60], allowed=", ".join(_CAR_KEYS))
    return raw


def _rows(raw: Any) -> list[dict[str, Any]]:
    if not isinstance(raw, list) or not all(isinstance(row, dict) for row in raw):
        raise BadEntry("Expected a list of rows with day and amount.", value=str(raw)[:60])
    return raw


def _text(raw: Any) -> str:
    text = str(raw)
    if len(text) > 200 or not text.isprintable():
        raise BadEntry("Expected one line of at most 200 characters.", value=text[:60])
    return text.strip()


def _texts(raw: Any) -> tuple[str, ...]:
    if not isinstance(raw, list) or len(raw) > 100:
        raise BadEntry("Expected a list of at most 100 lines.", value=str(raw)[:60])
    return tuple(_text(item) for item in raw)


def _year(raw: Any) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or not 1885 <= raw <= 2100:
        raise BadEntry(f"{raw!r} is not a year.", value=str(raw)[:60], allowed="1885 to 2100")
    return raw


def _distance(raw: Any) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 <= raw <= 5_000_000:
        raise BadEntry(f"{raw!r} is not a distance in km.", value=str(raw)[:60], allowed="0 to 5,000,000 km")
    return float(raw)


def _day(raw: Any) -> date:
    try:
        return date.fromisoformat(str(raw))
    except ValueError as error:
        raise BadEntry(
            f"{str(raw)[:40]!r} is not a day.", value=str(raw)[:40], allowed="YYYY-MM-DD"
        ) from error


def _money(raw: Any, currency: str) -> Money:
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise BadEntry(f"{raw!r} is not an amount.", value=str(raw)[:60], allowed="a plain number")
    text = f"{raw:.10f}".rstrip("0").rstrip(".") if isinstance(raw, float) else str(raw)
    return Money.of(text, currency)


def _payment(raw: Any) -> str:
    names = {kind.key: kind.name for kind in payments()}
    if raw not in names:
        raise BadEntry(
            f"{str(raw)[:40]!r} is no way to pay that is known.",
            value=str(raw)[:40],
            allowed=", ".join(names),
        )
    return names[str(raw)]
