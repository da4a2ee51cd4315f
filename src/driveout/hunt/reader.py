"""A pasted advert read into facts, symptoms and warnings, each with the words that led to it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from driveout.hunt.advert import FIRST_CAR_YEAR, Advert, MoneyRange, Running, Seller, Symptom, Title
from driveout.hunt.plain_text import Plain, Words, plain_text
from driveout.hunt.reading import Read, value_text
from driveout.hunt.reading_distance import DistanceUnit, distance, year
from driveout.hunt.reading_numbers import numbers_in
from driveout.hunt.reading_price import prices
from driveout.hunt.reading_symptoms import symptoms
from driveout.hunt.traps import general_facts
from driveout.hunt.words import symptom_book, word_lists
from driveout.units import Money

MILES_CURRENCIES = frozenset({"USD", "GBP"})  # where clocks show miles, from memory
_EARLIEST_ASSUMED_YEAR = 1950
_PLACE = re.compile(
    r"(?:located in|location|car is in|pick ?up in|collection from|standort|standort ist|lieu|ubicacion|miejscowosc|город)\s*:?\s+",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class ReadAdvert:
    """What was read from one text.

    Attributes
    ----------
    text
        The text as shown: without mark-up and unseen characters.
    currency
        Currency of every amount.
    items
        Everything read, in order of place in the text.
    questions
        What the person should settle, in sentences.
    """

    text: str
    currency: str
    items: tuple[Read, ...]
    questions: tuple[str, ...]

    def first(self, what: str) -> Read | None:
        """The item of this kind, or None."""
        return next((item for item in self.items if item.what == what), None)

    def all(self, what: str) -> tuple[Read, ...]:
        """Every item of this kind, in order of place."""
        return tuple(item for item in self.items if item.what == what)

    def advert(
        self,
        *,
        clean_value: MoneyRange | None = None,
        distance_km: float | None = None,
        seen_on: date | None = None,
    ) -> Advert:
        """The facts as an advert that can be weighed.

        Parameters
        ----------
        clean_value
            What the car without its faults sells for; adverts do not say it.
        distance_km
            Way to the car, one way. [km]
        seen_on
            Day the advert was read.

        Returns
        -------
        Advert
            With every symptom, trap and extra that was read.
        """
        return Advert(
            name=str(self._value("name") or ""),
            currency=self.currency,
            asking=self._value("asking"),
            made_year=self._value("made_year"),
            mileage_km=self._value("mileage_km"),
            title=_title(self._value("title")),
            runs=self._value("runs"),
            gearbox=self._value("gearbox"),
            drive=self._value("drive"),
            is_turbo=self._value("is_turbo"),
            clean_value=clean_value,
            symptoms=tuple(
                Symptom(str(i.value), i.said, i.hedged, i.words.text)
                for i in self.items
                if i.what == "symptom"
            ),
            traps=tuple(str(i.value) for i in self.all("trap")),
            extras=tuple(str(i.value) for i in self.all("extra")),
            seller=Seller(
                is_owner=self._value("seller.is_owner"),
                has_title_in_hand=self._value("seller.has_title_in_hand"),
                is_trade=self._value("seller.is_trade"),
            ),
            place=str(self._value("place") or ""),
            distance_km=distance_km,
            seen_on=seen_on,
            text=self.text,
        )

    def _value(self, what: str) -> Any:
        item = self.first(what)
        return None if item is None else item.value

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "currency": self.currency,
            "text": self.text,
            "read": [_item_dict(item) for item in self.items],
            "questions": list(self.questions),
        }


def read_advert(
    text: str,
    *,
    phrases: tuple[tuple[str, str], ...] = (),
    today_year: int,
    currency: str = "USD",
    distance_unit: DistanceUnit | None = None,
) -> ReadAdvert:
    """Read a pasted advert.

    Prices, distances and years are told apart by the words beside them; telephone numbers,
    dates, sizes and counts are set aside first. Symptoms are looked for with inflections and
    misspellings, and denials, suppositions and past repairs are told from complaints.

    Parameters
    ----------
    text
        What was pasted, in any script, with or without mark-up.
    phrases
        Pairs of finding and phrase from the fault network in use.
    today_year
        The year it is; no later model year than the next is believed.
    currency
        Currency when the text writes none.
    distance_unit
        Unit of a distance without one; None takes miles for USD and GBP, else km.

    Returns
    -------
    ReadAdvert
        Everything read, with words, confidence and alternatives.

    Raises
    ------
    BadEntry
        If the text is longer than an advert can be.
    """
    plain = plain_text(text)
    numbers = numbers_in(plain).free
    years = range(_EARLIEST_ASSUMED_YEAR, today_year + 2)
    lists = word_lists()
    asked, older = prices(plain, numbers, currency, years)
    money = asked.value if asked is not None else None
    found_currency = money.currency if isinstance(money, Money) else currency
    unit = distance_unit or ("mi" if found_currency in MILES_CURRENCIES else "km")
    made = year(plain, tuple(n for n in numbers if _may_be_year(n.value, asked, plain, n.start)), today_year)
    facts: list[Read | None] = [
        _name(plain),
        asked,
        *older,
        made,
        distance(plain, numbers, unit, range(FIRST_CAR_YEAR, today_year + 2)),
        _place(plain),
    ]
    general = general_facts(plain, lists)
    found = symptoms(plain, symptom_book(phrases), lists) if phrases else []
    items = [item for item in facts if item is not None] + general + found
    items.sort(key=lambda item: item.words.start)
    return ReadAdvert(plain.shown, found_currency, tuple(items), _questions(items, currency, found_currency))


def _may_be_year(value: Any, asked: Read | None, plain: Plain, start: int) -> bool:
    """The asked price is not a year as well."""
    if asked is None or not isinstance(asked.value, Money):
        return True
    place = plain.origin[start] if start < len(plain.origin) else -1
    return not asked.words.start <= place < asked.words.end


def _name(plain: Plain) -> Read | None:
    """The start of the first line with letters, up to its first stop, as a name the person can change."""
    for line in plain.shown.splitlines():
        words = line.strip(_NAME_EDGE)
        if not any(letter.isalpha() for letter in words):
            continue
        stop = _NAME_STOP.search(words, _SHORTEST_NAME)
        short = words[: stop.start()] if stop else words
        if len(short) > _LONGEST_NAME:
            short = short[:_LONGEST_NAME].rsplit(" ", 1)[0]
        short = short.strip(_NAME_EDGE)
        if short:
            start = plain.shown.find(short)
            return Read("name", short, Words(start, start + len(short), short), "guess")
    return None


_SHORTEST_NAME, _LONGEST_NAME = 6, 60
_NAME_EDGE = " \t-*•|#:!,.;"
_NAME_STOP = re.compile(
    r"[,;!?|$€£¥：，。！]|\.(?=\s|$)|\s[-–—]\s|\s(?:asking|for sale|price)\b", re.IGNORECASE
)


def _place(plain: Plain) -> Read | None:
    found = _PLACE.search(plain.shown)
    if not found:
        return None
    named = re.match(r"[^\W\d_][\w'’-]*(?:[ ][^\W\d_][\w'’-]*){0,2}", plain.shown[found.end() :])
    if not named:
        return None
    kept: list[str] = []
    for word in named[0].split():
        if kept and not word[0].isupper():
            break
        kept.append(word)
    text = " ".join(kept)
    return Read("place", text, Words(found.end(), found.end() + len(text), text), "likely")


def _title(value: Any) -> Title:
    return value if value is not None else "unknown"


def _questions(items: list[Read], currency: str, found: str) -> tuple[str, ...]:
    by_kind = {item.what: item for item in reversed(items)}
    asked: list[str] = []
    price, far, made = by_kind.get("asking"), by_kind.get("mileage_km"), by_kind.get("made_year")
    if price is None:
        asked.append("No asking price was found. What does the seller want?")
    elif price.alternatives:
        values = [value_text(price.value), *(value_text(a.value) for a in price.alternatives)]
        asked.append(f"{_COUNTED[len(values)]} prices: {' and '.join(values)}: which is asked?")
    if far is None:
        asked.append("No distance on the clock was found.")
    elif far.note:
        asked.append(f'"{far.words.text}": {far.note} Is {value_text(far.value)} km right?')
    elif far.alternatives:
        others = " and ".join(value_text(a.value) for a in far.alternatives)
        asked.append(f"Another distance is named: {others} km. Is {value_text(far.value)} km on the clock?")
    if made is None:
        asked.append("No year was found.")
    elif made.alternatives:
        years = " and ".join(str(v) for v in [made.value, *(a.value for a in made.alternatives)])
        asked.append(f"More than one year: {years}: which is the model year?")
    if found != currency:
        asked.append(f"The price is in {found}, not {currency}: all amounts of this car are then in {found}.")
    return tuple(asked)


_COUNTED = {2: "Two", 3: "Three", 4: "Four", 5: "Five"}


def _item_dict(item: Read) -> dict[str, Any]:
    return {
        "what": item.what,
        "value": _plain_value(item.value),
        "words": item.words.text,
        "start": item.words.start,
        "end": item.words.end,
        "confidence": item.confidence,
        "said": item.said,
        "hedged": item.hedged,
        "alternatives": [
            {
                "value": _plain_value(a.value),
                "words": a.words.text,
            }
            for a in item.alternatives
        ],
        "note": item.note,
    }


def _plain_value(value: Any) -> Any:
    return {"amount": str(value.major), "currency": value.currency} if isinstance(value, Money) else value


def item_from_data(item: Mapping[str, Any], currency: str) -> Any:
    """The value of an item that was kept as plain data."""
    value = item["value"]
    return Money.of(value["amount"], value.get("currency", currency)) if isinstance(value, dict) else value


def without_item(read: ReadAdvert, index: int) -> ReadAdvert:
    """A copy without one item, as when the person says "that is wrong"."""
    kept = tuple(item for k, item in enumerate(read.items) if k != index)
    return replace(read, items=kept)


__all__ = ["ReadAdvert", "Running", "item_from_data", "read_advert", "without_item"]
