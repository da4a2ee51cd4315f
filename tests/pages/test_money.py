"""The chapters Money and Parts and the garage's books: works, refuses bad entry, loses nothing typed."""

from __future__ import annotations

import re
import time

import pytest

from driveout.cars.actions import add_car
from driveout.money import actions as money
from driveout.store import Store
from driveout.units import Money
from tests.conftest import Browser, Clock

DAY = "2026-05-04"
PHOTO = b"\xff\xd8\xff\xe0 a photo of a receipt"


@pytest.fixture
def car(store: Store, clock: Clock) -> int:
    with store.writing() as tx:
        return add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=clock(), stage="viewing").id


@pytest.fixture
def bought(browser: Browser, car: int) -> int:
    browser.post(f"/cars/{car}/money/purchase", {"price": "1,450", "price_day": DAY})
    return car


def receipt(**more: str) -> dict[str, str]:
    return {"amount": "188.60", "what": "Clutch kit", "kind": "parts", "core": "40", "day": DAY, **more}


def test_a_purchase_and_a_receipt_in_two_fields_show_the_cost(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(core=""))

    assert "1,638.60 USD" in text
    assert "Clutch kit" in text


def test_a_core_deposit_is_shown_open_and_returned_with_one_button(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt())
    number = re.search(r'name="receipt" value="(\d+)"', text)
    assert number
    assert "40.00 USD of core deposits comes back" in text

    text = browser.post(f"/cars/{bought}/money/core", {"receipt": number.group(1)})
    assert "Core deposits open" not in text
    assert "1,598.60 USD" in text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"amount": "-5"}, "Amount"),
        ({"amount": "lots"}, "Amount"),
        ({"amount": ""}, "empty"),
        ({"what": ""}, "empty"),
        ({"kind": "sundry"}, "not offered"),
        ({"core": "188.61"}, "core deposit"),
        ({"day": "31/12/2026"}, "is not a day"),
        ({"day": "2026-12-31"}, "lies in the future"),
        ({"line": "roof"}, "no line"),
        ({"amount": "5 EUR"}, "kept in USD"),
    ],
)
def test_a_refused_receipt_says_why_keeps_what_was_typed_and_books_nothing(
    browser: Browser, bought: int, fields: dict, words: str
) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(**fields), status=422)

    assert words.lower() in text.lower()
    if "what" not in fields:
        assert 'value="Clutch kit"' in text
    assert "1,450.00 USD" in browser.get(f"/cars/{bought}/money")


def test_a_photographed_receipt_is_kept_and_shown(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(), {"photo": ("r.jpg", PHOTO, "image/jpeg")})
    link = re.search(r"/cars/\d+/money/photo/[0-9a-f]{64}", text)
    assert link
    answer = browser.client.get(link.group(0))

    assert (answer.content, answer.headers["content-type"]) == (PHOTO, "image/jpeg")
    assert browser.client.get(f"/cars/{bought}/money/photo/{'0' * 64}").status_code == 404


def test_a_file_that_is_no_picture_is_refused(browser: Browser, bought: int) -> None:
    text = browser.post(
        f"/cars/{bought}/money/receipt",
        receipt(),
        {"photo": ("r.jpg", b"#!/bin/sh", "image/jpeg")},
        status=422,
    )

    assert "no picture" in text


def test_hours_are_booked_once_and_a_second_time_only_when_said(browser: Browser, bought: int) -> None:
    fields = {"hours": "1.5", "kind_of_work": "clutch", "hours_day": DAY}
    browser.post(f"/cars/{bought}/money/hours", fields)
    text = browser.post(f"/cars/{bought}/money/hours", fields, status=422)
    assert "stands on 4 May 2026 already" in text

    text = browser.post(f"/cars/{bought}/money/hours", {**fields, "again": "yes"})
    assert re.search(r"Own time 3\.0(\s|&nbsp;)h", text)


def test_a_form_sent_twice_counts_once(browser: Browser, bought: int) -> None:
    for _ in range(2):
        browser.post(f"/cars/{bought}/money/receipt", receipt(core="", once="drawn-once"))

    assert "1,638.60 USD" in browser.get(f"/cars/{bought}/money")


