"""Bad words in every text field of every form: pages, prints, exports and calendars hold them as words only."""

from __future__ import annotations

import csv
import io
import re
import subprocess
from collections.abc import Callable, Sequence
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin

import pytest
import sqlalchemy as sa
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import Dialog
from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.cars.actions import add_car
from driveout.demo.actions import fill
from driveout.store import Store
from tests.trials.forms import every_form, pages_by_link, send_until_taken

MARKUP = "\"'><zqx-el zqx-at=1><script>alert(1)</script>"
SCRIPT = 'javascript:alert(1)//zqx" onload=alert(1) zqx-on="1'
TEMPLATE = "{{ 7*7 }}{% zqx %}</textarea><svg onload=alert(1) zqx-at><!--"
FORGED = '=1+1"\n\n2026-01-01 * "zqxforged"\n    assets:cash  1 USD\n'
TYPESET = '#read("/etc/passwd") #zqx() $x$ *b* @y \\ ]'
CALENDAR = "a\r\nBEGIN:VEVENT\r\nSUMMARY:zqxforged\r\n\u202e,;"
LONG = "zqx" * 133
SETS: tuple[Sequence[str], ...] = ((MARKUP, SCRIPT, TEMPLATE), (FORGED, TYPESET, CALENDAR, LONG))

_OWN_SCRIPT = re.compile(r"^/static/[a-z-]+\.js$")


