"""Facts of the sale with their sources, and the gate before the keys go."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.selling.sale_papers import LISTS, gate_questions, handover_gate, payments, sale_facts

ALL = tuple(gate_questions())


def test_every_sentence_names_its_source_or_says_that_there_is_none() -> None:
    facts = [fact for which in LISTS for fact in sale_facts(which)]

    assert len(facts) > 25
    assert all(fact.source for fact in facts)
    assert "common practice, no source" in {fact.source for fact in facts}
    assert all(kind.caution and kind.source for kind in payments())


@pytest.mark.parametrize("payment", [kind.key for kind in payments() if kind.clear])
def test_the_keys_go_when_final_money_is_there_and_everything_is_signed(payment: str) -> None:
    assert handover_gate(payment, ALL).is_open


@pytest.mark.parametrize("payment", [kind.key for kind in payments() if not kind.clear])
def test_money_that_can_be_taken_back_keeps_the_keys(payment: str) -> None:
    gate = handover_gate(payment, ALL)

    assert not gate.is_open
    assert "cannot be taken back" in gate.missing[0]
    assert gate.caution


@pytest.mark.parametrize("left_out", ALL)
def test_whatever_was_not_ticked_is_named(left_out: str) -> None:
    gate = handover_gate("bank_cash", [key for key in ALL if key != left_out])

    assert gate.missing == (gate_questions()[left_out],)


def test_a_strange_payment_tick_or_list_is_refused() -> None:
    with pytest.raises(BadEntry, match="no way to pay"):
        handover_gate("barter", ALL)
    with pytest.raises(BadEntry, match="is not asked"):
        handover_gate("bank_cash", ["smile"])
    with pytest.raises(BadEntry, match="is no list"):
        sale_facts("jokes")