def test_an_entry_is_taken_back_and_both_stay(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(core=""))
    numbers = [int(n) for n in re.findall(r'id="entry-(\d+)"', text)]
    text = browser.post(f"/cars/{bought}/money/reverse", {"entry": str(max(numbers)), "why": "wrong car"})

    assert "(taken back)" in text
    assert "Taken back: Clutch kit" in text
    assert "1,450.00 USD" in text


def test_refund_trip_and_supplies_are_booked_from_the_page(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(core=""))
    number = re.search(r'<option value="(\d+)"[^>]*>4 May 2026 Clutch kit', text)
    assert number
    browser.post(
        f"/cars/{bought}/money/refund", {"of_receipt": number.group(1), "refund": "88.60", "fee": "8.60"}
    )
    browser.post(
        f"/cars/{bought}/money/travel",
        {"distance": "10", "unit": "mi", "trip": "Fetch it", "per_unit": "0.70", "trip_day": DAY},
    )
    browser.post(
        "/money/supplies", {"amount": "10", "what": "Grease", "quantity": "4", "unit": "tube", "day": DAY}
    )
    text = browser.get(f"/cars/{bought}/money")
    lot = re.search(r'name="lot" value="(\d+)"', text)
    assert lot
    text = browser.post(f"/cars/{bought}/money/supplies", {"lot": lot.group(1), "taken": "1"})

    # By hand: 1450 + 188.60 - 88.60 + 8.60 + 7.00 + 2.50.
    assert "1,568.10 USD" in text


def test_a_sale_shows_the_profit_and_the_way_to_look_back(browser: Browser, bought: int) -> None:
    text = browser.post(
        f"/cars/{bought}/money/sold",
        {"sale_price": "2650", "sale_fees": "20", "buyer": "M. Penhalow", "sale_day": DAY},
    )

    assert "1,180.00 USD" in text
    assert f"/cars/{bought}/lookback" in text
    assert "0.00 USD" in browser.post(
        f"/cars/{bought}/money/sold", {"sale_price": "0", "sale_day": DAY}, status=409
    )


def test_names_with_marks_of_pages_do_no_harm(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(what="<script>alert(1)</script>"))

    assert "<script>alert" not in text
    assert "&lt;script&gt;" in text


def test_a_car_that_is_none_and_a_wrong_method_are_refused(browser: Browser, car: int) -> None:
    assert browser.client.get("/cars/999/money").status_code == 404
    assert browser.client.get(f"/cars/{car}/money/receipt").status_code == 405


def test_the_books_show_balances_take_in_a_file_once_and_give_it_out(browser: Browser, bought: int) -> None:
    browser.post("/money/own", {"own_amount": "500", "own_day": DAY})
    text = browser.post("/money/tool", {"tool_amount": "80", "tool": "Aligning tool", "tool_day": DAY})
    assert "Assets:Tools:Bought" in text
    journal = browser.client.get("/money/export/yaml").content
    text = browser.post("/money/import", {}, {"journal": ("mine.yaml", journal, "application/yaml")})

    assert "-1030.00 USD" in text
    for name in ("beancount", "hledger", "csv"):
        assert b"Assets:Tools:Bought" in browser.client.get(f"/money/export/{name}").content
    assert browser.client.get("/money/export/xls").status_code == 422


def test_a_closed_period_stops_a_receipt(browser: Browser, bought: int) -> None:
    browser.post("/money/close", {"through": DAY})
    text = browser.post(f"/cars/{bought}/money/receipt", receipt(), status=422)

    assert "closed period" in text


