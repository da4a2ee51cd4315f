"""Every number of an advert, with what it cannot be taken out first.

Telephone numbers, dates, tyre and engine sizes, power, fault codes and counts are
marked before prices and distances are looked for, so that each is read once.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from driveout.hunt.plain_text import Plain

MOST_NUMBERS = 300  # an advert has a few dozen; what lies beyond is a parts list or junk


@dataclass(frozen=True, slots=True)
class Number:
    """One number as the seller wrote it.

    Attributes
    ----------
    start, end
        Where it stands in the folded text, multiplier included.
    value
        What it says; the middle of what it can be when digits are hidden ("120xxx").
    spread
        Half the width of what it can be when digits are hidden, else 0.
    is_grouped
        True with a thousands mark.
    times
        The multiplier word ("k", "tsd"), or empty.
    other
        Another way to read it ("2 450" may be 450 after a lone 2), or None.
    """

    start: int
    end: int
    value: Decimal
    spread: Decimal = Decimal(0)
    is_grouped: bool = False
    times: str = ""
    other: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch that is a number of another kind and not free for price or distance."""

    start: int
    end: int
    kind: str


# Words that multiply the number before them, in the spelling of the folded text.
_TIMES: dict[str, int] = {
    "k": 1000,
    "tkm": 1000,
    "tsd": 1000,
    "tsd.": 1000,
    "thousand": 1000,
    "thou": 1000,
    "grand": 1000,
    "mille": 1000,
    "mila": 1000,
    "mil": 1000,
    "tys": 1000,
    "tys.": 1000,
    "tis": 1000,
    "tis.": 1000,
    "тыс": 1000,
    "тыс.": 1000,
    "тис": 1000,
    "тис.": 1000,
    "т.р": 1000,
    "тр": 1000,
    "т.км": 1000,
    "ткм": 1000,
    "bin": 1000,
    "ribu": 1000,
    "rb": 1000,
    "천": 1000,
    "万": 10_000,
    "萬": 10_000,
    "만": 10_000,
    "lakh": 100_000,
    "lakhs": 100_000,
    "lac": 100_000,
    "juta": 1_000_000,
    "jt": 1_000_000,
    "million": 1_000_000,
    "hundred": 100,
}
_TIMES_WORDS = "|".join(re.escape(word) for word in sorted(_TIMES, key=len, reverse=True))
# A single letter k ends the number, save before a unit of distance ("185kkm").
_MULTIPLIER = re.compile(
    rf"[ ]?(?:({_TIMES_WORDS}))(?![a-zа-я])|[ ]?(k)(?=(?:km|kms|mi|miles|obo|ono|usd|eur|firm)\b)"
)

_NUMBER = re.compile(
    r"""
    (?<![\d_])(?:
        (?P<hidden> \d{2,3} [ ,.']? x{3} | \d{1,2} x [ ,.']? x{3} )                 # 120xxx, 12x,xxx
      | (?P<indian> \d{1,2} (?:,\d{2})+ ,\d{3} )                                      # 1,20,000
      | (?P<grouped> \d{1,3} (?P<mark>[.,' ]) \d{3} (?: (?P=mark) \d{3} )* (?! (?P=mark)\d | \d ) )
      | (?P<plain> \d{1,12} )
    )
    (?P<decimals> (?: (?<![.,]) [.,] \d{1,2} ) (?! \d | [.,]\d ) )?
    """,
    re.VERBOSE,
)
# Letters that may stand right before a number without a space.
_GLUED = re.compile(
    r"(?:^|[^a-z])(?:usd|eur|gbp|chf|cad|aud|nzd|pln|czk|sek|nok|dkk|rs|us|asking|price|obo|km|mi|bj|ez|my|preis|fp|vb|x|kc|r)$"
)

