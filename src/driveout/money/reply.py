"""What a journal says, as plain data and as lines a person reads."""

from __future__ import annotations

from typing import Any

from driveout.money.car_cost import CarCost, cash_moves, cost_of_car, is_sold, open_cores
from driveout.money.journal import Entry, amount_text
from driveout.money.journal_file import Journal
from driveout.money.measures import earnings
from driveout.units import Money


def cars_in(entries: tuple[Entry, ...]) -> list[str]:
    """Account parts of the cars that a journal holds, in the order they appear."""
    found: dict[str, None] = {}
    for entry in entries:
        for posting in entry.postings:
            parts = posting.account.split(":")
            if (parts[:2] == ["Assets", "WIP"] and len(parts) > 2) or (
                parts[0] in ("Income", "Expenses")
                and parts[1] in ("Sales", "COGS", "AfterSale")
                and len(parts) > 2
            ):
                found.setdefault(parts[2])
    return list(found)


def _money(amount: Money | None) -> str | None:
    return None if amount is None else str(amount.major)


def _car(journal: Journal, cost: CarCost) -> dict[str, Any]:
    entries, currency = journal.entries, journal.currency
    sold = is_sold(entries, cost.car) or bool(cost.sales.minor)
    measured = earnings(cost.profit, cash_moves(entries, cost.car, currency), cost.minutes) if sold else None
    return {
        "car": cost.car,
        "sold": sold,
        "cost": _money(cost.total_cost),
        "by_kind": {kind: _money(amount) for kind, amount in cost.by_kind.items()},
        "work_in_progress": _money(cost.work_in_progress),
        "cost_of_sale": _money(cost.cost_of_sale),
        "selling_fees": _money(cost.selling_fees),
        "after_sale": _money(cost.after_sale),
        "sales": _money(cost.sales),
        "other_income": _money(cost.other_income),
        "cores_owed": _money(cost.cores_owed),
        "cores_open": [
            {"receipt": core.receipt.number, "owed": _money(core.owed)}
            for core in open_cores(entries, cost.car, currency)
        ],
        "own_hours": cost.minutes / 60,
        "distance_km": cost.distance_km_tenths / 10,
        "distance_mi": cost.distance_mi_tenths / 10,
        "profit": _money(cost.profit) if sold else None,
        "per_own_hour": _money(measured.per_own_hour) if measured else None,
        "per_bay_day": _money(measured.per_bay_day) if measured else None,
        "average_capital": _money(measured.average_capital) if measured else None,
        "on_average_capital": measured.on_average_capital if measured else None,
        "days": measured.days if measured else None,
        "yearly_rates": list(measured.yearly_rates) if measured else [],
        "note": measured.note if measured else "",
    }


def plain_journal(journal: Journal) -> dict[str, Any]:
    """Balances and cars of a journal as plain data; amounts are decimal text in major units."""
    return {
        "currency": journal.currency,
        "entries": len(journal.entries),
        "closed_through": journal.closed_through.isoformat() if journal.closed_through else None,
        "balances": [
            {"account": account, "amount": amount_text(amount, commodity), "in": commodity}
            for (account, commodity), amount in sorted(journal.balances().items())
        ],
        "cars": [
            _car(journal, cost_of_car(journal.entries, car, journal.currency))
            for car in cars_in(journal.entries)
        ],
    }


def journal_lines(data: dict[str, Any]) -> list[str]:
    """The same as lines for the terminal."""
    found = [f"{data['entries']} entries, each balances to zero in every commodity."]
    wide = max((len(row["account"]) for row in data["balances"]), default=0)
    for row in data["balances"]:
        found.append(f"  {row['account']:{wide}}  {row['amount']:>14} {row['in']}")
    currency = data["currency"]
    for car in data["cars"]:
        if car["sold"]:
            per_hour = f", {car['per_own_hour']} an own hour" if car["per_own_hour"] is not None else ""
            found.append(
                f"{car['car']}: sold for {car['sales']}, profit {car['profit']} {currency}{per_hour}"
            )
        else:
            found.append(
                f"{car['car']}: cost so far {car['cost']} {currency}, own time {car['own_hours']:.1f} h"
            )
        if car["cores_open"]:
            found.append(f"  core deposits open: {car['cores_owed']} {currency}")
        if car["note"]:
            found.append(f"  {car['note']}")
    return found