def test_a_part_is_offered_ordered_received_and_given_back(browser: Browser, bought: int) -> None:
    where = f"/cars/{bought}/parts"
    text = browser.post(f"{where}/need", {"what": "Clutch kit", "quantity": "1", "line": "clutch"})
    part = re.search(r'name="part" value="(\d+)"', text)
    assert part
    offer = {
        "part": part.group(1),
        "shop": "Counter",
        "price": "120",
        "lead_days": "0",
        "condition": "new",
        "core": "40",
    }
    browser.post(f"{where}/offer", {**offer, "return_days": "30"})
    text = browser.post(
        f"{where}/offer", {**offer, "shop": "By post", "price": "101", "lead_days": "5", "core": ""}
    )
    dear = browser.get(f"{where}?day_cost=4")
    assert text.index("By post") < text.index("Counter")
    assert dear.index("Counter") < dear.index("By post")

    chosen = re.search(r'name="offer" value="(\d+)"', dear)
    assert chosen
    ids = {"part": part.group(1)}
    text = browser.post(f"{where}/order", {**ids, "version": "1", "offer": chosen.group(1)})
    assert "ordered" in text
    browser.post(f"{where}/receive", {**ids, "version": "1"}, status=409)
    text = browser.post(f"{where}/receive", {**ids, "version": "2"})
    assert "40.00 USD" in text
    text = browser.post(f"{where}/fit", {**ids, "version": "3", "fits": "no"})
    assert "Give Clutch kit back" in text
    text = browser.post(f"{where}/back", {**ids, "version": "4", "refund": "120", "fee": "12"})
    assert "given back" in text
    assert "1,462.00 USD" in browser.get(f"/cars/{bought}/money")


def test_the_journal_is_judged_over_http_without_a_record(browser: Browser) -> None:
    postings = [
        {"account": "Assets:WIP:Car-1:Purchase", "amount": "10.00"},
        {"account": "Assets:Bank", "amount": "-10"},
    ]
    document = {
        "schema": "driveout-journal/1",
        "currency": "USD",
        "entries": [{"day": "2026-05-04", "what": "Bought", "postings": postings}],
    }
    answer = browser.client.post("/api/journal", json=document)
    assert answer.status_code == 200, answer.text
    assert answer.json()["cars"][0]["cost"] == "10.00"

    postings[1]["amount"] = "-9.99"
    answer = browser.client.post("/api/journal", json=document)
    assert answer.status_code == 422
    assert "0.01 USD too much" in answer.text


def test_a_car_with_much_booked_shows_its_newest_entries_first(
    browser: Browser, bought: int, store: Store, clock: Clock
) -> None:
    with store.writing() as tx:
        for i in range(60):
            money.book_receipt(
                tx, bought, "parts", Money(100 + i, "USD"), f"Part {i}", "", clock().date(), at=clock()
            )

    assert browser.get(f"/cars/{bought}/money").count('id="entry-') == 25
    assert browser.get(f"/cars/{bought}/money?start=50").count('id="entry-') == 11


def test_a_bank_file_is_shown_matched_and_booked_once(browser: Browser, bought: int) -> None:
    data = b"Date,Description,Amount\n2026-05-04,Seller,-1450.00\n2026-05-03,Motor Factors,-60.00\n"
    for expected in ("1,510.00 USD", "1,510.00 USD"):
        text = browser.post("/money/bank", {}, {"bank": ("b.csv", data, "text/csv")})
        assert "Booked already: entry 1" in text
        rows = re.findall(r'name="key" value="([0-9a-f]+)"', text)
        fields: dict = {
            "key": rows,
            "line_day": ["2026-05-03"],
            "line_amount": ["-6000"],
            "line_text": ["Motor Factors"],
        }
        if rows:
            browser.post("/money/bank/book", {**fields, f"to_{rows[0]}": f"car:{bought}:parts"})
        assert expected in browser.get(f"/cars/{bought}/money")

    assert "do not tell which" in browser.post(
        "/money/bank", {}, {"bank": ("b.csv", b"a,b\n1,2\n", "text/csv")}, status=422
    )


def test_a_year_names_each_car_and_a_year_that_is_none_is_refused(browser: Browser, bought: int) -> None:
    browser.post(f"/cars/{bought}/money/sold", {"sale_price": "2650", "sale_day": DAY})
    text = browser.get("/money/year/2026")

    assert "1,200.00 USD" in text
    assert "Tarnwick Linnet 1.4" in text
    assert "Nothing earned" in browser.get("/money/year/2025")
    assert browser.client.get("/money/year/99999").status_code == 422


