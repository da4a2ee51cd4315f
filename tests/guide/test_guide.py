"""The help tells of everything there is, and what it shows works."""

from __future__ import annotations

import re
import shlex
from html import unescape
from pathlib import Path

import pytest

from driveout.app import run
from driveout.demo.actions import fill
from driveout.errors import BadEntry
from driveout.guide import METHODS, as_html, titled
from driveout.guide.actions import documents
from driveout.sources import shelf
from driveout.store import Store
from tests.conftest import Browser

ROOT = Path(__file__).parents[2]
NEEDED = ("**Question.**", "## Assumptions", "## Sources", "## Checks it passed", "## When not to trust it")


def guide() -> str:
    return documents()["guide/one-car.md"].text


def commands_in(text: str) -> list[str]:
    """Commands that a page shows between fences."""
    blocks = re.findall(r"^```\n(.*?)^```", text, re.S | re.M)
    return [line for block in blocks for line in block.splitlines() if line.startswith("driveout ")]


def test_html_in_a_page_is_shown_as_text_and_leads_nowhere() -> None:
    page = titled("method/x.md", "# X\n\n<script>alert(1)</script> [a](javascript:alert(1)) [b](y.md#z)\n")

    html = as_html(page)

    assert "<script" not in html
    assert 'href="javascript' not in html
    assert 'href="/help/method/y#z"' in html


def test_a_page_without_a_title_is_refused() -> None:
    with pytest.raises(BadEntry, match=r"method/x\.md"):
        titled("method/x.md", "words")


def test_a_shelf_key_leads_to_its_source() -> None:
    key = next(iter(shelf()))

    assert f'href="/help/sources#{key}"' in as_html(titled("x.md", f"# X\n\nSee `{key}`."), shelf())


@pytest.mark.parametrize("path", [path for path in documents() if path.startswith("method/")])
def test_a_method_page_answers_the_six_questions(path: str) -> None:
    text = documents()[path].text

    assert [mark for mark in NEEDED if mark not in text] == []


def test_every_method_page_is_behind_some_page_and_every_named_one_exists() -> None:
    written = {page.slug for page in documents().values() if page.shelf == "method"}

    assert {name for names in METHODS.values() for name in names} == written


def test_the_guide_visits_every_chapter(browser: Browser) -> None:
    chapters = [chapter.title for chapter in browser.client.app.state.frame.chapters]  # type: ignore[attr-defined]

    assert len(chapters) > 10
    assert [title for title in chapters if title not in guide()] == []


def test_every_command_that_the_guide_shows_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    shown = [
        line for page in documents().values() if page.shelf == "guide" for line in commands_in(page.text)
    ]

    assert len(shown) >= 3
    for line in shown:
        assert run(shlex.split(line)[1:]) == 0, f"{line}: {capsys.readouterr().err}"


def test_every_setting_is_told_and_every_told_one_is_read() -> None:
    files = [*ROOT.glob("src/**/*.py"), ROOT / "dev.py", *ROOT.glob("tests/**/conftest.py")]
    read = {name for file in files for name in re.findall(r"DRIVEOUT_[A-Z_]+", file.read_text("utf-8"))}
    told = set(re.findall(r"DRIVEOUT_[A-Z_]+", documents()["settings.md"].text))

    assert told == read


def test_the_map_names_every_page_with_a_sentence(browser: Browser) -> None:
    page = unescape(browser.get("/help/map"))

    routes = [
        route.path
        for route in browser.client.app.state.page_routes  # type: ignore[attr-defined]
        if "GET" in route.methods
    ]
    assert len(routes) > 50
    assert [path for path in routes if f">{path}</th>" not in page] == []
    assert "<td></td>" not in page


def test_every_link_inside_the_help_leads_somewhere(browser: Browser, store: Store) -> None:
    fill(store)
    seen: set[str] = set()
    ahead = ["/help"]
    while ahead:
        address = ahead.pop()
        seen.add(address)
        text = browser.get(address)
        for link in re.findall(r'href="(/help[^"]*)"', text):
            target, _, place = link.partition("#")
            assert not place or address == target or f'id="{place}"' in browser.get(target), link
            if target not in seen and target not in ahead:
                ahead.append(target)
    assert len(seen) >= len(documents()) + 4


@pytest.mark.parametrize("path", ["/help/method/nothing", "/help/nothing", "/help/nothing/at-all"])
def test_a_page_that_is_not_there_is_said(browser: Browser, path: str) -> None:
    assert browser.client.get(path).status_code == 404


def test_a_chapter_leads_to_the_methods_behind_it(browser: Browser, store: Store) -> None:
    fill(store)

    for chapter in (
        "advert",
        "outlook",
        "viewing",
        "faults",
        "repairs",
        "work",
        "plan",
        "money",
        "value",
        "sale",
    ):
        page = browser.get(f"/cars/2/{chapter}")
        assert all(f'href="/help/method/{name}"' in page for name in METHODS[chapter]), chapter


def test_the_list_for_other_programs_names_every_question(browser: Browser) -> None:
    page = browser.get("/help/api")

    paths = browser.client.get("/api/openapi.json").json()["paths"]
    assert len(paths) > 10
    assert all(path in page.replace("&#123;", "{").replace("&#125;", "}") for path in paths)
