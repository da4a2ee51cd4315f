"""Rows of the journal. Entries and postings only ever grow."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa

from driveout.errors import BadEntry, Conflict
from driveout.money.bank_layout import BankLayout, layout_from
from driveout.money.bookings import COST_KINDS, wip
from driveout.money.cash_ahead import Planned
from driveout.money.journal import Entry, Posting
from driveout.store import Moment, Tx, about_car, metadata, remembered
from driveout.units import Money

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

money_bank_layout = sa.Table(
    "money_bank_layout",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(60), nullable=False, unique=True),
    sa.Column("data", sa.JSON, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)
# Money that is expected, not booked: a day and an amount, above 0 when it comes in.
money_planned = sa.Table(
    "money_planned",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("car_id", sa.ForeignKey("cars_car.id"), index=True),
    sa.Column("kind", sa.String(10), nullable=False),
    sa.Column("day", sa.Date, nullable=False),
    sa.Column("what", sa.String(200), nullable=False),
    sa.Column("amount", sa.BigInteger, nullable=False),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("standing", sa.Boolean, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
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
        for link in entry.links:
            if link.startswith("car-") and link[4:].isdigit():
                about_car(tx, int(link[4:]))
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

    heads = of(
        money_entry,
        money_entry.c.id,
        money_entry.c.id,
        money_entry.c.day,
        money_entry.c.what,
        money_entry.c.facts,
    )
    if not heads:
        return ()
    postings: dict[int, list[Posting]] = {}
    p, link = money_posting.c, money_link.c
    for number, *posting in of(money_posting, p.entry_id, p.place, p.account, p.amount, p.commodity):
        postings.setdefault(number, []).append(Posting(*posting))
    links: dict[int, list[str]] = {}
    for number, text in of(money_link, link.entry_id, link.place, link.link):
        links.setdefault(number, []).append(text)
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
    if below:
        return _sums(tx, below)
    return dict(remembered(tx, "sums", lambda: _sums(tx, ""), tables=("money_posting",)))


def _sums(tx: Tx, below: str) -> dict[tuple[str, str], int]:
    p = money_posting.c
    query = sa.select(p.account, p.commodity, sa.func.sum(p.amount)).group_by(p.account, p.commodity)
    if below:
        query = query.where(p.account.startswith(below, autoescape=True))
    return {(row[0], row[1]): int(row[2]) for row in tx.execute(query)}


def balances_of(tx: Tx, accounts: Iterable[str], currency: str) -> dict[str, int]:
    """Balances of some accounts in one currency; those without a posting are left out."""
    p = money_posting.c
    query = (
        sa.select(p.account, sa.func.sum(p.amount))
        .where(p.account.in_(tuple(accounts)), p.commodity == currency)
        .group_by(p.account)
    )
    return {account: int(amount) for account, amount in tx.execute(query)}


def sums_between(tx: Tx, first: datetime.date, last: datetime.date) -> dict[tuple[str, str], int]:
    """What moved on every account between two days, both counted."""
    tables = ("money_entry", "money_posting")
    return dict(
        remembered(tx, ("sums between", first, last), lambda: _sums_between(tx, first, last), tables=tables)
    )


def _sums_between(tx: Tx, first: datetime.date, last: datetime.date) -> dict[tuple[str, str], int]:
    p = money_posting.c
    query = (
        sa.select(p.account, p.commodity, sa.func.sum(p.amount))
        .join(money_entry, money_entry.c.id == p.entry_id)
        .where(money_entry.c.day.between(first, last))
        .group_by(p.account, p.commodity)
    )
    return {(row[0], row[1]): int(row[2]) for row in tx.execute(query)}


def last_moves(tx: Tx, accounts: Iterable[str], currency: str) -> dict[str, tuple[datetime.date, int]]:
    """Last day and balance of some accounts in one currency; those that came back to zero are left out."""
    p, wanted = money_posting.c, sorted(accounts)
    found: dict[str, tuple[datetime.date, int]] = {}
    for start in range(0, len(wanted), 500):
        query = (
            sa.select(p.account, sa.func.max(money_entry.c.day), sa.func.sum(p.amount))
            .join(money_entry, money_entry.c.id == p.entry_id)
            .where(p.account.in_(wanted[start : start + 500]), p.commodity == currency)
            .group_by(p.account)
        )
        found |= {name: (day, int(amount)) for name, day, amount in tx.execute(query) if amount}
    return found


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


def layouts(tx: Tx) -> list[BankLayout]:
    """Kept layouts of banks by name."""
    b = money_bank_layout.c
    return [layout_from(row.name, row.data) for row in tx.execute(sa.select(b.name, b.data).order_by(b.name))]


def keep_layout(tx: Tx, layout: BankLayout) -> None:
    """Keep a bank's layout in place of an earlier one of that name."""
    b = money_bank_layout.c
    name, data = layout.name.strip(), layout.as_data()
    changed = tx.execute(
        sa.update(money_bank_layout).where(b.name == name).values(data=data, version=b.version + 1)
    )
    if not changed.rowcount:
        tx.execute(sa.insert(money_bank_layout).values(name=name, data=data, version=1))