def test_a_banks_layout_is_kept_used_again_unasked_and_forgotten(browser: Browser, bought: int) -> None:
    first = "Wann;Wofür;Wieviel\n03.05.26;Dichtung;60,00\n".encode("cp1252")
    again = "Wann;Wofür;Wieviel\n04.05.26;Öl;9,90\n".encode("cp1252")
    said = {
        "column_day": "Wann",
        "column_text": "Wofür",
        "column_amount": "Wieviel",
        "order": "dmy",
        "spent_is_positive": "yes",
        "decimal_comma": "yes",
        "encoding": "Western European (Windows 1252)",
        "keep_as": "Corner bank",
    }
    text = browser.post("/money/bank", said, {"bank": ("mai.csv", first, "text/csv")})
    assert "-60.00 USD" in text
    text = browser.post("/money/bank", {}, {"bank": ("mai2.csv", again, "text/csv")})
    assert "Read as Corner bank" in text
    assert "-9.90 USD" in text

    assert "Corner bank" in browser.get("/money")
    browser.post("/money/bank/forget", {"layout": "Corner bank"})
    assert "Corner bank" not in browser.get("/money")
    browser.post("/money/bank/forget", {"layout": "Corner bank"}, status=422)
    browser.post("/money/bank", {"layout": "gone"}, {"bank": ("b.csv", first, "text/csv")}, status=422)


def test_a_movement_taken_back_can_be_booked_from_the_bank_file_again(browser: Browser, bought: int) -> None:
    data = b"Date,Description,Amount\n2026-05-03,Motor Factors,-60.00\n"
    for _ in range(2):
        text = browser.post("/money/bank", {}, {"bank": ("b.csv", data, "text/csv")})
        (key,) = re.findall(r'name="key" value="([0-9a-f]+)"', text)
        fields = {"key": key, "line_day": "2026-05-03", "line_amount": "-6000", "line_text": "Motor Factors"}
        browser.post("/money/bank/book", {**fields, f"to_{key}": f"car:{bought}:parts"})
        text = browser.get(f"/cars/{bought}/money")
        assert "1,510.00 USD" in text
        newest = max(int(n) for n in re.findall(r'id="entry-(\d+)"', text))
        browser.post(f"/cars/{bought}/money/reverse", {"entry": str(newest), "why": "wrong"})

    assert "1,450.00 USD" in browser.get(f"/cars/{bought}/money")


def test_a_buyers_deposit_is_held_and_what_is_kept_of_it_is_income(browser: Browser, bought: int) -> None:
    where = f"/cars/{bought}/money"
    text = browser.post(
        f"{where}/deposit", {"deposit": "100", "deposit_buyer": "R. Sorrel", "deposit_day": DAY}
    )
    assert "deposit of 100.00 USD is held" in text
    browser.post(f"{where}/deposit/settle", {"deposit_back": "100.01", "settled_day": DAY}, status=422)
    browser.post(f"{where}/let-go", {"scrap_amount": "0", "scrap_day": DAY}, status=422)
    text = browser.post(f"{where}/deposit/settle", {"deposit_back": "80", "settled_day": DAY})
    assert "is held" not in text

    browser.post(
        f"{where}/leftover",
        {"leftover": "Roof bars", "leftover_amount": "25", "leftover_kind": "part", "leftover_day": DAY},
    )
    # By hand: 2000 - 1450 + 20 kept + 25 for the bars.
    assert "595.00 USD" in browser.post(f"{where}/sold", {"sale_price": "2000", "sale_day": DAY})


def test_a_car_taken_in_part_exchange_becomes_stock_at_its_allowance(
    browser: Browser, bought: int, store: Store, clock: Clock
) -> None:
    with store.writing() as tx:
        other = add_car(tx, name="Tarnwick Heron", currency="USD", at=clock(), stage="viewing").id
    sold = {"sale_price": "2650", "sale_day": DAY, "exchange": str(other)}
    browser.post(f"/cars/{bought}/money/sold", sold, status=422)
    browser.post(f"/cars/{bought}/money/sold", {**sold, "allowance": "2650.01"}, status=422)
    text = browser.post(f"/cars/{bought}/money/sold", {**sold, "allowance": "600"})
    assert "1,200.00 USD" in text

    text = browser.get(f"/cars/{other}/money")
    assert "600.00 USD" in text
    assert "Book the purchase" not in text


