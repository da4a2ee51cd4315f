"""Fetching the help pages, which come with the package."""

from __future__ import annotations

from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from driveout.errors import BadEntry, StoreTrouble
from driveout.guide.documents import Document, titled
from driveout.guide.methods import methods_behind

# The package built for others carries the pages inside; in a checkout they stand beside the source.
IN_PACKAGE = resources.files("driveout.guide").joinpath("docs")
IN_CHECKOUT = Path(__file__).parents[3] / "docs"
KINDS = ("guide", "method", "formats")
SINGLE = ("commands", "settings", "words", "licences", "trials")


@cache
def documents() -> dict[str, Document]:
    """Read every help page, by its path such as ``method/value.md``.

    Returns
    -------
    dict[str, Document]
        The pages in the order of their kinds, then by title.

    Raises
    ------
    StoreTrouble
        If the installation carries no help pages.
    """
    base: Traversable = IN_PACKAGE if IN_PACKAGE.is_dir() else IN_CHECKOUT
    if not base.is_dir():
        raise StoreTrouble("This installation carries no help pages; install driveout again.")
    found = []
    for kind in KINDS:
        pages = [
            titled(f"{kind}/{file.name}", file.read_text("utf-8"))
            for file in base.joinpath(kind).iterdir()
            if file.name.endswith(".md")
        ]
        found += sorted(pages, key=lambda page: page.title)
    for name in SINGLE:
        if base.joinpath(f"{name}.md").is_file():
            found.append(titled(f"{name}.md", base.joinpath(f"{name}.md").read_text("utf-8")))
    return {page.path: page for page in found}


def document(path: str) -> Document:
    """Fetch one help page; `BadEntry` if there is none."""
    if path not in documents():
        raise BadEntry(f"There is no help page {path!r}.", field="path", value=path)
    return documents()[path]


def methods() -> dict[str, tuple[tuple[str, str], ...]]:
    """Name the method pages behind each page, with their titles."""
    titles = {page.slug: page.title for page in documents().values() if page.shelf == "method"}
    return methods_behind(titles)