def forget_layout(tx: Tx, name: str) -> bool:
    """Forget a bank's layout; False when there was none of that name."""
    gone = tx.execute(sa.delete(money_bank_layout).where(money_bank_layout.c.name == name))
    return bool(gone.rowcount)


def _planned(row: Any) -> Planned:
    return Planned(
        row.day, Money(row.amount, row.currency), row.what, row.kind, row.car_id, row.id, row.version
    )


def planned(tx: Tx) -> tuple[Planned, ...]:
    """Expected money that still stands, by day."""
    p = money_planned.c
    query = sa.select(money_planned).where(p.standing).order_by(p.day, p.id)
    return tuple(_planned(row) for row in tx.execute(query))


def add_planned(tx: Tx, one: Planned) -> Planned:
    """Keep expected money; a car's expected sale takes the place of an earlier one."""
    p = money_planned.c
    if one.kind == "sale":
        earlier = (p.car_id == one.car_id) & (p.kind == "sale") & p.standing
        tx.execute(sa.update(money_planned).where(earlier).values(standing=False, version=p.version + 1))
    row = tx.execute(
        sa.insert(money_planned)
        .values(
            car_id=one.car_id,
            kind=one.kind,
            day=one.day,
            what=one.what,
            amount=one.amount.minor,
            currency=one.amount.currency,
            standing=True,
            version=1,
        )
        .returning(money_planned)
    ).one()
    return _planned(row)


def drop_planned(tx: Tx, number: int, version: int) -> Planned:
    """Take expected money off the list."""
    p = money_planned.c
    row = tx.execute(sa.select(money_planned).where(p.id == number)).first()
    if row is None:
        raise BadEntry(f"There is no expected money {number}.", field="planned", value=number)
    changed = tx.execute(
        sa.update(money_planned)
        .where(p.id == number, p.version == version, p.standing)
        .values(standing=False, version=version + 1)
    )
    if not changed.rowcount:
        raise Conflict(f"{row.what} was changed in another window. Look at it again; nothing was lost.")
    return _planned(row)


def cost_by_line(tx: Tx, cars: Iterable[str]) -> dict[tuple[str, str], int]:
    """Cost booked on cars in progress by (car account part, key of the estimate line)."""
    p, link = money_posting.c, money_link.c
    wanted = [wip(car, kind) for car in cars for kind in COST_KINDS]
    found: dict[tuple[str, str], int] = {}
    for start in range(0, len(wanted), 500):
        query = (
            sa.select(p.account, link.link, sa.func.sum(p.amount))
            .join(money_link, link.entry_id == p.entry_id)
            .where(p.account.in_(wanted[start : start + 500]), link.link.startswith("line-"))
            .group_by(p.account, link.link)
        )
        for account, name, amount in tx.execute(query):
            key = (account.split(":")[2], name[len("line-") :])
            found[key] = found.get(key, 0) + int(amount)
    return found
