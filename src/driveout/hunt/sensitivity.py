"""Which numbers of the shipped knowledge move the walk-away price most, one at a time.

Every chance is a Beta and every cost or time a range; each is put at its P10 and at its P90 while
all others stay, for a handful of adverts with the checks that followed. The numbers on top of the
list deserve the most care: docs/method/sensitivity.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from driveout.errors import BadEntry, CannotSay
from driveout.faults import Beta, Finding, Network, Pack, Sign, infer, knowledge, with_silence
from driveout.faults.shipped import network_of
from driveout.files import shipped, yaml_document
from driveout.hunt.advert import Advert, MoneyRange
from driveout.hunt.reader import read_advert
from driveout.hunt.setting import Setting
from driveout.hunt.weigh import case_of, causes_of, evidence_of
from driveout.outlook import FaultFacts, Forecast, chosen_price
from driveout.repairs import Access, Catalogue, PartChoice, Repair
from driveout.uncertain import ThreePoint
from driveout.units import Money

#: faults of an advert, by what they weigh on average, whose numbers are looked at
MOST_FAULTS = 25
#: grid points; a coarse grid is enough for an order
POINTS = 512
LEAST, MOST = 1e-6, 1.0 - 1e-6


@dataclass(frozen=True)
class Number:
    """One number of the pack or of the catalogue.

    Parameters
    ----------
    key
        Where it stands: ``faults.<id>.prior.<class>``, ``findings.<id>.shows.<fault>``,
        ``findings.<id>.false_alarm``, ``mention``, ``faults.<id>.value_loss``,
        ``repairs.<id>.<field>``, ``access.<id>.hours``; of graded findings with the outcome.
    name
        What a person reads.
    now
        Mean of a chance, most likely value of a range.
    low, high
        Its P10 and P90.
    unit
        ``chance``, ``share``, ``minor units``, ``hours`` or ``days``.
    """

    key: str
    name: str
    now: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class Moved:
    """What a number does to the walk-away price.

    Parameters
    ----------
    number
        The number.
    prices
        By place of the advert the walk-away price at the number's P10 and P90. [minor units]
    adverts
        How many adverts were looked at.
    """

    number: Number
    prices: Mapping[int, tuple[float, float]]
    adverts: int

    @property
    def width(self) -> float:
        """Swing of the walk-away price, on average over all adverts. [minor units]."""
        return sum(abs(high - low) for low, high in self.prices.values()) / self.adverts


def sensitivity(
    adverts: Sequence[tuple[Advert, Mapping[str, str]]],
    setting: Setting,
    *,
    most_faults: int = MOST_FAULTS,
    points: int = POINTS,
) -> tuple[Moved, ...]:
    """Move each number from its P10 to its P90 and see where the walk-away price goes.

    Checks that were not done, and faults far down an advert's list, move nothing and are left out.

    Parameters
    ----------
    adverts
        Adverts, each with the findings of the checks made since.
    setting
        Rules and knowledge; a network of one's own has no pack and is refused.
    most_faults
        Faults of each advert whose numbers are looked at, the heaviest first.
    points
        Grid points of the money distribution.

    Returns
    -------
    tuple[Moved, ...]
        Widest swing first.

    Raises
    ------
    BadEntry
        If there is no advert, or the setting has a network of its own.
    CannotSay
        If an advert cannot be weighed.

    References
    ----------
    own-reasoning, docs/method/sensitivity.md.
    """
    if not adverts or setting.network is not None:
        raise BadEntry(
            "Sensitivity needs at least one advert and the shipped pack or an own pack, not a network of one's own.",
            field="adverts",
        )
    numbers: dict[str, Number] = {}
    prices: dict[str, dict[int, tuple[float, float]]] = {}
    for place, (advert, findings) in enumerate(adverts):
        one = _Weighed(advert, findings, setting, points)
        for number, price_at in one.variants(most_faults):
            try:
                pair = (price_at(number.low), price_at(number.high))
            except (BadEntry, CannotSay):  # an extreme that contradicts what was found moves nothing
                continue
            numbers.setdefault(number.key, number)
            prices.setdefault(number.key, {})[place] = pair
    moved = [Moved(numbers[key], found, len(adverts)) for key, found in prices.items()]
    return tuple(sorted(moved, key=lambda m: (-m.width, m.number.key)))


def typical_adverts(setting: Setting, today_year: int) -> list[tuple[Advert, dict[str, str]]]:
    """The adverts shipped for this purpose, read from their texts, with the checks that followed.

    Parameters
    ----------
    setting
        Its phrases are looked for in the texts.
    today_year
        The year it is.

    Returns
    -------
    list[tuple[Advert, dict[str, str]]]
        Advert and findings.
    """
    text = shipped("driveout.hunt", "data/typical_adverts.yaml")
    rows = yaml_document(text, "typical_adverts.yaml", "driveout-typical-adverts/1").data["adverts"]
    found = []
    for row in rows:
        low, likely, high = (Money(round(100 * amount), "USD") for amount in row["value"])
        read = read_advert(row["text"], phrases=setting.phrases, today_year=today_year)
        advert = read.advert(clean_value=MoneyRange(low, likely, high), distance_km=float(row["way"]))
        found.append((advert, dict(row["checks"])))
    return found


def moved_lines(moved: Sequence[Moved], currency: str, most: int = 20) -> list[str]:
    """The first of a list in words: swing on average, what it is, from where to where."""

    def shown(number: Number, value: float) -> str:
        if number.unit in ("chance", "share"):
            return f"{100 * value:.3g} %"
        if number.unit == "minor units":
            return Money(round(value), currency).text()
        return f"{value:.3g} {number.unit}"

    return [
        f"{place}. {Money(round(one.width), currency).text()}: {one.number.name}, "
        f"{shown(one.number, one.number.low)} to {shown(one.number, one.number.high)} "
        f"(now {shown(one.number, one.number.now)}) [{one.number.key}]"
        for place, one in enumerate(moved[:most], start=1)
    ]


Variant = tuple[Number, Callable[[float], float]]


class _Weighed:
    """One advert weighed as things stand, ready to be weighed again with one number changed."""

    def __init__(self, advert: Advert, findings: Mapping[str, str], setting: Setting, points: int) -> None:
        self.advert, self.rules, self.points = advert, setting.rules, points
        self.pack: Pack = knowledge(setting.own_pack)
        self.repairs, self.facts = setting.repairs_of(advert), setting.facts
        whole = network_of(self.pack, advert.prior_class, advert.build)
        said, _ = evidence_of(advert, whole, findings)
        self.evidence = with_silence(whole, said)
        # A finding of which nothing is known says nothing, unless it belongs to a group of which something is.
        groups = {whole.finding[f].group for f in self.evidence.keys() & whole.finding.keys()} - {""}
        self.findings = tuple(f for f in whole.findings if f.id in self.evidence or f.group in groups)
        self.network = replace(whole, findings=self.findings)
        self.made: Forecast | None = None
        self.made = self._forecast(self.network, self.repairs, self.facts)

    def _forecast(self, network: Network, repairs: Catalogue, facts: Mapping[str, FaultFacts]) -> Forecast:
        posterior = infer(network, self.evidence)
        case = case_of(self.advert, self.rules, posterior, repairs, facts=facts)
        return Forecast(case, self.points, self.made)

    def price(
        self,
        network: Network | None = None,
        repairs: Catalogue | None = None,
        facts: Mapping[str, FaultFacts] | None = None,
    ) -> float:
        """Walk-away price with other knowledge. [minor units]."""
        return chosen_price(
            self._forecast(network or self.network, repairs or self.repairs, facts or self.facts)
        )

    def variants(self, most_faults: int) -> Iterator[Variant]:
        """Every number that may move this advert's price, with the price at a value of it."""
        assert self.made is not None
        case = self.made.case
        causes = causes_of(case, self.network, self.facts, self.made)[:most_faults]
        faults = {cause.fault for cause in causes} & self.pack.faults.keys()
        used = {m.repair for m in case.book.mends if m.fault in faults and m.repair}
        yield from self._priors(faults)
        yield from self._signs(faults)
        yield from self._mention()
        yield from self._losses(faults)
        for key in sorted(used & self.repairs.repairs.keys()):
            yield from self._repair(self.repairs.repairs[key])
        for access in sorted({self.repairs.repairs[k].access for k in used & self.repairs.repairs.keys()}):
            if access in self.repairs.access:
                yield self._access(self.repairs.access[access])

    def _other_finding(self, changed: Mapping[str, Finding]) -> float:
        findings = tuple(changed.get(f.id, f) for f in self.findings)
        return self.price(network=replace(self.network, findings=findings))

    def _priors(self, faults: set[str]) -> Iterator[Variant]:
        kind = self.advert.prior_class
        for fault in (self.pack.faults[f] for f in sorted(faults)):
            rivals = next((g.faults for g in self.pack.competing.values() if fault.id in g.faults), ())
            room = 1.0 - sum(self.pack.faults[f].prior[kind].mean for f in rivals if f != fault.id)

            def price_at(value: float, fault=fault) -> float:  # type: ignore[no-untyped-def]
                belief = _sure(value, fault.prior[kind])
                changed = replace(fault, prior={**fault.prior, kind: belief})
                faults = {**self.pack.faults, fault.id: changed}
                other = network_of(replace(self.pack, faults=faults), kind, self.advert.build)
                return self.price(network=replace(other, findings=self.findings))

            number = _chance(
                f"faults.{fault.id}.prior.{kind}", f"Chance among {kind} cars: {fault.name}",
                fault.prior[kind], 0.95 * room,
            )  # fmt: skip
            yield number, price_at

    def _signs(self, faults: set[str]) -> Iterator[Variant]:
        for sign in (self.pack.signs[s] for s in sorted(self.evidence.keys() & self.pack.signs.keys())):
            for fault in sorted(sign.shows.keys() & faults):
                for level in range(len(sign.outcomes) - 1):
                    yield self._level(sign, fault, level)
            if self.evidence[sign.id] != "silent" and sign.shows.keys() & faults:
                for level in range(len(sign.outcomes) - 1):
                    yield self._level(sign, "", level)

    def _level(self, sign: Sign, fault: str, level: int) -> Variant:
        """One sensitivity, or the false alarm where ``fault`` is empty."""
        row = sign.shows[fault] if fault else sign.false_alarm
        at = f".{sign.outcomes[level + 1]}" if len(sign.outcomes) > 2 else ""
        if fault:
            key, name = (
                f"findings.{sign.id}.shows.{fault}{at}",
                f"{sign.name}: shown by {self.pack.faults[fault].name}",
            )
        else:
            key, name = f"findings.{sign.id}.false_alarm{at}", f"{sign.name}: false alarm"

        finding = self.network.finding[sign.id]

        def price_at(value: float) -> float:
            changed = (*row[:level], _sure(value, row[level]), *row[level + 1 :])
            if fault:
                links = tuple(
                    replace(link, given=changed) if fault in (link.cause, link.state) else link
                    for link in finding.links
                )
                return self._other_finding({sign.id: replace(finding, links=links)})
            # a false alarm that depends on care stands in the network as that of cared-for cars
            parts = zip(changed, finding.false_alarm, sign.false_alarm, strict=True)
            scaled = tuple(
                _sure(min(MOST, new.mean * now.mean / given.mean), new) for new, now, given in parts
            )
            return self._other_finding({sign.id: replace(finding, false_alarm=scaled)})

        room = 1.0 - sum(b.mean for n, b in enumerate(row) if n != level)
        return _chance(
            key, name + (f" ({sign.outcomes[level + 1]})" if at else ""), row[level], room
        ), price_at

    def _mention(self) -> Iterator[Variant]:
        common = self.pack.background.mention

        def price_at(value: float) -> float:
            belief = _sure(value, common)
            return self._other_finding(
                {f.id: replace(f, mention=belief) for f in self.findings if f.mention == common}
            )

        yield _chance("mention", "Chance that a seller states what is there", common, 1.0), price_at

    def _losses(self, faults: set[str]) -> Iterator[Variant]:
        for fault in sorted(faults):
            facts = self.facts[fault]
            loss = facts.value_loss
            if loss is None:
                continue

            def price_at(value: float, fault=fault, facts=facts) -> float:  # type: ignore[no-untyped-def]
                other = replace(facts, value_loss=ThreePoint(value, value, value))
                return self.price(facts={**self.facts, fault: other})

            yield (
                Number(
                    f"faults.{fault}.value_loss", f"Value lost if left: {facts.name}", loss.likely, loss.low,
                    loss.high, "share",
                ),
                price_at,
            )  # fmt: skip

    def _repair(self, repair: Repair) -> Iterator[Variant]:
        for field, unit in (("hours", "hours"), ("own_hours", "hours"), ("consumables", "minor units")):
            if field == "own_hours" and not repair.access:
                continue
            yield self._range(repair, field, getattr(repair, field), unit, _with_field(repair, field))
        for kind, choice in repair.choices.items():
            yield self._range(
                repair, f"{kind}.money", choice.money, "minor units", _with_price(repair, kind, choice)
            )
        for number, outside in enumerate(repair.outside):

            def changed(points: ThreePoint, number: int = number) -> Repair:
                rows = list(repair.outside)
                rows[number] = replace(rows[number], money=points)
                return replace(repair, outside=tuple(rows))

            yield self._range(repair, f"outside.{outside.what}", outside.money, "minor units", changed)

    def _range(
        self,
        repair: Repair,
        field: str,
        points: ThreePoint,
        unit: str,
        changed: Callable[[ThreePoint], Repair],
    ) -> Variant:
        def price_at(value: float) -> float:
            other = changed(ThreePoint(value, value, value))
            return self.price(
                repairs=replace(self.repairs, repairs={**self.repairs.repairs, repair.id: other})
            )

        name = f"{repair.name}: {field.replace('_', ' ').replace('.', ' ')}"
        return Number(
            f"repairs.{repair.id}.{field}", name, points.likely, points.low, points.high, unit
        ), price_at

    def _access(self, access: Access) -> Variant:
        def price_at(value: float) -> float:
            other = replace(access, hours=ThreePoint(value, value, value))
            return self.price(repairs=replace(self.repairs, access={**self.repairs.access, access.id: other}))

        points = access.hours
        number = Number(
            f"access.{access.id}.hours",
            f"{access.name}: hours",
            points.likely,
            points.low,
            points.high,
            "hours",
        )
        return number, price_at


def _with_field(repair: Repair, field: str) -> Callable[[ThreePoint], Repair]:
    return lambda points: replace(repair, **{field: points})  # type: ignore[arg-type]


def _with_price(repair: Repair, kind: str, choice: PartChoice) -> Callable[[ThreePoint], Repair]:
    return lambda points: replace(repair, choices={**repair.choices, kind: replace(choice, money=points)})


def _sure(value: float, like: Beta) -> Beta:
    return Beta.of(value, like.a + like.b, like.origin)


def _chance(key: str, name: str, belief: Beta, room: float) -> Number:
    """A chance with its P10 and P90, kept where the rest of its row leaves room."""
    from scipy.stats import beta

    def at(share: float) -> float:
        if belief.a == 0.0 or belief.b == 0.0:
            return belief.mean
        return min(max(float(beta.ppf(share, belief.a, belief.b)), LEAST), min(MOST, room))

    return Number(key, name, belief.mean, at(0.1), at(0.9), "chance")