_UNITS_AFTER = (
    r"(?:hp|bhp|ps|kw|cv|ch|pk|bg|nm|mpg|lbs?|kg|cm|mm|inch(?:es)?|in\b(?=\s+(?:wheels?|rims?|alloys?))|ft|v|volts?|ah|psi|bar|"
    r"mph|kph|kmh|km/h|gb|amps?|watts?|л\.?\s?с|к\.?с|马力|匹|kM\b)"
)
_COUNTED = (
    r"(?:doors?|dr|seats?|seater|speeds?|spd|gears?|cyl\w*|valves?|owners?|keys?|previous|airbags?|years?|yrs?|yo|months?|mths?|"
    r"weeks?|wks?|days?|hours?|hrs?|minutes?|mins?|ti?yres?|tires?|wheels?|plugs?|coils?|injectors?|windows?|people|adults|"
    r"turer?|turig|turen|portes?|puertas?|portas?|porte|дв|двер\w*|владел\w*|xозя\w*|门|座|st|nd|rd|th|hand|vorbesitzer|"
    r"gang|vitesses|marchas|marce|pounds of|out of|стук\w*|лет|год[а]?(?=\s+(?:назад|гарант)))"
)

_MARKS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("address", re.compile(r"(?:https?://|www\.)[^\s<>]{1,300}|[\w.+-]{1,64}@[\w-]{1,64}\.[\w.-]{1,64}")),
    ("chassis number", re.compile(r"(?<![a-z0-9])(?=[a-z]*\d)(?=\d*[a-z])[a-hj-npr-z0-9]{17}(?![a-z0-9])")),
    (
        "telephone",
        re.compile(
            r"""
            (?:(?:call|text|txt|tel|telephone|phone|ph|cell|mobile|mob|handy|telefon|telefono|whats\w*|sms|тел|тел\.|звон\w*|电话|微信|
               手机|contact|kontakt)(?:\s?(?:me|or\s+text|or\s+call|only|at|on|no|nr|number|numero|:|\.|-|=|\#))*\s{0,2})
               (?P<cued>[+(]?\d[\d ()./-]{5,18}\d)
          | \+\d[\d ()./-]{7,18}\d
          | (?<![\d$£€.,]) (?!\d{3} 000 ) \(?\d{3}\)?[ .-]?\d{3}[ .-]\d{4} (?!\d)
          | (?<![\d$£€.,-]) \d{3}-\d{4} (?![\d-])
          | (?<![\d.,]) 0\d(?:[ .]\d\d){4} (?!\d)
          | (?<![\d.,]) 0\d{2,4}[ /.-]?\d{3,4}[ -]?\d{3,4} (?!\d)
          | (?<![\d.,]) \d{3}[ -]\d{3}[ -]\d{3} (?![\d ]*(?:\d|km|mi|[$£€]|usd|eur|rub|руб|idr|vnd))
          | (?<![\d.,]) [8]\d{10} (?!\d) | (?<![\d.,]) \d{10,11} (?!\d)
            """,
            re.VERBOSE,
        ),
    ),
    ("day", re.compile(r"(?<!\d)(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2}))(?!\d)")),
    (
        "clock time",
        re.compile(r"(?<!\d)(?:\d{1,2}:\d{2}(?:\s?[ap]m)?|\d{1,2}\s?[ap]\.?m(?![a-z])|\d{1,2}\s?uhr|24/7)"),
    ),
    ("share", re.compile(r"(?<!\d)\d{1,3}(?:[.,]\d+)?\s?(?:%|percent|prozent|pct)")),
    ("use", re.compile(r"(?<!\d)\d{1,4}(?:[.,]\d+)?\s?l?(?:iter|itres?)?\s?/\s?100(?:\s?km)?")),
    (
        "tyre",
        re.compile(
            r"(?<!\d)\d{3}\s?/\s?\d{2,3}(?:\s?-?\s?z?r?\s?\d{2}(?:\.5)?)?(?!\d)|(?<![a-z])r\s?1[2-9](?!\d)|(?<![a-z])r\s?2[0-4](?!\d)"
        ),
    ),
    ("engine size", re.compile(r"(?<!\d)\d{3,4}\s?(?:cc(?![a-z])|ccm|cm3|cm2|куб\w*|см3)")),
    (
        "engine size",
        re.compile(r"(?<![\d$£€¥.,])\d[.,]\d\s?(?:l|lt|ltr|litres?|liters?|liter|л|升)(?![a-z])"),
    ),
    ("power", re.compile(rf"(?<![\d.,])\d{{1,3}}(?:[.,]\d)?\s?{_UNITS_AFTER}(?![a-zа-я])")),
    ("count", re.compile(rf"(?<![\d.,$£€])\d{{1,3}}\s?-?\s?{_COUNTED}(?![a-z])")),
    ("fault code", re.compile(r"(?<![a-z])[pbcu]\s?[0-3]\d{3}(?!\d)")),
    ("valves", re.compile(r"(?<!\d)(?:8|12|16|20|24|32|48)\s?v(?![a-z])")),
    (
        "part number",
        re.compile(r"(?<![a-z0-9])(?:[a-z]+\d+|\d+[a-z]+)(?:-[a-z0-9]+){1,4}(?![a-z0-9])|#\s?\d+"),
    ),
)
# An engine size without unit: one digit, one mark, one digit, and no money or multiplier beside it.
_BARE_ENGINE = re.compile(
    r"(?<![\d$£€¥₽.,])(?<!usd )(?<!eur )\d[.,]\d(?=[a-z]{0,4}(?:[\s,;)/-]|$))(?!\s?(?:k|mil|万|萬|만|lakh|juta|grand|tys|тыс)\b)(?!\s?[$€£])"
)