def test_a_car_is_let_go_for_scrap(browser: Browser, bought: int) -> None:
    text = browser.post(f"/cars/{bought}/money/let-go", {"scrap_amount": "200", "scrap_day": DAY})

    assert "-1,250.00 USD" in text
    browser.post(f"/cars/{bought}/money/let-go", {"scrap_amount": "200", "scrap_day": DAY}, status=409)


def test_a_tool_used_on_a_car_is_a_memo_and_no_cost(browser: Browser, bought: int) -> None:
    tool = {"tool_amount": "80", "tool": "Aligning tool", "uses": "20", "tool_day": DAY}
    assert "of 20 expected, 4.00 USD a use" in browser.post("/money/tool", tool)
    text = browser.get(f"/cars/{bought}/money")
    number = re.search(r'<option value="(\d+)"[^>]*>Aligning tool', text)
    assert number
    used = {"tool": number.group(1), "times": "3", "tool_day": DAY}
    text = browser.post(f"/cars/{bought}/money/tool", used)

    assert "Aligning tool: 3 times" in text
    assert "1,450.00 USD" in text
    assert "used 3 times" in browser.get("/money")
    browser.post(f"/cars/{bought}/money/tool", {**used, "tool": "999"}, status=422)
    for name in ("beancount", "hledger", "csv"):
        assert b"USES" in browser.client.get(f"/money/export/{name}").content


def test_cash_to_come_shows_its_lowest_point_and_counts_a_sale_once_it_has_a_day(
    browser: Browser, bought: int
) -> None:
    browser.post("/money/own", {"own_amount": "2000", "own_day": DAY})
    text = browser.get("/money/forecast")
    assert "Today is the lowest point" in text
    assert "no day yet" in text

    other = {"what": "Insurance", "way": "out", "amount": "700", "day": "2026-05-20"}
    text = browser.post("/money/forecast", other)
    # By hand: 2000 - 1450 - 700 = -150.
    assert "-150.00 USD" in text
    assert "does not reach" in text
    sale = {"car": str(bought), "price": "2650", "sale_day": "2026-05-10"}
    text = browser.post("/money/forecast/sale", sale)
    assert "does not reach" not in text
    assert text.count("expected sale") == browser.post("/money/forecast/sale", sale).count("expected sale")

    row = re.search(
        r'name="planned" value="(\d+)">\s*<input type="hidden" name="version" value="(\d+)"', text
    )
    assert row
    drop = {"planned": row.group(1), "version": row.group(2)}
    browser.post("/money/forecast/drop", {**drop, "version": "9"}, status=409)
    for fields in ({"amount": "0"}, {"day": "2026-04-01"}, {"what": ""}, {"way": "up"}):
        browser.post("/money/forecast", {**other, **fields}, status=422)


def sent(browser: Browser, data: bytes, status: int = 200) -> str:
    return browser.post("/money/bank", {}, {"bank": ("b.csv", data, "text/csv")}, status=status)


