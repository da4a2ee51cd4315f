"""Which of an advert's numbers is the price that is asked.

Every free number gets a *role* from the words beside it: asked, now, was, floor,
deposit, rate, or some other amount (a part, a repair, what was paid). The asked price
is the best supported number in the roles *now* and *asked*; a second one that is
nearly as well supported becomes an alternative with a question.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from driveout.hunt.advert import most_asking
from driveout.hunt.plain_text import Plain
from driveout.hunt.reading import Alternative, Confidence, Read
from driveout.hunt.reading_distance import is_distance
from driveout.hunt.reading_numbers import Number
from driveout.units import Money, minor_digits

# Signs and words of money in the folded text -> ISO 4217; "$" and "kr" stand for several.
_SIGNS: dict[str, str] = {
    "us$": "USD",
    "usd": "USD",
    "dollars": "USD",
    "dollar": "USD",
    "bucks": "USD",
    "c$": "CAD",
    "cad": "CAD",
    "a$": "AUD",
    "aud": "AUD",
    "nz$": "NZD",
    "nzd": "NZD",
    "r$": "BRL",
    "brl": "BRL",
    "$": "$",
    "£": "GBP",
    "gbp": "GBP",
    "pounds": "GBP",
    "quid": "GBP",
    "€": "EUR",
    "eur": "EUR",
    "euro": "EUR",
    "euros": "EUR",
    "chf": "CHF",
    "sfr": "CHF",
    "fr.": "CHF",
    "zl": "PLN",
    "pln": "PLN",
    "zlotych": "PLN",
    "kc": "CZK",
    "czk": "CZK",
    "ft": "HUF",
    "huf": "HUF",
    "lei": "RON",
    "ron": "RON",
    "kr": "kr",
    "kr.": "kr",
    "sek": "SEK",
    "nok": "NOK",
    "dkk": "DKK",
    "₽": "RUB",
    "руб": "RUB",
    "руб.": "RUB",
    "рублей": "RUB",
    "р": "RUB",
    "р.": "RUB",
    "rub": "RUB",
    "₴": "UAH",
    "грн": "UAH",
    "uah": "UAH",
    "₺": "TRY",
    "tl": "TRY",
    "try": "TRY",
    "₹": "INR",
    "rs": "INR",
    "rs.": "INR",
    "inr": "INR",
    "rp": "IDR",
    "rp.": "IDR",
    "idr": "IDR",
    "円": "JPY",
    "jpy": "JPY",
    "元": "CNY",
    "人民币": "CNY",
    "rmb": "CNY",
    "cny": "CNY",
    "¥": "¥",
    "₩": "KRW",
    "원": "KRW",
    "krw": "KRW",
    "aed": "AED",
    "zar": "ZAR",
}
_SHARED = {
    "$": ("USD", "CAD", "AUD", "NZD", "MXN", "SGD", "HKD", "CLP", "COP", "ARS"),
    "kr": ("SEK", "NOK", "DKK", "ISK"),
    "¥": ("JPY", "CNY"),
}
_SIGN = "|".join(re.escape(sign) for sign in sorted(_SIGNS, key=len, reverse=True))
_SIGN_BEFORE = re.compile(rf"(?:(?<![a-z])|(?<=[^a-z]))({_SIGN})\s?:?\s?$")
_SIGN_AFTER = re.compile(rf"\s?(?:[,.]?-+-?\s?)?({_SIGN})(?![a-zа-я])")
_DASH_AFTER = re.compile(r"(?:[,.]-|,--|\.--|:-|-,)")

_LINK = r"(?:\s*(?:is|was|at|of|for|to|it|a|the|about|around|only|just|like|approx\.?|ca\.?|for it at|them|price|priced|listed|asking|von|auf|de|a|um|за)){0,4}\W{0,4}"


def _role(words: str, cjk: str = "") -> re.Pattern[str]:
    wordy = rf"(?<![^\W\d_])(?:{words})(?![^\W\d_])"
    either = rf"(?:{wordy}|{cjk})" if cjk else wordy
    return re.compile(rf"{either}{_LINK}(?:{_SIGN})?\W{{0,3}}$")


_ROLES_BEFORE: tuple[tuple[str, re.Pattern[str]], ...] = (
    (
        "now",
        _role(
            r"now|reduced|lowered|dropped|drop|price drop|new price|jetzt(?: nur)?(?: noch)?|nur noch|reduziert|maintenant|baisse|"
            r"ahora|rebajado|rebajad[oa]|adesso|ora|teraz|obnizona|nu|agora|теперь|сейчас|снижена|скидка до",
            "现价|现在|降价|降到",
        ),
    ),
    (
        "was",
        _role(
            r"was|were|originally|orig|reduced from|lowered from|dropped from|down from|price from|previously|old price|"
            r"instead of|used to be|had it (?:up|listed)|before|statt|vorher|bisher|frueher|fruher|ehemals|avant|au lieu de|antes|"
            r"prima|wczesniej|bylo|fore|前|было|раньше|вместо",
            "原价|之前",
        ),
    ),
    (
        "floor",
        _role(
            r"no offers (?:under|below|less than)|nothing (?:under|below|less than)|not (?:under|below|less than)|no less than|"
            r"lowest|at least|minimum|min|bottom(?: line| dollar)?|least i(?: wi)?ll take|wont take less than|won't take less than|"
            r"mindestens|nicht unter|pas moins de|no menos de|не меньше|минимум",
            "最低",
        ),
    ),
    (
        "deposit",
        _role(
            r"deposit|down ?payment|down|holding fee|anzahlung|acompte|senal|sena|anticipo|caparra|zadatek|задаток|залог",
            "定金|订金|押金",
        ),
    ),
    (
        "rate",
        _role(
            r"payments?|monthly|weekly|financ\w*|instal+ments?|rates?|rate von|raten|cuotas?|mensualit\w*|рассрочка",
            "月供|首付",
        ),
    ),
    (
        "other",
        _role(
            r"bought(?: it)?(?: new)? for|new for|paid|pay|spent|spend|cost|costs|costing|worth|valued?|value|book(?: value)?|retails?|sells for|sold for|goes? for|going for|"
            r"(?:ones|these|those|they|others) (?:go|sell|list|are (?:going|listed|selling)) (?:for|at)|"
            r"(?:ti?yres?|battery|clutch|brakes?|radiator|pump|gaskets?|parts?|exhaust|kit|coils?|plugs|wheels|rims|belt|pads|rotors|shocks|struts)(?: (?:was|were|is|are|cost))?|"
            r"went for|new (?:was|price was|cost)|brand new|when new|invested|put|sunk|receipts?(?: for)?|bills?(?: for)?|invoices?(?: for)?|"
            r"quoted(?: me)?|quotes?|estimated?|estimates?|repairs? (?:is|are|cost\w*|will be|would be|about|around)|to (?:fix|repair|replace)(?: it)?|"
            r"parts? (?:is|are|cost\w*|about|around|run)|labou?r|insured|fees?|tow(?:ing)?|delivery|shipping|tax|registration|trade|"
            r"scrap(?: ?(?:man|yard|metal))?(?: (?:says|offers|offered|pays|gives|value))?|offered|saves?|saving|discount|less|minus|knock|off|bounty|kbb|clean ones|others|similar(?: ones)?|"
            r"wert|neupreis|bezahlt|gekostet|kosten|reparatur\w*|investiert|rechnung\w*|valeur|paye|cote|factures?|"
            r"vale|pagado|pague|costo|costaba|factura|gastado|valore|pagato|speso|wartosc|zaplacilem|koszt|стоит|стоил\w*|потратил\w*|ремонт|вложил\w*",
            "新车价|维修费|花了",
        ),
    ),
    (
        "asked",
        _role(
            r"asking(?: price)?|ask|price[d]?|sale price|cash price|firm(?: price)?|for sale for|for sale|selling(?: it| her| him)?(?: for)?|sell(?: it| her| him)?(?: for)?|"
            r"want(?:ing|s|ed)?|take[s]?|looking (?:for|to get)|get|yours|first|have it for|buy(?:s)?|let it go|i'?ll take|i say|"
            r"make it yours|offers? (?:over|around|on|above|near|from)|"
            r"preis|festpreis|fp|vb|vhb|vs|verhandlungsbasis|verkaufspreis|kaufpreis|prix|precio|pvp|vendo por|pido|preco|valor|prezzo|"
            r"chiedo|cena|cena do negocjacji|hinta|hintapyynto|pris|prijs|vraagprijs|fiyat|fiyati|harga|gia|ar|ára|цена|ціна|стоимость|прошу|продам за|отдам за",
            "价格|售价|要价|報價|价|価格|値段|가격|판매가",
        ),
    ),
    ("weak", _role(r"for|pour|fur|fuer|por|per|za|за")),
)

_ROLES_AFTER: tuple[tuple[str, re.Pattern[str]], ...] = (
    (
        "rate",
        re.compile(
            r"\s*(?:/|per|a|each|every|p\.?)\s?(?:mo|month|mth|wk|week|day|monat|mois|mes|mese|мес\w*|hour|hr)(?![a-z])|"
            r"\s*(?:mtl|monthly|pm|pcm|weekly|monatlich|x\s?\d+)(?![a-z])"
        ),
    ),
    (
        "deposit",
        re.compile(
            r"\s*(?:\w+\s)?(?:deposit|down(?! to)|to hold|holds it|anzahlung|d'acompte|de senal|задаток|定金|押金)(?![a-z])"
        ),
    ),
    (
        "other",
        re.compile(
            r"\s*(?:usd\s|dollars?\s|bucks\s)?(?:part|parts|each|apiece|worth|in (?:parts|repairs|receipts|work|fees|labou?r|it)|of (?:new|parts|work|receipts)|"
            r"to (?:fix|repair|replace|have|get it|ship|deliver|tow|do)|for (?:the |a |new |used |all |both |parts|labou?r|shipping|delivery)+\s?"
            r"(?!car|whole|lot|vehicle|it\b)\w*|fees?|repairs?|fix|job|tow|delivery|shipping|off|less|discount|"
            r"when new|new in|in scrap|scrap|trade.?in|fur (?:neue|die)|pour les|reparatur|kosten|недавно|на ремонт|"
            r"clutch|battery|gaskets?|radiator|pump|kit|gearbox|transmission|quote|estimate|bill|ticket)(?![a-z])"
        ),
    ),
    (
        "asked",
        re.compile(
            rf"\W{{0,3}}(?:{_SIGN})?\W{{0,3}}(?:o\.?b\.?o|o\.?n\.?o|ovno|or (?:best|near|nearest|closest|offers?|trade|make)|firm|cash|neg\b|negotiable|vb|vhb|vs|fp|"
            r"festpreis|verhandl\w*|fix(?!\w)|a negocier|a debattre|negociab\w+|trattabil\w*|do negocjacji|do uzgodnienia|торг|без торга|可议|可小刀|pazarlik|nego|"
            r"(?:for|takes|gets) (?:the )?(?:car|whole|lot|both|all|everything)|takes (?:it|her|him)|buys (?:it|her|him)|and it'?s yours|drive ?away|as is|asking|ish(?![a-z])|or reasonable|plus tax|for quick sale|quick sale|"
            r"today|tel quel|hinta|prutat|andas|prisforslag|onderhandelbaar)(?![a-z])"
        ),
    ),
)
_NO_PRICE = re.compile(
    r"(?<![a-z])(?:make (?:me )?(?:an|a reasonable|a|your best) offer|best offer|open to offers|free to a good home|price on request|"
    r"call for price|preis auf anfrage|gegen gebot|faire offre|prix a debattre|precio a convenir|цена договорная|面议|价格面议|a convenir)"
)
_PLACEHOLDERS = frozenset(
    map(Decimal, (0, 1, 123, 1111, 1234, 12345, 123456, 1234567, 11111, 99999, 999999, 9999999))
)

_STRENGTH = {"now": 7, "asked": 5, "floor": 1, "weak": 2, "none": 0}


@dataclass(frozen=True, slots=True)
class _Amount:
    number: Number
    role: str
    currency: str  # empty when none is written beside it
    start: int  # with its sign
    end: int
    strength: int


_GLUED_E = re.compile(r"e(?![^\W_])")
_HAN = re.compile(r"[\u3400-\u9fff]")
_KANA = re.compile(r"[\u3040-\u30ff]")


def currency_beside(plain: Plain, number: Number, default: str) -> tuple[str, int, int]:
    """Currency written beside a number with the stretch it covers; empty when there is none.

    Parameters
    ----------
    plain
        The text.
    number
        The number looked at.
    default
        Currency meant by a sign that several share ("$", "kr").

    Returns
    -------
    tuple[str, int, int]
        ISO code or "", start and end in the folded text including the sign.
    """
    before = _SIGN_BEFORE.search(plain.folded[max(0, number.start - 12) : number.start])
    if before:
        return (
            _one(before[1], default, plain.folded),
            number.start - (len(before.string) - before.start()),
            number.end,
        )
    if _GLUED_E.match(plain.folded, number.end):  # "1200e"
        return "EUR", number.start, number.end + 1
    after = _SIGN_AFTER.match(plain.folded[number.end : number.end + 14])
    if after:
        return _one(after[1], default, plain.folded), number.start, number.end + after.end()
    return "", number.start, number.end


def _one(sign: str, default: str, text: str) -> str:
    code = _SIGNS[sign]
    if code == "¥" and default not in ("JPY", "CNY"):
        return "CNY" if _HAN.search(text) and not _KANA.search(text) else "JPY"
    choice = _SHARED.get(code)
    if choice is None:
        return code
    return default if default in choice else choice[0]


def prices(
    plain: Plain, numbers: tuple[Number, ...], default: str, years: range
) -> tuple[Read | None, list[Read]]:
    """The asked price, and what else was found about money.

    Parameters
    ----------
    plain
        The text.
    numbers
        Its free numbers.
    default
        Currency when none is written.
    years
        Numbers that are years unless money words stand beside them.

    Returns
    -------
    tuple[Read | None, list[Read]]
        The asked price (None when the advert gives none) and notes such as an older price.
    """
    amounts = [_amount(plain, number, default, years) for number in numbers if not is_distance(plain, number)]
    amounts = [a for a in amounts if a.role != "not money"]
    amounts = [
        a
        for a in _paired(plain, amounts)
        if 0 <= _money(a, plain, default).minor <= most_asking(a.currency or default)
    ]
    asked = sorted(
        (a for a in amounts if a.role in _STRENGTH and a.strength > 0),
        key=lambda a: (-a.strength, a.number.start),
    )
    older = [_read("older price", a, plain, default, "sure", ()) for a in amounts if a.role == "was"]
    if not asked:
        return None, older
    best = asked[0]
    rivals = [
        a
        for a in asked[1:]
        if a.number.value != best.number.value
        and a.strength >= max(best.strength - 3, 1)
        and best.role != "now"
    ]
    if best.number.value in _PLACEHOLDERS:
        return None, older
    if _NO_PRICE.search(plain.folded) and best.strength < 5:
        return None, older
    confidence: Confidence = (
        "sure" if best.strength >= 7 and not rivals else "likely" if best.strength >= 4 else "guess"
    )
    others = [
        Alternative(_money(r, plain, best.currency or default), plain.words(r.start, r.end))
        for r in rivals[:3]
    ]
    if best.number.other is not None and not best.currency:
        others.append(
            Alternative(
                _as_money(best.number.other, best.currency or default), plain.words(best.start, best.end)
            )
        )
    return _read("asking", best, plain, default, confidence, tuple(others)), older


def _amount(plain: Plain, number: Number, default: str, years: range) -> _Amount:
    currency, start, end = currency_beside(plain, number, default)
    before = plain.clause_before(number.start)
    after = plain.clause_after(number.end)
    tail = after[end - number.end :] if currency else after
    role = _role_of(before, tail)
    lone = not before.strip(" \t-*•|/:,") and not after.strip(" \t-*•|/:,!.$£€")
    dash = bool(_DASH_AFTER.match(after))
    whole = number.value == number.value.to_integral_value()
    is_year = whole and int(number.value) in years and not number.is_grouped and not number.times
    if role == "none" and not currency and not dash:
        if is_year or number.value < 100 or (number.times == "k" and number.value >= 40_000) or number.spread:
            return _Amount(number, "not money", "", start, end, 0)
        if not lone and number.value % 10 and not number.is_grouped and number.value > 99_999:
            return _Amount(number, "not money", "", start, end, 0)
    if (
        role == "asked"
        and is_year
        and not currency
        and not dash
        and not _BEFORE_ASKED.search(before)
        and not _YEARLIKE_PRICE.match(after)
    ):
        return _Amount(number, "not money", "", start, end, 0)
    if role == "weak" and not currency and (is_year or number.value < 100):
        return _Amount(number, "not money", "", start, end, 0)
    if role in ("asked", "now", "was") and not currency and number.value < 20 and not number.times:
        return _Amount(number, "not money", "", start, end, 0)
    strength = _STRENGTH.get(role, 0) + 3 * bool(currency) + 2 * dash
    if role in _STRENGTH:
        strength += (
            lone + (1 if number.value >= 100 else -2) + (plain.folded.rfind("\n", 0, number.start) < 0)
        )
    return _Amount(number, role, currency, start, end, strength)


_BEFORE_ASKED = next(pattern for name, pattern in _ROLES_BEFORE if name == "asked")
_YEARLIKE_PRICE = re.compile(r"\s?(?:o\.?b\.?o|o\.?n\.?o|firm|cash|or best|takes)(?![a-z])")


def _role_of(before: str, after: str) -> str:
    for role, pattern in _ROLES_AFTER:
        if role != "asked" and pattern.match(after):
            return role
    nearest, role = -1, "none"
    for name, pattern in _ROLES_BEFORE:
        found = pattern.search(before)
        # The cue that starts latest stands nearest; longer cues that hold it win by order of the table.
        if found and found.start() > nearest and not (name == "weak" and role != "none"):
            if (
                role in ("was", "other", "floor", "deposit", "rate")
                and name in ("now", "asked")
                and found.start() - nearest < 9
            ):
                continue
            nearest, role = found.start(), name
    if role in ("none", "weak") and _ROLES_AFTER[-1][1].match(after):
        return "asked"
    return role


_THEN_NOW = re.compile(
    r"\s*(?:-+>|->|=>|→|to|down to|now|,? ?jetzt|auf|>)\s*(?:only\s*|just\s*)?(?:[$£€])?\s*$"
)


def _paired(plain: Plain, amounts: list[_Amount]) -> list[_Amount]:
    """Pair two amounts: in "2000 -> 1650" and "from 2000 to 1650": the first is the older price."""
    out = list(amounts)
    for i in range(len(out) - 1):
        first, second = out[i], out[i + 1]
        between = plain.folded[first.end : second.start]
        money_like = (
            bool(first.currency or second.currency)
            or "asked" in (first.role, second.role)
            or first.role in ("now", "was")
        )
        if (
            len(between) < 14
            and (money_like or ">" in between)
            and _THEN_NOW.match(between)
            and second.number.value < first.number.value
        ):
            out[i] = _Amount(first.number, "was", first.currency, first.start, first.end, 0)
            out[i + 1] = _Amount(second.number, "now", second.currency, second.start, second.end, 10)
    return out


def _as_money(value: Decimal, currency: str) -> Money:
    digits = minor_digits(currency)
    return Money(round(value.scaleb(digits)), currency)


def _money(amount: _Amount, plain: Plain, default: str) -> Money:
    return _as_money(amount.number.value, amount.currency or default)


def _read(
    what: str,
    amount: _Amount,
    plain: Plain,
    default: str,
    confidence: Confidence,
    others: tuple[Alternative, ...],
) -> Read:
    money = _money(amount, plain, default)
    return Read(what, money, plain.words(amount.start, amount.end), confidence, alternatives=others)
