"""The journal in plain-text accounting forms and as CSV, for programs that are not ours."""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Iterable

from driveout.money.journal import Balances, Entry, amount_text, balances

_DAY = datetime.timedelta(days=1)
# A spreadsheet takes a cell that begins with one of these for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
CSV_COLUMNS = ("entry", "day", "what", "account", "amount", "commodity", "links", "facts")


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _with_below(sums: Balances) -> dict[tuple[str, str], int]:
    """Balances of the same accounts with everything below them, which is what beancount asserts."""
    whole = dict.fromkeys(sums, 0)
    for (account, commodity), amount in sums.items():
        parts = account.split(":")
        for length in range(2, len(parts) + 1):
            key = (":".join(parts[:length]), commodity)
            if key in whole:
                whole[key] += amount
    return whole


def beancount_text(entries: Iterable[Entry], *, assertions: bool = True) -> str:
    """Write the journal in beancount's form.

    Parameters
    ----------
    entries
        The journal; balanced entries.
    assertions
        Whether to state our own closing balance of every account, and every balance of a car's
        work in progress after its sale, so that the reading program proves them.

    Returns
    -------
    str
        Text that opens every account on its first day.
    """
    entries = sorted(entries, key=lambda entry: (entry.day, entry.number))
    opened: dict[str, datetime.date] = {}
    for entry in entries:
        for posting in entry.postings:
            opened.setdefault(posting.account, entry.day)
    lines = ['option "title" "driveout journal"', ""]
    lines += [
        f"{day} open {account}"
        for account, day in sorted(opened.items(), key=lambda item: (item[1], item[0]))
    ]
    for entry in entries:
        links = "".join(f" ^{link}" for link in dict.fromkeys(entry.links))
        lines += ["", f"{entry.day} * {_quoted(entry.narration)}{links}"]
        if entry.number:
            lines.append(f'  entry: "{entry.number}"')
        lines += [f"  fact-{key}: {_quoted(text)}" for key, text in entry.facts]
        lines += [
            f"  {p.account}  {amount_text(p.amount, p.commodity)} {p.commodity}" for p in entry.postings
        ]
    if assertions and entries:
        lines.append("")
        # Its balances may otherwise be one cent out without complaint, so the tolerance is set to nothing.
        after = entries[-1].day + _DAY
        lines += [
            f"{after} balance {account}  {amount_text(amount, commodity)} ~ 0 {commodity}"
            for (account, commodity), amount in sorted(_with_below(balances(entries)).items())
        ]
    return "\n".join(lines) + "\n"


def _remark(text: str) -> str:
    """Words that neither ledger program takes for a tag, a date or a comment."""
    return " ".join(re.sub(r"[;:\[\]|\"(){}<>=*!]", " ", text).split())


def ledger_text(entries: Iterable[Entry], *, assertions: bool = True) -> str:
    """Write the journal in the form that hledger and ledger share.

    Punctuation with a meaning in that form (``; : [ ] |`` and brackets) is left out of the words.

    Parameters
    ----------
    entries
        The journal; balanced entries.
    assertions
        Whether to end with an entry of zero postings that states our closing balances.

    Returns
    -------
    str
        The text.
    """
    entries = sorted(entries, key=lambda entry: (entry.day, entry.number))
    lines = ["; driveout journal"]
    for entry in entries:
        code = f"({entry.number}) " if entry.number else ""
        lines += ["", f"{entry.day} * {code}{_remark(entry.narration) or 'entry'}"]
        if entry.links:
            lines.append(f"    ; links {_remark(' '.join(entry.links))}")
        lines += [f"    ; {key} {_remark(text)}" for key, text in entry.facts]
        lines += [
            f"    {p.account}  {amount_text(p.amount, p.commodity)} {p.commodity}" for p in entry.postings
        ]
    if assertions and entries:
        lines += ["", f"{entries[-1].day} * Closing balances as driveout has them"]
        for (account, commodity), amount in sorted(balances(entries).items()):
            zero, held = amount_text(0, commodity), amount_text(amount, commodity)
            lines.append(f"    {account}  {zero} {commodity} = {held} {commodity}")
    return "\n".join(lines) + "\n"


def guarded(text: str) -> str:
    """A text cell that no spreadsheet takes for a formula; ``unguarded`` gives the text back."""
    return "'" + text if text.startswith(_FORMULA) else text


def unguarded(text: str) -> str:
    """The text a guarded cell stands for."""
    return text[1:] if text.startswith("'") else text


def journal_csv(entries: Iterable[Entry]) -> str:
    """Write one row per posting.

    Parameters
    ----------
    entries
        The journal.

    Returns
    -------
    str
        RFC 4180 text; text cells are guarded against being read as formulas, amounts are plain numbers.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for entry in entries:
        facts = "; ".join(f"{key}={text.replace(';', ',')}" for key, text in entry.facts)
        for posting in entry.postings:
            writer.writerow(
                (
                    entry.number,
                    entry.day.isoformat(),
                    guarded(entry.narration),
                    posting.account,
                    amount_text(posting.amount, posting.commodity),
                    posting.commodity,
                    " ".join(entry.links),
                    guarded(facts),
                )
            )
    return out.getvalue()