def test_a_bank_file_of_a_million_rows_is_refused_at_once(browser: Browser, bought: int) -> None:
    data = b"Date,Description,Amount\n" + b"2026-05-03,X,-1.00\n" * 1_000_000
    began = time.process_time()
    text = sent(browser, data, 422)

    assert "has 1,000,001 lines; at most 5,000 rows are taken at once" in text
    assert time.process_time() - began < 5
    lines = b"Date,Description,Amount\n" + b"2026-05-03,X,-1.00\n" * 5_001
    assert "has 5,001 rows" in sent(browser, lines, 422)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "Choose the CSV file"),
        (b"\n\n", "is empty"),
        (
            b"Date,Description,Amount\n2026-05-03,Shop,-60,00\n",
            "a text with the separator in it needs quotes",
        ),
        (b"Date,Description,Amount\n2026-05-03,Shop\n", "cannot be read"),
        (b"Date,Description,Amount\n2026-13-45,Shop,-60.00\n", "is not a day"),
        (b"Date,Description,Amount\n2026-05-03,Sh\x00op,-60.00\n", "binary zeros"),
        (b"Date,Date,Amount\n2026-05-03,Shop,-60.00\n", "stands twice"),
        (b"Date,Description,Amount\n2026-05-03,Shop,-60.0055\n", "more decimals"),
        (b"Date,Description,Amount\n2026-05-03,Shop,-60.0", ""),
    ],
)
def test_a_bank_file_that_is_torn_or_empty_says_what_is_wrong(
    browser: Browser, bought: int, data: bytes, words: str
) -> None:
    text = sent(browser, data, 422 if words else 200)

    assert words.lower() in text.lower()


def test_an_entry_that_does_not_balance_is_refused_by_file_and_by_http(browser: Browser, bought: int) -> None:
    text = (
        "schema: driveout-journal/1\ncurrency: USD\nentries:\n  - day: 2026-05-04\n    what: Slip\n    postings:\n"
        '      - {account: "Assets:Bank", amount: "-60.00"}\n      - {account: "Expenses:Overhead", amount: "59.99"}\n'
    )
    files = {"journal": ("j.yaml", text.encode(), "application/yaml")}
    assert "does not balance: 0.01 USD too little" in browser.post("/money/import", {}, files, status=422)
    with_store = browser.get("/money")
    assert "Overhead" not in re.findall(r"<th scope=\"row\">([^<]*)", with_store)


def test_a_refund_above_the_payment_is_refused_on_the_page(browser: Browser, bought: int) -> None:
    browser.post(f"/cars/{bought}/money/receipt", receipt(core=""))
    fields = {"of_receipt": "2", "refund": "188.61"}
    assert "above the 188.60 USD still paid" in browser.post(
        f"/cars/{bought}/money/refund", fields, status=422
    )


def test_a_receipt_abroad_needs_a_rate_and_shows_it(browser: Browser, bought: int) -> None:
    path = f"/cars/{bought}/money/receipt"
    assert "kept in USD" in browser.post(path, receipt(amount="100 EUR"), status=422)
    unsaid = receipt(amount="100", core="", paid_currency="EUR", rate="", rate_source="card")
    assert "empty" in browser.post(path, unsaid, status=422)
    text = browser.post(
        path, receipt(amount="100", core="20", paid_currency="EUR", rate="1.08", rate_source="card")
    )

    # 1450 + 80 x 1.08; the deposit of 20 EUR is owed at 21.60.
    assert "1,536.40 USD" in text
    assert "21.60 USD" in text
    assert "Paid 100.00 EUR; 1 EUR = 1.08 USD on 4 May 2026, card" in text


def test_money_is_changed_and_the_year_stands_in_each_currency(browser: Browser, bought: int) -> None:
    change = {
        "gave": "1050",
        "gave_currency": "USD",
        "got": "1000",
        "got_currency": "eur",
        "exchange_source": "bank statement",
        "exchange_day": DAY,
    }
    assert "Where the amounts come from" in browser.get("/money")
    assert "two currencies" in browser.post("/money/exchange", change | {"got_currency": ""}, status=422)
    assert "empty" in browser.post("/money/exchange", change | {"exchange_source": ""}, status=422)
    both = change | {"gave_currency": "GBP"}
    assert "two steps through USD" in browser.post("/money/exchange", both, status=422)
    assert "1,000.00 EUR, in the books for 1,050.00 USD" in browser.post("/money/exchange", change)
    back = change | {"gave": "500", "gave_currency": "EUR", "got": "530", "got_currency": "USD"}
    assert "500.00 EUR, in the books for 525.00 USD" in browser.post("/money/exchange", back)
    text = browser.get("/money/year/2026")

    # 500 EUR bought at 1.05 for 525.00, changed back for 530.00.
    assert "Gained on exchange" in text
    assert "5.00 USD" in text
    assert "In EUR" in text
    assert "Currencies are never added" in text
