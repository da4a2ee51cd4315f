"""A copy of the record for every day on which it changed, thinned out as it gets older."""

from __future__ import annotations

import threading
from datetime import date
from pathlib import Path

from driveout.errors import StoreTrouble
from driveout.store.archive import write_archive
from driveout.store.engine import Store

DAYS_KEPT = 7
MONTHS_KEPT = 12


def daily_copies(home: Path) -> dict[date, Path]:
    """Copies kept in the folder ``backups``, oldest day first."""
    found = {}
    for path in (home / "backups").glob("driveout-????-??-??.zip"):
        try:
            found[date.fromisoformat(path.stem[-10:])] = path
        except ValueError:
            continue
    return dict(sorted(found.items()))


def outdated(days: list[date], newest: date) -> list[date]:
    """Days whose copies may go: neither among the last seven nor the last of one of the last twelve months.

    Parameters
    ----------
    days
        Days of which a copy is kept.
    newest
        The day just written; it always stays, also when the clock was set back.

    Returns
    -------
    list
        Days to let go, oldest first.

    Examples
    --------
    >>> month = [date(2026, 5, day) for day in range(1, 11)]
    >>> [day.day for day in outdated(month, month[-1])]
    [1, 2, 3]
    """
    ordered = sorted(days)
    last_of_month = {(day.year, day.month): day for day in ordered}
    months = sorted(last_of_month.values())[-MONTHS_KEPT:]
    return [day for day in ordered if day not in {*ordered[-DAYS_KEPT:], *months, newest}]


def keep_daily_copy(store: Store) -> Path | None:
    """Write today's copy unless there is one, and let outdated ones go.

    Photos are not copied again: they lie in the home folder under the hash of their content and
    never change. The copy names each of them, so a restore proves that they are there.

    Parameters
    ----------
    store
        The record.

    Returns
    -------
    Path or None
        The copy just written; None when today already has one or the record is only read.

    Raises
    ------
    StoreTrouble
        If it could not be written; earlier copies stay as they are.
    """
    today = store.now().date()
    if store.only_read or today in daily_copies(store.home):
        return None
    path = store.home / "backups" / f"driveout-{today}.zip"
    write_archive(store, path, photos=False)
    copies = daily_copies(store.home)
    for day in outdated(list(copies), today):
        copies[day].unlink(missing_ok=True)
    return path


def keep_daily_copies(store: Store) -> None:
    """Write today's copy now, and one after the first change of each later day while the record is open.

    Parameters
    ----------
    store
        The record.
    """
    lock = threading.Lock()
    tried: set[date] = set()

    def once_a_day() -> None:
        today = store.now().date()
        with lock:
            if today in tried:
                return
            tried.add(today)
        threading.Thread(target=_try, args=(store,), name="daily copy").start()

    tried.add(store.now().date())
    _try(store)
    store.after_commit.append(once_a_day)


def _try(store: Store) -> None:
    """A copy that cannot be written must not stop the work; `driveout check` tells how old the newest is."""
    try:
        keep_daily_copy(store)
        store.copy_trouble = ""
    except StoreTrouble as error:
        store.copy_trouble = error.message
