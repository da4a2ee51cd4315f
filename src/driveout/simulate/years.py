"""Sample years: the lives of invented cars, from advert to closed books, as plain values.

A life is drawn whole. Its faults come from the network of the shipped knowledge, its work from the
shipped repairs with an owner who takes longer than he thinks; its prices from its invented model.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.faults import knowledge, shipped_network
from driveout.hunt import Advert, MoneyRange, Seller, Symptom
from driveout.lessons import EstimateLine
from driveout.repairs import Catalogue, Repair, catalogue
from driveout.simulate.names import (
    BUYERS,
    COLOURS,
    MODELS,
    REASONS_TO_LET_GO,
    SELLERS,
    SHOPS,
    TOWNS,
    Model,
)
from driveout.simulate.truth import Truth, draw_truth
from driveout.uncertain import ThreePoint, fitted
from driveout.units import Money

CURRENCY = "USD"
#: how far along the cars of a yard are, in the order of their adverts: shares of all cars
STAGES = (
    ("closed", 0.50),
    ("sold", 0.08),
    ("for sale", 0.10),
    ("in work", 0.10),
    ("bought", 0.06),
    ("let go", 0.08),
    ("advert", 0.08),
)
#: a car of these years loses about this share of its value a year, and keeps at least the last
YEARLY_LOSS, LEAST_SHARE = 0.13, 0.10
#: an owner's own hours and money against the catalogue: mean and spread of the logarithm
OWN_HOURS, OWN_MONEY, SPREAD = 0.18, 0.06, 0.30
MOST_REPAIRS = 4
#: a year of cars: so many days from advert to closed books at most
LONGEST_LIFE_DAYS = 150
CHECKS_SEEN = 9


@dataclass(frozen=True)
class Receipt:
    """Money spent on a day."""

    day: date
    kind: str
    amount: Money
    what: str
    shop: str
    line: str = ""
    core: Money | None = None


@dataclass(frozen=True)
class Session:
    """Own time on one day, in minutes."""

    day: date
    kind_of_work: str
    minutes: int
    line: str = ""


@dataclass(frozen=True)
class Trip:
    """Kilometres driven for the car on a day."""

    day: date
    km: Decimal
    what: str


@dataclass(frozen=True)
class Mending:
    """A repair: when it was chosen and done, what it took, what taking apart proved."""

    repair: str
    choice: str
    chosen_on: date
    done_on: date
    was_it: str
    receipts: tuple[Receipt, ...]
    sessions: tuple[Session, ...]


@dataclass(frozen=True)
class OfferMade:
    """An offer by a buyer and what was answered."""

    day: date
    amount: Money
    buyer: str
    answer: str
    counter_at: Money | None = None


@dataclass(frozen=True)
class Life:
    """One car from its advert on, as far as it has come.

    Parameters
    ----------
    advert
        What the seller said.
    stage
        One of the words of `STAGES`.
    seen_on, bought_on, ready_on, sold_on
        Days; None while it has not come to that.
    checks
        Findings at the viewing, with their outcome.
    price, sale_price
        Paid and got.
    mendings
        Repairs in the order done.
    receipts, trips, sessions
        What belongs to no repair.
    comparables
        A table of similar cars as text, empty for none.
    asks
        Prices put in the advert, by day.
    enquiries
        Days on which somebody asked.
    offers
        Offers, the accepted one last.
    buyer
        Who bought it.
    tread_mm
        Tread left on the four tyres.
    why_let_go
        Why it was let go.
    truth
        What was really the case; for the teller of the story, never for the one who decides.
    """

    advert: Advert
    stage: str
    seen_on: date
    bought_on: date | None = None
    ready_on: date | None = None
    sold_on: date | None = None
    checks: tuple[tuple[str, str], ...] = ()
    price: Money | None = None
    sale_price: Money | None = None
    mendings: tuple[Mending, ...] = ()
    receipts: tuple[Receipt, ...] = ()
    trips: tuple[Trip, ...] = ()
    sessions: tuple[Session, ...] = ()
    comparables: str = ""
    asks: tuple[tuple[date, Money], ...] = ()
    enquiries: tuple[date, ...] = ()
    offers: tuple[OfferMade, ...] = ()
    buyer: str = ""
    tread_mm: tuple[float, ...] = ()
    why_let_go: str = ""
    truth: Truth | None = field(default=None, repr=False)

    @property
    def estimate(self) -> tuple[EstimateLine, ...]:
        """What a person who knew the repairs of the car would have estimated by the catalogue."""
        paid = float(self.price.major) if self.price is not None else 0.0
        held = _catalogue(self.advert)
        lines = [EstimateLine("purchase", "purchase", "Price of the car", ThreePoint(paid, paid, paid))]
        lines.append(EstimateLine("papers", "fees", "Title and registration", ThreePoint(60, 110, 190)))
        lines.append(EstimateLine("selling", "fees", "Inspection and advert", ThreePoint(20, 60, 150)))
        lines.append(
            EstimateLine(
                "outside-work",
                "fees",
                "Search, papers, selling",
                hours=ThreePoint(6, 9, 14),
                kind_of_work="outside-work",
            )
        )
        for one in self.mendings:
            repair = held.repairs[one.repair]
            lines.append(
                EstimateLine(
                    one.repair, "parts", repair.name, repair.choices[one.choice].money.times(0.01), repair.hours,
                    kind_of_work=one.repair.replace("_", "-"),
                )
            )  # fmt: skip
        return tuple(lines)


def _catalogue(advert: Advert) -> Catalogue:
    return _held("rear_drive" if advert.drive == "rwd" else "front_drive")


@cache
def _held(layout: str) -> Catalogue:
    return catalogue(None, layout=layout)


def sample_years(cars: int, years: float, today: date, seed: int) -> tuple[Life, ...]:
    """Lives of an invented yard, the oldest advert first.

    Parameters
    ----------
    cars
        How many, 1 or more.
    years
        Span from the first advert to today, above 0.
    today
        The last day.
    seed
        The same seed gives the same lives.

    Returns
    -------
    tuple of Life
        Some of every stage, as far as there are cars enough.

    Raises
    ------
    BadEntry
        If a number is out of range.
    """
    if not 1 <= cars <= 2000:
        raise BadEntry(f"{cars} cars cannot be made.", field="cars", value=cars, allowed="1 to 2,000")
    if not 0.5 <= years <= 20:
        raise BadEntry(f"{years:g} years cannot be made.", field="years", value=years, allowed="0.5 to 20")
    stages = _stages(cars)
    span = round(365.25 * years)
    lives = []
    for number, stage in enumerate(stages):
        rng = np.random.default_rng([seed, number])
        lives.append(_life(number, stage, _first_day(number, cars, stage, span, today, rng), today, rng))
    return tuple(lives)


def _stages(cars: int) -> list[str]:
    """Stage of each car: shares as near as whole cars allow, at least one of each where they fit."""
    counts = {stage: max(round(share * cars), 1) for stage, share in STAGES}
    names = list(counts)
    while sum(counts.values()) > cars:
        least = max(names, key=lambda name: (counts[name] > 1, counts[name]))
        if counts[least] == 1:
            names = names[:cars] if cars < len(names) else names
            return names[:cars]
        counts[least] -= 1
    counts["closed"] += cars - sum(counts.values())
    # Cars that were let go came along all the time; they are spread over the finished ones.
    finished = [name for name in ("closed", "sold") for _ in range(counts[name])]
    gap = max(len(finished) // (counts["let go"] + 1), 1)
    for place in range(counts["let go"]):
        finished.insert(min((place + 1) * gap + place, len(finished)), "let go")
    return finished + [n for n in ("for sale", "in work", "bought", "advert") for _ in range(counts[n])]


def _first_day(number: int, cars: int, stage: str, span: int, today: date, rng: np.random.Generator) -> date:
    if stage in ("closed", "sold", "let go"):
        room = max(span - LONGEST_LIFE_DAYS, 30)
        back = span - round(room * number / max(0.85 * cars, 1.0))
        return today - timedelta(days=max(back, LONGEST_LIFE_DAYS if stage != "let go" else 5))
    room_of = {"for sale": (75, 110), "in work": (30, 60), "bought": (6, 14), "advert": (0, 6)}
    least, most = room_of[stage]
    return today - timedelta(days=int(rng.integers(least, most + 1)))


def usd(amount: float, step: int = 1) -> Money:
    """An amount in whole steps of the currency."""
    return Money(round(amount / step) * step * 100, CURRENCY)


def exact(amount: float) -> Money:
    """An amount to the cent."""
    return Money(max(round(amount * 100), 1), CURRENCY)


def clean_value(model: Model, age_years: float, mileage_km: float) -> float:
    """What a sound car of an invented model sells for privately. [major units]."""
    kept = max(math.exp(-YEARLY_LOSS * age_years), LEAST_SHARE)
    return model.new_price * kept * math.exp(-0.12 * (mileage_km - 150_000) / 100_000)


def _life(number: int, stage: str, seen: date, today: date, rng: np.random.Generator) -> Life:
    model = MODELS[int(rng.integers(len(MODELS)))]
    made = seen.year - int(rng.integers(7, 15))
    km = int(round(float(np.clip(rng.normal(14_500, 3_500), 6_000, 25_000)) * (seen.year - made) / 500) * 500)
    runs = str(rng.choice(["runner", "sick", "dead"], p=[0.4, 0.4, 0.2]))
    gearbox = str(rng.choice(["manual", "auto"], p=[0.5, 0.5]))
    truth = draw_truth(
        shipped_network(runs, None, {"gearbox": gearbox, "drive": model.drive, "mileage_km": km}), rng
    )
    worth = clean_value(model, seen.year - made, km)
    asking = worth * float(
        np.clip(rng.normal({"runner": 0.5, "sick": 0.3, "dead": 0.2}[runs], 0.06), 0.1, 0.8)
    )
    town = TOWNS[int(rng.integers(len(TOWNS)))]
    colour = COLOURS[int(rng.integers(len(COLOURS)))]
    pack = knowledge()
    said = [name for name, label in truth.says.items() if label == "yes"][:4]
    words = [pack.signs[name].words[int(rng.integers(len(pack.signs[name].words)))] for name in said]
    seller = SELLERS[int(rng.integers(len(SELLERS)))]
    text = (
        f"{made} {model.make} {model.name}, {colour}, {gearbox}, {town}. {km:,} km. Clean title in hand. "
        + ("Runs and drives. " if runs == "runner" else "Does not start. " if runs == "dead" else "")
        + "".join(f"{word[0].upper()}{word[1:]}. " for word in words)
        + f"Asking ${round(asking / 50) * 50}. {seller}."
    )
    advert = Advert(
        name=f"{model.make} {model.name}, {made}, {colour}",
        asking=usd(asking, 50),
        made_year=made,
        mileage_km=km,
        title="clean",
        runs=runs,  # type: ignore[arg-type]
        gearbox=gearbox,  # type: ignore[arg-type]
        drive=model.drive,  # type: ignore[arg-type]
        clean_value=MoneyRange(usd(worth * 0.9, 50), usd(worth, 50), usd(worth * 1.1, 50)),
        symptoms=tuple(
            Symptom(name, "yes", bool(rng.random() < 0.2), word)
            for name, word in zip(said, words, strict=True)
        ),
        seller=Seller(seller, True, True, False),
        place=town,
        distance_km=float(rng.integers(3, 90)),
        seen_on=seen,
        text=text,
    )
    checks = tuple(
        (name, truth.shows[name])
        for name in rng.permutation([s.id for s in pack.signs.values() if s.check and s.id in truth.shows])[
            :CHECKS_SEEN
        ].tolist()
    )
    start = Life(advert, stage, seen, checks=checks, truth=truth)
    if stage == "advert":
        return start if rng.random() < 0.5 else _with(start, checks=())
    if stage == "let go":
        why = REASONS_TO_LET_GO[int(rng.integers(len(REASONS_TO_LET_GO)))]
        return _with(start, why_let_go=why)
    return _owned(start, worth, today, rng)


def _with(life: Life, **changes: Any) -> Life:
    return Life(**{**{name: getattr(life, name) for name in life.__dataclass_fields__}, **changes})


def _owned(life: Life, worth: float, today: date, rng: np.random.Generator) -> Life:
    advert, truth = life.advert, life.truth
    assert truth is not None
    assert advert.asking is not None
    bought = life.seen_on + timedelta(days=int(rng.integers(1, 4)))
    price = usd(float(advert.asking.major) * float(rng.uniform(0.82, 1.0)), 10)
    held = _catalogue(advert)
    distance = Decimal(str(round(4.0 * (advert.distance_km or 10.0), 1)))
    receipts = [
        Receipt(bought + timedelta(days=1), "fees", exact(float(rng.uniform(70, 190))), "Title and registration",
                f"{advert.place} county office", "papers"),
        Receipt(bought, "travel", exact(float(rng.uniform(20, 120))), "Trailer for a day", SHOPS[3], "fetching"),
    ]  # fmt: skip
    trips = [Trip(bought, distance, "to see and to fetch it")]
    sessions = [Session(bought, "outside-work", int(rng.integers(80, 220)), "outside-work")]
    mendings: list[Mending] = []
    day = bought + timedelta(days=2)
    if life.stage != "bought":
        for repair in _repairs_for(held, truth, rng):
            one, day = _mended(repair, truth, day, rng)
            mendings.append(one)
    owned = _with(
        life,
        bought_on=bought,
        price=price,
        receipts=tuple(receipts),
        trips=tuple(trips),
        sessions=tuple(sessions),
        mendings=tuple(mendings),
        tread_mm=tuple(round(float(x), 1) for x in rng.uniform(2.2, 7.0, 4)),
    )
    if life.stage in ("bought", "in work"):
        return _until(owned, today)
    return _sold(owned, worth, day, today, rng)


def _repairs_for(held: Catalogue, truth: Truth, rng: np.random.Generator) -> list[Repair]:
    """One repair for each fault worth mending, the gravest faults first."""
    pack = knowledge()
    faults = sorted(
        (
            f
            for f in sorted(truth.faults)
            if pack.faults[f].safety in ("critical", "major") or rng.random() < 0.4
        ),
        key=lambda f: (-max(pack.faults[f].value_loss), f),
    )
    chosen: list[Repair] = []
    for fault in faults:
        ways = [r for r in held.for_fault(fault) if r.id.startswith("rep_")]
        if ways and ways[0] not in chosen and not any(fault in r.cures for r in chosen):
            chosen.append(ways[0])
    return chosen[:MOST_REPAIRS]


def _drawn(points: ThreePoint, bias: float, rng: np.random.Generator) -> float:
    law = fitted(points)
    return law.quantile(float(np.clip(rng.random(), 0.02, 0.98))) * math.exp(
        bias + SPREAD * float(rng.normal())
    )


def _mended(repair: Repair, truth: Truth, day: date, rng: np.random.Generator) -> tuple[Mending, date]:
    """A repair with its parts and its evenings; and the day after it."""
    choice = repair.first_choice
    chosen = day
    cores = choice.core_deposit
    shop = SHOPS[int(rng.integers(len(SHOPS)))]
    parts = _drawn(choice.money, OWN_MONEY, rng) / 100.0
    core = None if cores is None else usd(cores.likely / 100.0)
    came = day + timedelta(days=max(round(_drawn(choice.lead_days, 0.0, rng)), 1))
    receipts = [
        Receipt(came, "parts", exact(parts + (float(core.major) if core else 0.0)), f"{repair.name}: parts", shop,
                repair.id, core)
    ]  # fmt: skip
    if repair.consumables.high > 0:
        money = _drawn(repair.consumables, OWN_MONEY, rng) / 100.0
        receipts.append(
            Receipt(came, "supplies", exact(money), f"{repair.name}: fluids and sealant", SHOPS[2], repair.id)
        )
    for outside in repair.outside:
        money = _drawn(outside.money, OWN_MONEY, rng) / 100.0
        receipts.append(Receipt(came, "outside", exact(money), outside.what.capitalize(), shop, repair.id))
    minutes = max(round(_drawn(repair.hours, OWN_HOURS, rng) * choice.hours_share * 60), 20)
    sessions, day = _evenings(repair, minutes, came, rng)
    proved = [fault for fault in repair.cures if fault in truth.faults]
    done = sessions[-1].day
    receipts = [
        r if r.day <= done else Receipt(done, r.kind, r.amount, r.what, r.shop, r.line, r.core)
        for r in receipts
    ]
    was_it = f"yes:{proved[0]}" if proved else ""
    return Mending(repair.id, choice.kind, chosen, done, was_it, tuple(receipts), tuple(sessions)), day


def _evenings(
    repair: Repair, minutes: int, day: date, rng: np.random.Generator
) -> tuple[list[Session], date]:
    sessions: list[Session] = []
    work = repair.id.replace("_", "-")
    while minutes > 0:
        long = int(rng.integers(150, 360)) if day.weekday() >= 5 else int(rng.integers(50, 190))
        spent = min(long, minutes)
        sessions.append(Session(day, work, spent, repair.id))
        minutes -= spent
        day += timedelta(days=int(rng.choice([1, 1, 2, 3])))
    return sessions, day


def _sold(life: Life, worth: float, ready: date, today: date, rng: np.random.Generator) -> Life:
    """The sale: prices asked, who called, what was offered; capped at today."""
    truth = life.truth
    assert truth is not None
    pack = knowledge()
    mended = {m.was_it.removeprefix("yes:") for m in life.mendings}
    left = sorted(truth.faults - mended)
    share = math.prod(1.0 - 0.5 * pack.faults[f].value_loss[1] for f in left)
    is_sold = life.stage in ("closed", "sold")
    last = today - timedelta(days=1)
    if is_sold:
        ready = min(ready, life.seen_on + timedelta(days=LONGEST_LIFE_DAYS - 45))
    ready = min(ready, last - timedelta(days=12))
    fair = worth * max(share, 0.25) * math.exp(0.05 * float(rng.normal()))
    first = usd(fair * 1.10, 50)
    steps = [(ready, first)]
    for week in range(1, 4):
        if rng.random() < 0.6:
            steps.append((ready + timedelta(days=7 * week), usd(float(steps[-1][1].major) * 0.965, 10)))
    closing = min(ready + timedelta(days=int(rng.integers(8, 36))), last)
    steps = [step for step in steps if step[0] < closing]
    asked = [
        int(d)
        for d in sorted(
            rng.choice(
                max((closing - ready).days, 1), size=min(6, max((closing - ready).days, 1)), replace=False
            )
        )
    ]
    enquiries = tuple(ready + timedelta(days=d) for d in asked)
    buyer = BUYERS[int(rng.integers(len(BUYERS)))]
    other = BUYERS[int(rng.integers(len(BUYERS)))]
    low = usd(fair * 0.84, 10)
    middle = ready + timedelta(days=max((closing - ready).days // 2, 1))
    offers = [OfferMade(middle, low, other, "decline")]
    price = usd(min(fair * float(rng.uniform(0.94, 1.05)), float(steps[-1][1].major)), 10)
    if is_sold:
        offers.append(OfferMade(closing, price, buyer, "accept"))
    else:
        counter = usd(fair * 1.02, 10)
        offers.append(OfferMade(closing, usd(fair * 0.93, 10), buyer, "counter", counter))
    work = [Session(ready, "outside-work", int(rng.integers(150, 420)), "outside-work")]
    if is_sold:
        work.append(Session(closing, "outside-work", int(rng.integers(60, 150)), "outside-work"))
    fees = Receipt(
        ready,
        "fees",
        exact(float(rng.uniform(25, 90))),
        "Inspection and advert",
        life.advert.place,
        "selling",
    )
    sold = _with(
        life,
        ready_on=ready,
        comparables=_similar(life.advert, worth, ready, rng),
        asks=tuple(steps),
        enquiries=enquiries,
        offers=tuple(offers),
        receipts=(*life.receipts, fees),
        sessions=(*life.sessions, *work),
        sold_on=closing if is_sold else None,
        sale_price=price if is_sold else None,
        buyer=buyer if is_sold else "",
    )
    return _until(_before(sold, ready), today)


def _before(life: Life, ready: date) -> Life:
    """The same life with all work done before the car was ready."""
    return _with(life, mendings=tuple(_moved(m, ready) for m in life.mendings))


def _moved(one: Mending, ready: date) -> Mending:
    if one.done_on <= ready:
        return one
    late = one.done_on - ready
    first = min(one.chosen_on, ready)

    def day(d: date) -> date:
        return max(min(d - late if d > ready else d, ready), first)

    return Mending(
        one.repair,
        one.choice,
        first,
        ready,
        one.was_it,
        tuple(Receipt(day(r.day), r.kind, r.amount, r.what, r.shop, r.line, r.core) for r in one.receipts),
        tuple(Session(day(s.day), s.kind_of_work, s.minutes, s.line) for s in one.sessions),
    )


def _until(life: Life, today: date) -> Life:
    """The same life as far as it has come by today: what lies ahead has not happened."""
    done = []
    for one in life.mendings:
        if one.chosen_on > today:
            continue
        done.append(
            Mending(
                one.repair,
                one.choice,
                one.chosen_on,
                one.done_on,
                one.was_it,
                tuple(r for r in one.receipts if r.day <= today),
                tuple(s for s in one.sessions if s.day <= today),
            )
        )
    return _with(
        life,
        mendings=tuple(done),
        receipts=tuple(r for r in life.receipts if r.day <= today),
        sessions=tuple(s for s in life.sessions if s.day <= today),
        trips=tuple(t for t in life.trips if t.day <= today),
    )


def _similar(advert: Advert, worth: float, day: date, rng: np.random.Generator) -> str:
    """A table of similar cars, as a person would type it."""
    made, km = advert.made_year or 2012, advert.mileage_km or 150_000
    rows = ["year,km,price,kind,seen,name"]
    for number in range(7):
        year, far = made + int(rng.integers(-2, 3)), km * float(rng.uniform(0.7, 1.3))
        price = worth * math.exp(
            0.10 * (year - made) - 0.12 * (far - km) / 100_000 + 0.07 * float(rng.normal())
        )
        kind = "sold" if rng.random() < 0.3 else "asking"
        seen = day - timedelta(days=int(rng.integers(0, 30)))
        name = f"{TOWNS[int(rng.integers(len(TOWNS)))]} {number + 1}"
        rows.append(f"{year},{round(far / 500) * 500},{round(price / 10) * 10},{kind},{seen},{name}")
    return "\n".join(rows) + "\n"


def moment(day: date, hour: float = 18.0) -> datetime:
    """A moment of a day without a zone; the teller adds its own."""
    whole = int(hour)
    return datetime.combine(day, time(whole % 24, int(60 * (hour - whole)) % 60))


def picture(number: int, side: int = 96) -> bytes:
    """A small invented photo as PNG: sky, ground and a box of a car in the car's own colour."""
    rng = np.random.default_rng([number, 77])
    image = np.empty((side, side, 3), dtype=np.uint8)
    image[: side // 2] = (176, 200, 222)
    image[side // 2 :] = (120, 118, 112)
    tone = rng.integers(30, 220, 3)
    image[side * 5 // 12 : side * 3 // 4, side // 8 : side * 7 // 8] = tone
    image[side // 4 : side * 5 // 12, side * 3 // 10 : side * 7 // 10] = tone
    for centre in (side * 3 // 10, side * 7 // 10):
        image[side * 2 // 3 : side * 5 // 6, centre - side // 12 : centre + side // 12] = (25, 25, 28)
    raw = b"".join(b"\0" + image[row].tobytes() for row in range(side))
    head = side.to_bytes(4, "big") * 2 + b"\x08\x02\0\0\0"
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(raw, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        len(data).to_bytes(4, "big") + name + data + zlib.crc32(name + data).to_bytes(4, "big")
        for name, data in chunks
    )
