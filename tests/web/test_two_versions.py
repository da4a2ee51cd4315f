"""Two people change the same thing: the later one sees both, and decides."""

from __future__ import annotations

import re

from starlette.testclient import TestClient

from driveout.app import web_app
from driveout.cars.actions import get_car
from driveout.demo.actions import fill
from driveout.faults.actions import network_for
from driveout.rules import default_rules
from driveout.rules.actions import rules_of
from driveout.store import Store
from driveout.web.both_versions import standing_form, typed_beside
from tests.conftest import Browser

PAGE = """
<form method="post" action="/x" aria-label="Row one"><input type="hidden" name="csrf" value="c">
<input type="hidden" name="row" value="1"><input type="hidden" name="version" value="4">
<label for="f-a">Amount <span class="unit">[USD]</span></label><input id="f-a" name="a" value="12&amp;3">
</form>
<form method="post" action="/x"><input type="hidden" name="row" value="2"><input type="hidden" name="version" value="9">
<label for="f-a2">Amount</label><input id="f-a2" name="a" value="7">
<label for="f-c">Kind</label><select id="f-c" name="c"><option value="p">Parts</option><option value="s" selected>Supplies</option></select>
<label for="f-t">Words</label><textarea id="f-t" name="t">
first line
second</textarea>
<p class="tick"><label><input type="checkbox" name="k" value="yes" checked> Counts</label></p>
</form>
<form method="post" action="/y"><input name="a" value="no"><input type="hidden" name="version" value="1"></form>
"""


def test_the_form_of_the_same_row_is_found_among_others() -> None:
    found = standing_form(PAGE, "/x", {"row": "2", "version": "8", "a": "5", "c": "p", "t": "mine"})

    assert found is not None
    assert found.version == "9"
    sides = typed_beside({"row": ["2"], "a": ["5"], "c": ["p"], "t": ["mine"]}, found)
    assert [(s.label, s.typed, s.stands) for s in sides] == [
        ("Amount", "5", "7"),
        ("Kind", "Parts", "Supplies"),
        ("Words", "mine", "first line\nsecond"),
        ("Counts", "", "yes"),
    ]
    assert all(side.differs for side in sides)


def test_marks_of_the_page_are_read_as_the_browser_reads_them() -> None:
    found = standing_form(PAGE, "/x", {"row": "1", "version": "3", "a": "12&3"})

    assert found is not None
    assert [(s.label, s.differs) for s in typed_beside({"a": ["12&3"]}, found)] == [("Amount [USD]", False)]


def test_a_row_that_is_gone_has_no_form() -> None:
    assert standing_form(PAGE, "/x", {"row": "3", "version": "1"}) is None


def fields_of(text: str, action: str) -> dict[str, str]:
    form = text.split(f'action="{action}"', 1)[1].split("</form>", 1)[0]
    found = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and not ('type="checkbox"' in tag and " checked" not in tag):
            found[name.group(1)] = value.group(1) if value else ""
    return found


def test_rules_changed_by_two_stand_side_by_side_and_mine_goes_over_only_when_said(
    browser: Browser, store: Store
) -> None:
    mine = fields_of(browser.get("/rules"), "/rules")
    other = Browser(TestClient(web_app(store), base_url="http://localhost:8321"))
    theirs = {**fields_of(other.get("/rules"), "/rules"), "csrf": other.token(), "wage_per_hour": "31"}
    other.post("/rules", theirs)

    shown = browser.post("/rules", {**mine, "wage_per_hour": "44", "loss_chance": "0.11"}, status=409)
    assert "What you typed" in shown
    assert "What stands now" in shown
    row = re.search(r"What an own hour must bring.*?<td>([^<]*)</td><td>([^<]*)</td>", shown, re.S)
    assert row
    assert row.groups() == ("44", "31")
    assert "Put mine over it" in shown
    assert "Keep theirs" in shown

    with store.reading() as tx:
        assert rules_of(tx, "USD").rules.wage_per_hour == 3100
    over = fields_of(shown.replace('aria-label="Put mine over it"', ""), "/rules")
    assert over["loss_chance"] == "0.11"
    browser.post("/rules", over)
    with store.reading() as tx:
        kept = rules_of(tx, "USD").rules
    assert kept.wage_per_hour == 4400
    assert kept.loss_chance == 0.11
    assert kept.hours_per_week == default_rules("USD").hours_per_week


def test_keeping_theirs_changes_nothing_and_leads_back(browser: Browser, store: Store) -> None:
    answer = browser.client.post(
        "/crew/keep",
        data={"csrf": browser.token(), "back": "http://evil.example/rules?currency=USD"},
        follow_redirects=False,
    )

    assert answer.headers["location"] == "/rules?currency=USD"


def test_the_way_back_never_leaves_the_house(browser: Browser) -> None:
    for back in ("//evil.example/", "https://evil.example//evil.example", "/\\evil.example", "evil", ""):
        answer = browser.client.post(
            "/crew/keep", data={"csrf": browser.token(), "back": back}, follow_redirects=False
        )
        assert not re.match(r"(//|/\\|[a-z])", answer.headers["location"]), back


def test_what_was_typed_comes_back_as_text_never_as_markup(browser: Browser, store: Store) -> None:
    mine = fields_of(browser.get("/rules"), "/rules")
    other = Browser(TestClient(web_app(store), base_url="http://localhost:8321"))
    other.post("/rules", {**fields_of(other.get("/rules"), "/rules"), "csrf": other.token()})

    shown = browser.post("/rules", {**mine, "wage_per_hour": "1<script>alert(2)</script>"}, status=422)
    assert "<script>alert" not in shown


def test_a_finding_taken_back_by_another_is_said_with_who(browser: Browser, store: Store) -> None:
    fill(store)
    text = browser.get("/cars/2/faults")
    page = re.search(r'name="row" value="(\d+)".*?name="version" value="(\d+)"', text, re.S)
    if page is None:
        browser.post("/cars/2/faults/finding", first_finding(store))
        text = browser.get("/cars/2/faults")
        page = re.search(r'name="row" value="(\d+)".*?name="version" value="(\d+)"', text, re.S)
    assert page
    row = {"row": page.group(1), "version": page.group(2)}
    browser.post("/cars/2/faults/take-back", row)

    assert browser.client.post(
        "/cars/2/faults/take-back", data={**row, "csrf": browser.token()}
    ).status_code in (409, 422)


def first_finding(store: Store) -> dict[str, str]:
    with store.reading() as tx:
        network = network_for(tx, get_car(tx, 2))
    name, finding = next(iter(network.finding.items()))
    return {"finding": name, "outcome": finding.outcomes[0]}
