"""Printed examples of reasoning under uncertainty, built as networks of causes and findings."""

from __future__ import annotations

from itertools import product

from driveout.faults import Beta, Cause, Finding, Link, Network, Odds, Root, Table, infer


def _net(total: float, leak: float) -> Beta:
    """Chance of the cause alone when cause and leak together show it with ``total``."""
    return Beta.of((total - leak) / (1 - leak))


def fever(present: list[str]) -> float:
    """P(fever) for exactly these of cold, flu, malaria; inhibitions .6, .2, .1, no leak."""
    quiet = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}
    network = Network(
        tuple(Cause(c, c, Beta.of(0.5)) for c in quiet),
        (Finding("fever", "", tuple(Link(c, (Beta.of(1 - q),)) for c, q in quiet.items()), (Beta.of(0.0),)),),
    )
    state = {c: "present" if c in present else "absent" for c in quiet}
    if not present:  # certain absence: the finding cannot be there
        return 1 - infer(network, {**state, "fever": "no"}).evidence_probability * 8
    return infer(network, {**state, "fever": "yes"}).evidence_probability * 8


def alarm(ask: str, **known: str) -> float:
    """Burglary alarm: chance of ``ask`` (burglary, earthquake, alarm, john or mary) given the rest."""
    rows = {(0, 0): 0.001, (0, 1): 0.29, (1, 0): 0.94, (1, 1): 0.95}
    word = ("absent", "present")
    network = Network(
        (
            Cause("burglary", "", Beta.of(0.001)),
            Cause("earthquake", "", Beta.of(0.002)),
            Cause("alarm", "", Beta.of(0.0)),
        ),
        (
            Finding("john", "", (Link("alarm", (_net(0.90, 0.05),)),), (Beta.of(0.05),)),
            Finding("mary", "", (Link("alarm", (_net(0.70, 0.01),)),), (Beta.of(0.01),)),
        ),
        tables=(
            Table(
                "alarm",
                ("burglary", "earthquake"),
                tuple(((word[b], word[e]), (rows[b, e],)) for b, e in product((0, 1), repeat=2)),
            ),
        ),
    )
    answer = infer(network, known)
    if ask in network.cause:
        return answer.marginals[ask]["present"]
    return infer(network, {**known, ask: "yes"}).evidence_probability / answer.evidence_probability


def sprinkler(ask: str, **known: str) -> float:
    """Cloudy root, sprinkler and rain as causes, wet grass as finding: chance of ``ask``."""

    def odds(low: float, high: float) -> float:
        return high / (1 - high) / (low / (1 - low))

    network = Network(
        (
            Cause("sprinkler", "", Beta.of(0.5), odds=(Odds("cloudy", (1.0, odds(0.5, 0.1))),)),
            Cause("rain", "", Beta.of(0.2), odds=(Odds("cloudy", (1.0, odds(0.2, 0.8))),)),
        ),
        (
            Finding(
                "wet",
                "",
                (Link("sprinkler", (Beta.of(0.9),)), Link("rain", (Beta.of(0.9),))),
                (Beta.of(0.0),),
            ),
        ),
        (Root("cloudy", "", ("no", "yes"), (0.5, 0.5)),),
    )
    answer = infer(network, known)
    return answer.evidence_probability if ask == "evidence" else answer.marginals[ask]["present"]


def one_test(prior: float, sensitivity: float, false_alarm: float) -> float:
    """Chance of the cause after one positive test; the sensitivity includes the false alarm."""
    network = Network(
        (Cause("cause", "", Beta.of(prior)),),
        (Finding("test", "", (Link("cause", (_net(sensitivity, false_alarm),)),), (Beta.of(false_alarm),)),),
    )
    return infer(network, {"test": "yes"}).marginals["cause"]["present"]
