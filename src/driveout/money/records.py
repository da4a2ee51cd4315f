"""Rows of the journal. Entries and postings only ever grow."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa

from driveout.money.journal import Entry, Posting
from driveout.store import Moment, Tx, metadata

money_entry = sa.Table(
    "money_entry",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("day", sa.Date, nullable=False, index=True),
    sa.Column("what", sa.String(400), nullable=False),
    sa.Column("facts", sa.JSON, nullable=False),
    # Mark of the form or file row it came from; the same mark is booked once.
    sa.Column("token", sa.String(100), unique=True),
    sa.Column("booked_at", Moment, nullable=False),
)
money_posting = sa.Table(
    "money_posting",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("entry_id", sa.ForeignKey("money_entry.id"), nullable=False, index=True),
    sa.Column("place", sa.Integer, nullable=False),
    sa.Column("account", sa.String(200), nullable=False),
    sa.Column("amount", sa.BigInteger, nullable=False),
    sa.Column("commodity", sa.String(10), nullable=False),
    # Holds all that a sum needs, so that balances never read the rows themselves.
    sa.Index("ix_money_posting_sums", "account", "commodity", "amount"),
)
money_link = sa.Table(
    "money_link",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("entry_id", sa.ForeignKey("money_entry.id"), nullable=False, index=True),
    sa.Column("place", sa.Integer, nullable=False),
    sa.Column("link", sa.String(100), nullable=False),
    sa.Index("ix_money_link_entries", "link", "entry_id"),
)
money_closed = sa.Table(
    "money_closed",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("through", sa.Date, nullable=False),
    sa.Column("at", Moment, nullable=False),
)


def add(tx: Tx, entry: Entry, token: str, at: datetime.datetime) -> int:
    """Append an entry and return its number."""
    row = tx.execute(
        sa.insert(money_entry)
        .values(
            day=entry.day, what=entry.narration, facts=dict(entry.facts), token=token or None, booked_at=at
        )
        .returning(money_entry.c.id)
    ).one()
    number = int(row.id)
    tx.execute(
        sa.insert(money_posting),
        [
            {
                "entry_id": number,
                "place": i,
                "account": p.account,
                "amount": p.amount,
                "commodity": p.commodity,
            }
            for i, p in enumerate(entry.postings)
        ],
    )
    if entry.links:
        tx.execute(
            sa.insert(money_link),
            [{"entry_id": number, "place": i, "link": link} for i, link in enumerate(entry.links)],
        )
    return number


def by_token(tx: Tx, token: str) -> int | None:
    """Number of the entry booked with a mark."""
    return (
        tx.execute(sa.select(money_entry.c.id).where(money_entry.c.token == token)).scalar()
        if token
        else None
    )


def _entries(tx: Tx, chosen: sa.Select[Any] | None) -> tuple[Entry, ...]:
    def of(
        table: sa.Table, column: sa.Column[Any], order: sa.Column[Any], *columns: sa.Column[Any]
    ) -> list[Any]:
        query = sa.select(column, *columns).order_by(column, order)
        return list(tx.execute(query if chosen is None else query.where(column.in_(chosen))))

    postings: dict[int, list[Posting]] = {}
    p, link = money_posting.c, money_link.c
    for number, *posting in of(money_posting, p.entry_id, p.place, p.account, p.amount, p.commodity):
        postings.setdefault(number, []).append(Posting(*posting))
    links: dict[int, list[str]] = {}
    for number, text in of(money_link, link.entry_id, link.place, link.link):
        links.setdefault(number, []).append(text)
    heads = of(
        money_entry,
        money_entry.c.id,
        money_entry.c.id,
        money_entry.c.day,
        money_entry.c.what,
        money_entry.c.facts,
    )
    return tuple(
        Entry(
            day,
            what,
            tuple(postings.get(number, ())),
            tuple(links.get(number, ())),
            tuple(facts.items()),
            number,
        )
        for number, day, what, facts in heads
    )


def every(tx: Tx) -> tuple[Entry, ...]:
    """The whole journal in the order it was booked."""
    return _entries(tx, None)


def linked(tx: Tx, links: Iterable[str]) -> tuple[Entry, ...]:
    """Entries that carry one of the links, in the order they were booked."""
    return _entries(tx, sa.select(money_link.c.entry_id).where(money_link.c.link.in_(tuple(links))))


def around(tx: Tx, number: int) -> tuple[Entry, ...]:
    """One entry with everything that leans on it or takes it back."""
    leaning = [f"{word}{number}" for word in ("reverses-", "core-of-", "refund-of-", "issue-of-")]
    first = sa.select(money_link.c.entry_id).where(money_link.c.link.in_(leaning))
    near = {row.entry_id for row in tx.execute(first)} | {number}
    # What leans on the entry may itself have been taken back.
    undone = sa.select(money_link.c.entry_id).where(money_link.c.link.in_([f"reverses-{n}" for n in near]))
    near |= {row.entry_id for row in tx.execute(undone)}
    return _entries(tx, sa.select(money_entry.c.id).where(money_entry.c.id.in_(near)))


def sums(tx: Tx, below: str = "") -> dict[tuple[str, str], int]:
    """Balance of every account, or of those whose path begins with some text."""
    p = money_posting.c
    query = sa.select(p.account, p.commodity, sa.func.sum(p.amount)).group_by(p.account, p.commodity)
    if below:
        query = query.where(p.account.startswith(below, autoescape=True))
    return {(row[0], row[1]): int(row[2]) for row in tx.execute(query)}


def sums_between(tx: Tx, first: datetime.date, last: datetime.date) -> dict[tuple[str, str], int]:
    """What moved on every account between two days, both counted."""
    p = money_posting.c
    query = (
        sa.select(p.account, p.commodity, sa.func.sum(p.amount))
        .join(money_entry, money_entry.c.id == p.entry_id)
        .where(money_entry.c.day.between(first, last))
        .group_by(p.account, p.commodity)
    )
    return {(row[0], row[1]): int(row[2]) for row in tx.execute(query)}


def minutes_by_work(tx: Tx, cars: Iterable[str]) -> dict[tuple[str, str], int]:
    """Own minutes by car account part and kind-of-work link, reversals taken off."""
    p, link = money_posting.c, money_link.c
    query = (
        sa.select(p.account, link.link, sa.func.sum(p.amount))
        .join(money_link, link.entry_id == p.entry_id)
        .where(p.account.in_([f"Equity:Memo:Time:{car}" for car in cars]), link.link.startswith("work-"))
        .group_by(p.account, link.link)
    )
    return {(row[0].rsplit(":", 1)[1], row[1][len("work-") :]): int(row[2]) for row in tx.execute(query)}


def hours_on(tx: Tx, days: Iterable[datetime.date]) -> tuple[Entry, ...]:
    """Own-time entries of some days, over all cars."""
    on_days = [
        row.id for row in tx.execute(sa.select(money_entry.c.id).where(money_entry.c.day.in_(tuple(days))))
    ]
    link = money_link.c
    found: list[Entry] = []
    # Lists of ids are cut because databases limit how long they may be.
    for start in range(0, len(on_days), 500):
        some = sa.select(link.entry_id).where(
            link.entry_id.in_(on_days[start : start + 500]), link.link.startswith("work-")
        )
        found += _entries(tx, some)
    return tuple(found)


def undone_numbers(tx: Tx) -> set[int]:
    """Numbers of entries that were taken back."""
    query = sa.select(money_link.c.link).where(money_link.c.link.startswith("reverses-"))
    return {int(row.link[len("reverses-") :]) for row in tx.execute(query)}


def closed_through(tx: Tx) -> datetime.date | None:
    """Last day of the closed period."""
    return tx.execute(sa.select(sa.func.max(money_closed.c.through))).scalar()


def close(tx: Tx, through: datetime.date, at: datetime.datetime) -> None:
    """Close the period through a day."""
    tx.execute(sa.insert(money_closed).values(through=through, at=at))
