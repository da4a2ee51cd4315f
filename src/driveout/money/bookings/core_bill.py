"""Bill of a part with a core deposit, under both sales-tax habits."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.units import Money


@dataclass(frozen=True)
class CoreBill:
    """What a part with a core deposit costs now, what comes back, and the net."""

    pay: Money
    back: Money

    @property
    def net(self) -> Money:
        """Cost once the old unit is handed in."""
        return self.pay - self.back


def core_bill(
    part: Money, core: Money, tax_rate: Decimal, *, core_taxed: bool, tax_refunded: bool
) -> CoreBill:
    """Bill of a part with a core deposit under the place's two sales-tax habits.

    Whether the deposit is taxed and whether that tax comes back differs from place to place;
    the person sets both from their own receipts. No tax advice.

    Parameters
    ----------
    part
        Price of the part without deposit and tax.
    core
        Core deposit.
    tax_rate
        Sales tax as a fraction, 0.065 for 6.5 %.
    core_taxed
        Whether tax is charged on the deposit.
    tax_refunded
        Whether the tax on the deposit comes back with it.

    Returns
    -------
    CoreBill
        To pay, to come back.

    Raises
    ------
    BadEntry
        If the rate is outside 0 to 1.

    References
    ----------
    state-core-deposit-tax, worked examples.
    """
    if not 0 <= tax_rate <= 1:
        raise BadEntry(
            f"Sales tax rate {tax_rate} is outside 0 to 1. Write 0.065 for 6.5 %.",
            field="tax_rate",
            value=str(tax_rate),
            allowed="0 to 1",
        )
    taxed = part + core if core_taxed else part
    back = core + core.times(tax_rate) if core_taxed and tax_refunded else core
    return CoreBill(part + core + taxed.times(tax_rate), back)