# "$2,2oo": letters typed for noughts.
_LETTER_O = re.compile(r"(?:[$£€]\s?|\d[.,])\d{1,3}o{1,3}(?![a-z])")


@dataclass(frozen=True, slots=True)
class Numbers:
    """Numbers free to be a price, distance or year, and the marks that are something else."""

    free: tuple[Number, ...]
    marks: tuple[Mark, ...]


def numbers_in(plain: Plain) -> Numbers:
    """All numbers of a text, those of another kind set apart.

    Parameters
    ----------
    plain
        The text as shown and folded.

    Returns
    -------
    Numbers
        Free numbers in reading order and the marks in order of place.
    """
    text = _LETTER_O.sub(lambda found: found[0].replace("o", "0"), plain.folded)
    marks = sorted(_marks(text), key=lambda m: m.start)
    taken = _Taken(marks)
    free = [number for number in _written(text) if not taken.overlaps(number.start, number.end)]
    free += [number for number in _worded(text) if not taken.overlaps(number.start, number.end)]
    return Numbers(tuple(sorted(free, key=lambda n: n.start)[:MOST_NUMBERS]), tuple(marks))


def _marks(text: str) -> Iterator[Mark]:
    for kind, pattern in _MARKS:
        for found in pattern.finditer(text):
            if kind == "telephone" and found["cued"]:
                if sum(map(str.isdigit, found["cued"])) >= 7:
                    yield Mark(found.start("cued"), found.end("cued"), kind)
            else:
                yield Mark(found.start(), found.end(), kind)
    for found in _BARE_ENGINE.finditer(text):
        yield Mark(found.start(), found.end(), "engine size")


class _Taken:
    """Whether a stretch meets one of the marks, by bisection over merged marks."""

    def __init__(self, marks: list[Mark]) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []
        for mark in marks:
            if self.ends and mark.start < self.ends[-1]:
                self.ends[-1] = max(self.ends[-1], mark.end)
            else:
                self.starts.append(mark.start)
                self.ends.append(mark.end)

    def overlaps(self, start: int, end: int) -> bool:
        place = bisect_right(self.starts, start) - 1
        if place >= 0 and self.ends[place] > start:
            return True
        return place + 1 < len(self.starts) and self.starts[place + 1] < end


