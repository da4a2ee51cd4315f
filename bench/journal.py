"""Random histories judged by three accounting programs that are not ours, and the time of a long journal."""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from driveout.money import Entry, beancount_text, checked, journal_csv, ledger_text
from driveout.money.journal import numbered
from tests.money.judges import cents_off
from tests.money.story import random_history

_REFERRING = ("reverses-", "core-of-", "refund-of-", "issue-of-")


def apart(entry: Entry, history: int, before: int) -> Entry:
    """Put an entry of one history on accounts of its own, so that many fit into one journal."""
    postings = tuple(
        replace(p, account=p.account.replace(":Memo:", f":Memo:H{history}:", 1))
        if ":Memo:" in p.account
        else replace(p, account=p.account.replace(":", f":H{history}:", 1))
        for p in entry.postings
    )
    links = tuple(
        f"{word}{int(link[len(word) :]) + before}"
        if (word := next((w for w in _REFERRING if link.startswith(w)), ""))
        else f"h{history}-{link}"
        for link in entry.links
    )
    return replace(entry, postings=postings, links=links, number=entry.number + before)


def judged(histories: int, seed: int, batch: int, steps: int) -> tuple[dict[str, int], int]:
    """Minor units off by judge over all histories, and how many entries they hold."""
    off = {"beancount": 0, "hledger": 0, "ledger": 0}
    count = 0
    with tempfile.TemporaryDirectory() as folder:
        for start in range(0, histories, batch):
            together: list[Entry] = []
            for history in range(start, min(start + batch, histories)):
                rng = np.random.default_rng([seed, history])
                currency = ("USD", "JPY", "KWD")[history % 3]
                entries = random_history(rng, int(rng.integers(0, steps)), currency)
                together += [apart(entry, history, len(together)) for entry in entries]
            # Each program wants its days in order; within a history the order stays.
            together.sort(key=lambda entry: (entry.day, entry.number))
            count += len(together)
            for judge, cents in cents_off(together, Path(folder), dates=False).items():
                off[judge] += cents
    return off, count


def seconds_for(transactions: int, seed: int) -> dict[str, float]:
    """Seconds to check, write and let beancount check a journal of that many entries."""
    from beancount import loader

    entries: list[Entry] = []
    history = 0
    while len(entries) < transactions:
        made = random_history(np.random.default_rng([seed, 10**6 + history]), 40)
        entries += [apart(entry, history, len(entries)) for entry in made]
        history += 1
    # Ten garages at most: a real journal has few accounts and many entries.
    entries = [
        replace(e, postings=tuple(replace(p, account=_folded(p.account)) for p in e.postings))
        for e in numbered(sorted(entries[:transactions], key=lambda e: (e.day, e.number)))
    ]
    rounds = []
    for _ in range(3):
        worked = time.process_time()
        begun = time.perf_counter()
        for entry in entries:
            checked(entry)
        text = beancount_text(entries)
        ledger_text(entries)
        journal_csv(entries)
        ours = time.perf_counter() - begun
        begun = time.perf_counter()
        _, errors, _ = loader.load_string(text)
        theirs = time.perf_counter() - begun
        assert not errors, errors[:2]
        busy = time.process_time() - worked
        rounds.append({"write_and_check": ours, "beancount_check": theirs, "processor": busy})
    # The quickest round is the one least disturbed by whatever else the machine did.
    return min(rounds, key=lambda one: one["processor"])


def _folded(account: str) -> str:
    parts = [
        f"H{int(part[1:]) % 10}" if part[0] == "H" and part[1:].isdigit() else part
        for part in account.split(":")
    ]
    return ":".join(parts)


def run(argv: list[str]) -> dict[str, Any]:
    """Judge histories and time a journal of 12,000 entries."""
    options = argparse.ArgumentParser(prog="bench journal")
    options.add_argument("--histories", type=int, default=10_000)
    options.add_argument("--steps", type=int, default=14, help="most steps of one history")
    options.add_argument("--batch", type=int, default=500)
    options.add_argument("--seed", type=int, default=2026)
    options.add_argument("--transactions", type=int, default=12_000)
    given = options.parse_args(argv)
    begun = time.perf_counter()
    off, entries = judged(given.histories, given.seed, given.batch, given.steps)
    spent = seconds_for(given.transactions, given.seed)
    return {
        "histories": given.histories,
        "entries": entries,
        "cents_off": sum(off.values()),
        "cents_off_by_judge": off,
        "seconds_12k": round(spent["write_and_check"] + spent["beancount_check"], 3),
        "processor_seconds_12k": round(spent["processor"], 3),
        "seconds_12k_parts": {name: round(seconds, 3) for name, seconds in spent.items()},
        "seconds_all": round(time.perf_counter() - begun, 1),
    }
