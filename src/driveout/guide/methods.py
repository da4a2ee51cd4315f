"""Which method is behind which page: the one list that every page's last line is drawn from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

# Chapter of a car, or template of a page outside a car -> pages under docs/method.
METHODS: Mapping[str, tuple[str, ...]] = {
    "advert": ("ceiling", "reading-adverts", "outlook"),
    "outlook": ("outlook", "uncertain"),
    "stop": ("outlook",),
    "viewing": ("viewing", "ceiling", "faults"),
    "faults": ("faults",),
    "repairs": ("repairs",),
    "work": ("strip", "tightening"),
    "plan": ("schedule",),
    "parts": ("repairs", "schedule"),
    "wear": ("brakes", "tyres", "paint", "engine-health", "battery", "fluids", "steering", "papers"),
    "money": ("money",),
    "value": ("value", "papers"),
    "sale": ("asking",),
    "lookback": ("lessons", "money", "viewing"),
    "hunt/new.html": ("reading-adverts",),
    "hunt/order.html": ("ceiling",),
    "lessons/lessons.html": ("lessons", "faults"),
    "yard/today.html": ("yard", "schedule"),
    "yard/ahead.html": ("yard", "outlook"),
    "lessons/cash.html": ("money",),
    "money/books.html": ("money",),
    "faults/knowledge.html": ("faults", "sensitivity"),
    "outlook/rules.html": ("ceiling", "uncertain"),
    "simulate/simulate.html": ("simulate",),
}


def methods_behind(titles: Mapping[str, str]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Name the method pages behind each page.

    Parameters
    ----------
    titles
        Title of each method page by its name.

    Returns
    -------
    dict[str, tuple[tuple[str, str], ...]]
        Per chapter or template: name and title of each method.
    """
    return {place: tuple(_named(names, titles)) for place, names in METHODS.items()}


def _named(names: Iterable[str], titles: Mapping[str, str]) -> Iterable[tuple[str, str]]:
    return ((name, titles[name]) for name in names if name in titles)