def _written(text: str) -> Iterator[Number]:
    for found in _NUMBER.finditer(text):
        start, end = found.start(), found.end()
        if start and "a" <= text[start - 1] <= "z" and not _GLUED.search(text[max(0, start - 8) : start]):
            continue
        if found["hidden"]:
            yield _hidden(found["hidden"], start, end)
            continue
        digits = found["indian"] or found["grouped"] or found["plain"]
        grouped = bool(found["indian"] or found["grouped"])
        value = Decimal(re.sub(r"[^\d]", "", digits))
        if found["decimals"]:
            value += Decimal("0." + found["decimals"][1:])
        if text[end : end + 1] and "a" <= text[end] <= "z" and not _known_tail(text, end):
            continue
        times = _MULTIPLIER.match(text, end)
        word = ""
        if times and not (grouped and value >= 1000 and (times[1] or times[2]) == "k"):
            word = times[1] or times[2]
            if word == "mil" and value >= 1000:  # Scandinavian mil, 10 km, is a unit and no multiplier
                word = ""
            elif word == "tkm" or word in ("т.км", "ткм"):
                end = times.end() - 2
            elif word in ("т.р", "тр"):
                end = times.end() - 1
            else:
                end = times.end()
            value *= _TIMES[word] if word else 1
        other = None
        if found["grouped"] and found["mark"] == " " and digits.count(" ") == 1 and not word:
            other = Decimal(digits.rpartition(" ")[2]) if digits[-3] != "0" else None
        yield Number(start, end, value, Decimal(0), grouped, word, other)


_TAIL = re.compile(
    r"(?:k|tkm|km|kms|kilomet\w*|mi|mls|mil|mile\w*|millas|tsd|tys|tis|thousand|thou|grand|mille|mila|bin|lakhs?|lac|ribu|rb|juta|jt|"
    r"usd|eur|euros?|e|gbp|chf|cad|aud|nzd|pln|zl|czk|kc|sek|nok|dkk|kr|rub|rur|uah|inr|rs|tl|huf|ft|ron|lei|dollars?|bucks|"
    r"pounds?|quid|obo|ono|vb|vhb|fp|cash|firm|neg|hundred|ish|ono|or)(?![a-z])"
)


def _known_tail(text: str, end: int) -> bool:
    return bool(_TAIL.match(text, end))


def _hidden(written: str, start: int, end: int) -> Number:
    """Read digits that are hidden: "120xxx" is 120,000 to 120,999; "12x,xxx" is 120,000 to 129,999."""
    known = re.match(r"\d+", written)
    digits = known.group() if known else "0"
    width = Decimal(10) ** written.count("x")
    low = Decimal(digits) * width
    return Number(start, end, low + width / 2, width / 2, True)


_SMALL = {
    word: value
    for value, word in enumerate(
        [
            "zero",
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
            "ten",
            "eleven",
            "twelve",
            "thirteen",
            "fourteen",
            "fifteen",
            "sixteen",
            "seventeen",
            "eighteen",
            "nineteen",
        ]
    )
}
_TENS = {
    word: 10 * value
    for value, word in enumerate(
        ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"], 2
    )
}
_WORD = "|".join([*_SMALL, *_TENS])
_WORDED = re.compile(
    rf"(?<![a-z])(?:(a)|({_WORD})(?:[ -]({_WORD}))?) (hundred|thousand|grand)"
    rf"(?: (?:and )?({_WORD})(?:[ -]({_WORD}))?(?: (hundred))?(?: (?:and )?({_WORD}))?)?(?![a-z])"
)


def _worded(text: str) -> Iterator[Number]:
    """Numbers in English words: "fifteen hundred", "two grand", "two thousand five hundred"."""
    for found in _WORDED.finditer(text):
        head = 1 if found[1] else _small(found[2]) + (_small(found[3]) if found[3] else 0)
        value = head * _TIMES[found[4]]
        tail = (_small(found[5]) if found[5] else 0) + (_small(found[6]) if found[6] else 0)
        if found[7]:
            tail = tail * 100 + (_small(found[8]) if found[8] else 0)
        yield Number(found.start(), found.end(), Decimal(value + tail), times=found[4])


def _small(word: str) -> int:
    return _SMALL[word] if word in _SMALL else _TENS[word]
