"""Three accounting programs that are not ours read our exports: beancount, hledger, ledger."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from pathlib import Path

from beancount import loader
from beancount.core import realization

from driveout.money import Entry, balances, beancount_text, ledger_text
from driveout.money.journal import commodity_digits

Sums = dict[tuple[str, str], int]


def _program(name: str) -> str:
    path = shutil.which(name)
    # Missing judges must not look like a pass.
    assert path, f"the program {name!r} is needed to judge the journal: install the package {name}"
    return path


def _minor(amount: Decimal, commodity: str) -> int:
    scaled = amount.scaleb(commodity_digits(commodity))
    assert scaled == scaled.to_integral_value(), (amount, commodity)
    return int(scaled)


def beancount_says(text: str) -> tuple[Sums, list[str]]:
    """Balances by account and the complaints of beancount."""
    entries, errors, _ = loader.load_string(text)
    sums: Sums = {}
    root = realization.realize(entries)
    for account in realization.iter_children(root):
        for position in account.balance:
            sums[account.account, position.units.currency] = _minor(
                position.units.number, position.units.currency
            )
    return sums, [error.message for error in errors]


def _amounts(text: str) -> Iterable[tuple[Decimal, str]]:
    for part in text.replace("\n", ", ").split(", "):
        if part.strip() not in ("", "0"):
            number, commodity = part.strip().split(" ")
            yield Decimal(number), commodity


def _run(argv: list[str], text: str, folder: Path) -> tuple[str, str]:
    path = folder / f"{Path(argv[0]).name}.journal"
    path.write_text(text, encoding="utf-8")
    done = subprocess.run([*argv, "-f", str(path)], capture_output=True, text=True, timeout=300, check=False)
    return done.stdout, done.stderr if done.returncode else ""


def hledger_says(text: str, folder: Path, *, dates: bool = True) -> tuple[Sums, str]:
    """Balances by account and the complaint of hledger, which also proves dates in order unless told not to."""
    program = _program("hledger")
    complaint = _run([program, "check", "ordereddates"], text, folder)[1] if dates else ""
    out, wrong = _run([program, "balance", "--flat", "--no-total", "-O", "csv"], text, folder)
    sums: Sums = {}
    for account, amounts in list(csv.reader(io.StringIO(out)))[1:]:
        for number, commodity in _amounts(amounts):
            sums[account, commodity] = _minor(number, commodity)
    return sums, complaint + wrong


def ledger_says(text: str, folder: Path) -> tuple[Sums, str]:
    """Balances by account and the complaint of ledger."""
    form = "%(account)\t%(quoted(display_total))\n"
    argv = [_program("ledger"), "--args-only", "balance", "--flat", "--no-total", "--balance-format", form]
    out, wrong = _run(argv, text, folder)
    sums: Sums = {}
    for account, amounts in csv.reader(io.StringIO(out, newline=""), delimiter="\t"):
        for number, commodity in _amounts(amounts):
            sums[account, commodity] = _minor(number, commodity)
    return sums, wrong


def cents_off(entries: Iterable[Entry], folder: Path, *, dates: bool = True) -> dict[str, int]:
    """How many minor units each judge differs from our balances, over all accounts.

    A complaint about the text itself, or about one of our stated balances, fails at once.
    """
    entries = tuple(entries)
    ours = {key: amount for key, amount in balances(entries).items() if amount}
    text = ledger_text(entries)
    with ThreadPoolExecutor(2) as side:
        by_hledger = side.submit(hledger_says, text, folder, dates=dates)
        by_ledger = side.submit(ledger_says, text, folder)
        bean, errors = beancount_says(beancount_text(entries))
    hledger, complaint = by_hledger.result()
    ledger, wrong = by_ledger.result()
    assert not errors, errors[:3]
    assert not complaint, complaint
    assert not wrong, wrong
    judges = {"beancount": bean, "hledger": hledger, "ledger": ledger}
    return {
        name: sum(abs(theirs.get(key, 0) - ours.get(key, 0)) for key in {*theirs, *ours})
        for name, theirs in judges.items()
    }


def profit_by_judge(entries: Iterable[Entry], car: str, currency: str, folder: Path) -> dict[str, int]:
    """Profit of one car as each program sums it from the exports, in minor units."""
    entries = tuple(entries)
    text = ledger_text(entries)
    judges = {
        "beancount": beancount_says(beancount_text(entries))[0],
        "hledger": hledger_says(text, folder)[0],
        "ledger": ledger_says(text, folder)[0],
    }
    return {
        name: -sum(
            amount
            for (account, unit), amount in sums.items()
            if unit == currency
            and account.split(":")[-1] == car
            and account.startswith(("Income", "Expenses"))
        )
        for name, sums in judges.items()
    }