class _Strange(HTMLParser):
    """Elements and attributes that no template of ours has."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.elements = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements += 1
        facts = dict(attrs)
        if tag.startswith("zqx") or (tag == "script" and not _OWN_SCRIPT.match(facts.get("src") or "")):
            self.found.append(f"<{tag}>")
        for name, value in attrs:
            if name.startswith(("zqx", "on")) or name == "style":
                self.found.append(f"<{tag} {name}>")
            if name in ("href", "src", "action", "formaction") and not re.match(
                r"^(/(?!/)|#|\?|data:image/|https?://|mailto:|$)", (value or "").strip()
            ):
                self.found.append(f"<{tag} {name}={value!r}>")


def strange(text: str, own_scripts: int = 0) -> list[str]:
    """What got out of its text into the page; pages for the pocket carry scripts of their own."""
    parser = _Strange()
    parser.feed(text)
    found = list(parser.found)
    for _ in range(own_scripts):
        if "<script>" in found:
            found.remove("<script>")
    return found


@pytest.mark.parametrize(
    "page",
    [
        f"<p>{MARKUP}</p>",
        f'<input value="{MARKUP}">',
        f"<textarea>{TEMPLATE}</textarea>",
        f'<a title="{SCRIPT}">x</a>',
        f'<a href="{SCRIPT}">x</a>',
    ],
)
def test_the_trial_notices_words_that_were_not_escaped(page: str) -> None:
    assert strange(page)


def poison(client: TestClient, words: Sequence[str]) -> tuple[int, int, int, list[str]]:
    """Send every form with bad words; return forms sent, forms taken, fields filled, and what went wrong."""
    client.get("/adverts/new")
    taken = filled = 0
    wrong: list[str] = []
    forms = every_form(client)
    # What ends a car's life comes last, so that the other forms still have a car to speak of.
    forms.sort(key=lambda form: bool(re.search(r"sold|let-go|close|leave|pair", form.action)))
    for turn, form in enumerate(forms):
        status, drawn, fields = send_until_taken(client, form, words, turn)
        taken += status == 303
        filled += fields
        if status >= 500:
            wrong.append(f"{form.action}: {status}")
        wrong += [f"{form.action}: {found}" for text in drawn for found in strange(text)]
    return len(forms), taken, filled, wrong


def test_bad_words_in_every_field_stay_words_on_every_page(
    store: Store, address: str, chromium: Chromium, tmp_path: Path, counted: Callable[..., None]
) -> None:
    fill(store)
    with TestClient(web_app(store), base_url="http://localhost:8321") as client:
        forms, taken, fields, wrong = poison(client, SETS[0])
        assert not wrong, "\n".join(wrong[:20])
        assert taken > forms / 2, "too few forms were taken for the trial to mean anything"
        pages = pages_by_link(client, most_of_a_kind=2)
    for path, text in pages.items():
        out = strange(text, own_scripts=2 if path.partition("?")[0].endswith(".html") else 0)
        assert not out, (path, out)
    assert sum("zqx" in text for text in pages.values()) > 15, "the words must be on the pages"

    dialogs: list[str] = []
    context = chromium.new_context()
    page = context.new_page()

    def noted(dialog: Dialog) -> None:
        dialogs.append(page.url)
        dialog.dismiss()

    page.on("dialog", noted)
    seen = 0
    for path, text in pages.items():
        if "zqx" in text:
            if path.partition("?")[0].endswith(".html"):  # a page for the pocket is kept and opened as a file
                kept = tmp_path / f"{seen}.html"
                kept.write_text(text, encoding="utf-8")
                page.goto(kept.as_uri())
            else:
                page.goto(urljoin(address, path))
            made = page.evaluate(
                "[...document.querySelectorAll('*')].filter(e => e.localName.startsWith('zqx') ||"
                " [...e.attributes].some(a => a.name.startsWith('zqx') || a.name.startsWith('on'))).length"
            )
            assert made == 0, path
            seen += 1
    context.close()
    assert dialogs == []
    counted(
        "bad words in every field of every form",
        **{"forms": forms, "taken": taken, "fields": fields, "pages_drawn": len(pages)},
        **{"pages_in_the_browser": seen, "elements_made": 0, "dialogs": 0},
    )


def cells_that_calculate(text: str) -> list[str]:
    """Cells that a spreadsheet would take for a formula (OWASP, CSV Injection)."""
    separator = ";" if text.splitlines()[0].count(";") > text.splitlines()[0].count(",") else ","
    return [
        cell
        for row in csv.reader(io.StringIO(text), delimiter=separator)
        for cell in row
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not re.fullmatch(r"[-+][\d.,\s]*\d%?", cell)
    ]


def test_the_trial_notices_a_cell_that_calculates() -> None:
    assert cells_that_calculate("a,b\n=1+1,x\n") == ["=1+1"]
    assert cells_that_calculate("a,b\n-12.50,'=1+1\n") == []


# Which export each independent program reads.
PROGRAMS = {"beancount": "beancount", "hledger": "hledger", "ledger": "hledger"}


def transactions(text: str, kind: str, folder: Path) -> int:
    """How many entries an independent program reads in a plain-text journal."""
    path = folder / f"journal.{kind}"
    path.write_text(text, encoding="utf-8")
    if kind == "beancount":
        from beancount import loader
        from beancount.core.data import Transaction

        entries, errors, _ = loader.load_file(str(path))
        assert not errors, errors[:2]
        return sum(isinstance(entry, Transaction) for entry in entries)
    done = subprocess.run([kind, "-f", str(path), "print"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[:500]
    return len(re.findall(r"(?m)^\d{4}[-/]\d\d[-/]\d\d", done.stdout))


def entries_of(store: Store, where: str = "") -> int:
    """How many entries the record holds."""
    with store.reading() as tx:
        return int(tx.scalar(sa.text(f"SELECT count(*) FROM money_entry {where}")) or 0)


def test_bad_words_forge_no_entry_no_event_no_formula_and_no_print(
    store: Store, tmp_path: Path, counted: Callable[..., None]
) -> None:
    fill(store)
    with store.writing() as tx:
        car = add_car(tx, name=FORGED, currency="USD", at=store.now(), stage="in work").id
    with TestClient(web_app(store), base_url="http://localhost:8321") as client:
        token = client.get("/adverts/new").text.split('name="csrf" value="')[1].split('"')[0]
        # Some exports end with an entry that asserts the balances.
        asserting = {}
        for kind, form in PROGRAMS.items():
            clean = client.get(f"/money/export/{form}").text
            asserting[kind] = transactions(clean, kind, tmp_path) - entries_of(store)
        for one in SETS[1]:
            line = " ".join(one.split())
            for words, taken_as in ((one, 422 if line != one.strip() else 200), (line, 200)):
                fields = {
                    "csrf": token,
                    "kind": "parts",
                    "amount": "12.50",
                    "what": words[:80],
                    "day": "2026-05-04",
                }
                fields |= {"shop": words[:80], "quantity": "1", "line": "", "core": ""}
                answer = client.post(f"/cars/{car}/money/receipt", data=fields)
                assert answer.status_code == taken_as, (words, answer.status_code)
        forms, taken, _, wrong = poison(client, SETS[1])
        assert not wrong, "\n".join(wrong[:20])
        pages = pages_by_link(client, most_of_a_kind=2)
        links = {
            link.replace("&amp;", "&")
            for text in pages.values()
            for link in re.findall(r'href="(/[^"#]*(?:export|\.pdf|\.ics|\.csv|/file)[^"]*)"', text)
        }
        entries = entries_of(store)
        assert entries_of(store, "WHERE what LIKE '%zqxforged%'") >= 1
        found = {"journals": 0, "tables": 0, "calendars": 0, "prints": 0}
        for link in sorted(links):
            answer = client.get(link)
            assert answer.status_code < 500, link
            assert "\n" not in answer.headers.get("content-disposition", "")
            kind = answer.headers["content-type"].partition(";")[0]
            if answer.status_code != 200:
                continue
            if link.endswith(("/beancount", "/hledger")):
                for program, form in PROGRAMS.items():
                    if link.endswith(f"/{form}"):
                        wanted = entries + asserting[program]
                        assert transactions(answer.text, program, tmp_path) == wanted, program
                        found["journals"] += 1
            elif kind == "text/csv" or "csv" in link:
                assert cells_that_calculate(answer.text) == [], link
                found["tables"] += 1
            elif kind == "text/calendar":
                lines = answer.text.replace("\r\n ", "").split("\r\n")
                assert not any(line.startswith("SUMMARY:zqxforged") for line in lines), link
                assert all(re.match(r"^[A-Z-]+[:;]|^$", line) for line in lines), link
                found["calendars"] += 1
            elif kind == "application/pdf":
                path = tmp_path / "print.pdf"
                path.write_bytes(answer.content)
                text = subprocess.run(
                    ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
                ).stdout
                assert "root:" not in text, link
                found["prints"] += 1
    assert found["journals"] == 3
    assert found["prints"] >= 3
    counted("bad words in journals, tables, calendars, prints", forms=forms, taken=taken, **found, forged=0)
