"""The house rules that a machine can see."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest

from driveout.sources import HOW_KNOWN, shelf

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "driveout"


def modules(pattern: str) -> list[Path]:
    return sorted(SOURCE.glob(pattern))


@pytest.mark.parametrize(
    "path",
    [*modules("*/actions.py"), *modules("*/actions/*.py")],
    ids=lambda path: "-".join(path.relative_to(SOURCE).parts),
)
def test_actions_open_only_their_own_folders_records(path: Path) -> None:
    imported = re.findall(
        r"from driveout\.(\w+) import [^\n]*\brecords\b|from driveout\.(\w+)\.records", path.read_text()
    )
    assert {name for pair in imported for name in pair if name} <= {path.relative_to(SOURCE).parts[0]}


def test_every_source_on_the_shelf_says_how_it_is_known() -> None:
    assert {source.how_known for source in shelf().values()} <= set(HOW_KNOWN)
    assert all(source.title for source in shelf().values())


def cited_keys() -> dict[str, set[str]]:
    """Keys cited in docstrings (``References``) and in data files (``source:``), with where."""
    found: dict[str, set[str]] = {}
    for path in modules("**/*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, (ast.FunctionDef, ast.ClassDef, ast.Module)):
                continue
            text = ast.get_docstring(node) or ""
            block = re.search(r"References\n-+\n(.*?)(?:\n\n[A-Z]|\Z)", text, re.S)
            for line in block.group(1).splitlines() if block else []:
                if re.match(r"[a-z0-9]+(-[a-z0-9]+)+\b[,:. ]", line.strip() + " "):
                    found.setdefault(re.match(r"[a-z0-9-]+", line.strip()).group(0), set()).add(path.name)  # type: ignore[union-attr]
    for path in [*modules("*/data/**/*.yaml"), *modules("*/data/**/*.toml")]:
        for key in re.findall(
            r"^\s*(?:-\s*)?source\s*[:=]\s*[\"']?([a-z0-9]+(?:-[a-z0-9]+)+)", path.read_text(), re.M
        ):
            found.setdefault(key, set()).add(path.name)
    return found


def test_every_cited_source_is_on_the_shelf() -> None:
    missing = {key: sorted(where) for key, where in cited_keys().items() if key not in shelf()}
    assert not missing


def test_every_shipped_data_file_says_where_its_numbers_come_from() -> None:
    """A file (or a row of it) names its origin: a shelf key, common practice, or from memory."""
    uncited = [
        str(path.relative_to(ROOT))
        for path in [*modules("*/data/**/*.yaml"), *modules("*/data/**/*.toml")]
        if not re.search(r"\b(basis|origin|source|from memory|common practice)\b", path.read_text())
    ]
    assert not uncited


def test_lock_files_name_no_host() -> None:
    for name in ("requirements.lock", "requirements-dev.lock"):
        assert "://" not in (ROOT / name).read_text()


def test_every_folder_of_the_house_has_a_place_in_the_layer_contract() -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    named = set(re.findall(r"\w+", " ".join(contracts[0]["layers"])))
    folders = {path.name for path in SOURCE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert folders <= named


def test_no_folder_is_a_dumping_ground() -> None:
    names = {part for path in modules("**/*.py") for part in (path.stem, path.parent.name)}
    assert not names & {"utils", "helpers", "common", "core", "manager", "service", "handle", "misc"}
