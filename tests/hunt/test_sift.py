"""Many adverts at once: bad rows together, an order with reasons, the same digits for any number of workers."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.errors import BadEntry
from driveout.files import csv_table
from driveout.hunt.advert import MoneyRange
from driveout.hunt.screen import two_figures
from driveout.hunt.setting import Setting
from driveout.hunt.sift import (
    CHUNK_ROWS,
    Sifted,
    adverts_of_table,
    chunks_of,
    first_look,
    ranked,
    result_rows,
    safe_cell,
    sift_chunk,
    sifted,
    worth_a_closer_look,
)
from driveout.hunt.workers import Job, cluster_crew, machine_crew
from driveout.outlook import Rules
from driveout.units import Money

TODAY = date(2026, 11, 25)
SETTING = Setting(Rules())
# A spreadsheet of a country with decimal comma: byte order mark, semicolons, 1.650 and 4.400,50.
SHEET = (
    "\ufeffName;Asking price;Year;Mileage;Runs;Symptoms;Value;Text\r\n"
    "Linnet A;1.650;2013;148.000 km;sick;say_clutch say_loses_coolant;4.400,00;\r\n"
    'Linnet B;;;;;;4.400,50;"2011 Linnet, 128,000 miles, runs and drives good, needs brakes, asking 1450 obo"\r\n'
    "Linnet C;300;2012;120.000 km;runner;;4.400,00;\r\n"
    "Bad one;x;2031;5;zz;say_cluch;4.400,00;\r\n"
    "Linnet D;900;2011;;;;;\r\n"
).encode()


def value(low: int, likely: int, high: int) -> MoneyRange:
    return MoneyRange(*(Money(100 * m, "USD") for m in (low, likely, high)))


def test_rows_become_adverts_from_columns_and_from_text() -> None:
    adverts, _ = adverts_of_table(csv_table(SHEET, "a.csv"), SETTING, today=TODAY)
    a, b = adverts[0][1], adverts[1][1]

    assert [line for line, _ in adverts] == [2, 3, 4, 6]
    assert a.asking == Money(165000, "USD")
    assert a.mileage_km == 148000
    assert a.evidence == {"say_clutch": "yes", "say_loses_coolant": "yes"}
    assert b.asking == Money(145000, "USD")
    assert b.made_year == 2011
    assert b.runs == "runner"
    assert b.evidence == {"say_brakes": "yes"}
    assert b.clean_value is not None
    assert b.clean_value.likely == Money(440050, "USD")


def test_all_that_is_wrong_with_rows_is_collected_with_line_and_column() -> None:
    _, wrong = adverts_of_table(csv_table(SHEET, "a.csv"), SETTING, today=TODAY)
    said = [str(entry) for entry in wrong]

    assert len(said) == 4
    assert all("a.csv:5" in line for line in said)
    assert any("'x' is not a number" in line for line in said)
    assert any("the unit must be km or mi" in line for line in said)
    assert any('runs is "zz"' in line for line in said)
    assert any("Did you mean say_clutch" in line for line in said)


def test_a_year_in_the_future_is_refused_with_its_row() -> None:
    table = csv_table(b"asking,year\n100,2031\n", "b.csv")

    _, wrong = adverts_of_table(table, SETTING, today=TODAY)

    assert "2031 is in the future" in str(wrong[0])
    assert wrong[0].place == "b.csv:2 made_year"


def test_a_table_without_any_known_column_is_refused() -> None:
    with pytest.raises(BadEntry, match="none is known"):
        adverts_of_table(csv_table(b"colour,smell\nred,none\n", "c.csv"), SETTING, today=TODAY)


def test_one_value_stands_for_rows_that_give_none() -> None:
    adverts, _ = adverts_of_table(
        csv_table(SHEET, "a.csv"), SETTING, today=TODAY, value=value(3000, 3500, 4000)
    )

    assert adverts[3][1].clean_value == value(3000, 3500, 4000)
    assert adverts[0][1].clean_value != value(3000, 3500, 4000)


def test_a_row_without_value_says_what_is_missing_and_comes_last() -> None:
    rows, _ = sift_chunk(csv_table(SHEET, "a.csv"), SETTING, TODAY)
    order = ranked(rows)

    assert order[-1][0].verdict == "cannot say"
    assert "No value of the mended car" in order[-1][0].reason
    assert order[0][0].name == "Linnet C"


def test_a_cheaper_twin_never_ranks_below_its_dearer_twin() -> None:
    sheet = (
        b"name,asking,value,runs\ndear,2500,4400,runner\ncheap,1500,4400,runner\nmiddle,2000,4400,runner\n"
    )
    rows, _ = sift_chunk(csv_table(sheet, "t.csv"), SETTING, TODAY)

    assert [row.name for row, _ in ranked(rows)] == ["cheap", "middle", "dear"]
    assert len({row.walk_away for row in rows}) == 1


def test_shrinking_takes_the_edge_off_the_unsure_estimate() -> None:
    # Smith and Winkler 2006: of equal estimates the unsure one is pulled further to the mean.
    def row(line: int, gain: float, error: float) -> Sifted:
        return Sifted(line, f"car {line}", "USD", 1, "walk", walk_away=1, gain=gain, gain_error=error)

    rows = [
        row(1, 100_000.0, 90_000.0),
        row(2, 90_000.0, 1_000.0),
        row(3, -80_000.0, 1_000.0),
        row(4, -90_000.0, 1_000.0),
    ]
    pulled = {r.line: gain for r, gain in ranked(rows)}

    assert pulled[1] is not None
    assert pulled[2] is not None
    assert pulled[1] < pulled[2]
    assert ranked(rows)[0][0].line == 2


def test_pieces_have_a_fixed_size_and_keep_every_row() -> None:
    lines = "".join(f"{n},1000\n" for n in range(3 * CHUNK_ROWS + 7))
    table = csv_table(("name,asking\n" + lines).encode(), "n.csv")

    pieces = chunks_of(table)

    assert [len(p.rows) for p in pieces] == [CHUNK_ROWS] * 3 + [7]
    assert [r.line for p in pieces for r in p.rows] == [r.line for r in table.rows]


def many_adverts(count: int) -> bytes:
    """Rows that differ in class, symptoms and price."""
    classes = ("runner", "sick", "dead")
    symptoms = ("", "say_clutch", "say_head_gasket say_overheats", "say_brakes say_rust", "say_knock")
    lines = [
        f"car {n},{500 + 37 * n},{classes[n % 3]},{symptoms[n % 5]},{3000 + 100 * (n % 7)},{110_000 + 5_000 * (n % 4)}"
        for n in range(count)
    ]
    return ("name,asking,runs,symptoms,value,mileage_km\n" + "\n".join(lines) + "\n").encode()


def test_no_two_and_cluster_workers_give_the_same_result_to_the_last_digit() -> None:
    from distributed import LocalCluster

    table = csv_table(many_adverts(7), "m.csv")
    pieces = dict(enumerate(chunks_of(table, 3)))
    job = Job(SETTING, TODAY)

    def result(outcomes: object) -> list[list[str]]:
        done = dict(outcomes)  # type: ignore[call-overload]
        return result_rows([row for number in sorted(done) for row in done[number][0]])

    here, _ = sift_chunk(table, SETTING, TODAY)
    with machine_crew(job, 2) as crew:
        two = result(crew.weighings(pieces))
        looked = dict(crew.first_looks(pieces))
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        cluster_crew(job, cluster.scheduler_address) as crew,
    ):
        dask = result(crew.weighings(pieces))
        assert dict(crew.first_looks(pieces)) == looked

    assert two == dask == result_rows(here)
    assert len(two) == 8


def test_a_scheduler_that_does_not_answer_is_named() -> None:
    with (
        pytest.raises(BadEntry, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9"),
        cluster_crew(Job(SETTING, TODAY), "tcp://127.0.0.1:9", patience_s=0.5),
    ):
        pass


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", "\t=1", "|cmd", "%x"])
def test_a_text_that_looks_like_a_formula_is_set_behind_an_apostrophe(text: str) -> None:
    assert safe_cell(text) == "'" + text


def test_an_advert_in_another_currency_than_the_rules_cannot_be_weighed_and_says_so() -> None:
    adverts, wrong = adverts_of_table(
        csv_table(b"asking,currency,value\n1000,EUR,4000\n", "e.csv"), SETTING, today=TODAY
    )

    assert not wrong
    row = sifted(2, adverts[0][1], SETTING)
    assert row.verdict == "cannot say"
    assert "your rules are in USD" in row.reason


def test_the_first_look_agrees_with_the_close_one_within_the_money_it_leaves_out() -> None:
    # Only tied-up money (8 % a year for some months) and mileage to 50,000 km lie between them.
    setting = Setting(Rules(chosen=("loss",)))
    table = csv_table(many_adverts(15), "m.csv")
    rough, _ = first_look(table, setting, TODAY)
    close, _ = sift_chunk(table, setting, TODAY)

    for r, c in zip(rough, close, strict=True):
        assert r.walk_away is not None
        assert c.walk_away is not None
        assert not r.is_close
        assert abs(r.walk_away - c.walk_away) <= 0.15 * c.walk_away + 10_000


def test_the_first_look_at_a_row_depends_on_no_other_row() -> None:
    setting = Setting(Rules(chosen=("loss",)))
    table = csv_table(many_adverts(12), "m.csv")

    whole, _ = first_look(table, setting, TODAY)
    apart = [row for piece in chunks_of(table, 1) for row in first_look(piece, setting, TODAY)[0]]

    assert apart == whole


def test_only_the_best_of_the_first_look_are_looked_at_closely() -> None:
    def row(line: int, asking: int | None, limit: int | None) -> Sifted:
        return Sifted(line, "", "USD", asking, "walk", is_close=False, walk_away=limit)

    rows = [row(2, 500, 400), row(3, 500, 900), row(4, None, 900), row(5, 100, None), row(6, 300, 350)]

    assert worth_a_closer_look(rows, 2) == [3, 6]


@pytest.mark.parametrize(
    ("amount", "rounded"), [(443_700.0, 440_000.0), (445_001.0, 450_000.0), (99.0, 99.0), (0.0, 0.0)]
)
def test_values_are_rounded_to_two_figures(amount: float, rounded: float) -> None:
    assert two_figures(amount) == rounded
