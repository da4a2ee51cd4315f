"""A help page: its title, and its text turned into safe HTML."""

from __future__ import annotations

import posixpath
from collections.abc import Collection
from dataclasses import dataclass

from markdown_it import MarkdownIt
from markdown_it.token import Token

from driveout.errors import BadEntry


@dataclass(frozen=True)
class Document:
    """One help page as it was written.

    Parameters
    ----------
    path
        Where it stands among the help pages, for example ``method/value.md``.
    title
        Its first line.
    text
        The rest, in CommonMark with tables.
    """

    path: str
    title: str
    text: str

    @property
    def shelf(self) -> str:
        """What kind of page it is: ``method``, ``formats``, ``guide``; empty for a single page."""
        return posixpath.dirname(self.path)

    @property
    def slug(self) -> str:
        """Its name in an address."""
        return posixpath.basename(self.path).removesuffix(".md")

    @property
    def address(self) -> str:
        """Where it is shown."""
        return f"/help/{self.shelf}/{self.slug}" if self.shelf else f"/help/{self.slug}"


def titled(path: str, written: str) -> Document:
    """Split a written page into its title and its text.

    Parameters
    ----------
    path
        Where it stands among the help pages.
    written
        The whole file.

    Returns
    -------
    Document
        The page.

    Raises
    ------
    BadEntry
        If it does not begin with ``# Title``.
    """
    first, _, rest = written.lstrip().partition("\n")
    if not first.startswith("# "):
        raise BadEntry(f"The help page {path} does not begin with '# Title'.", field="path", value=path)
    return Document(path, first[2:].replace("`", "").strip(), rest.strip())


def as_html(document: Document, sources: Collection[str] = ()) -> str:
    """Turn a page into HTML that holds nothing but what CommonMark allows.

    Raw HTML in the text is shown as text. Links between pages follow the addresses of the help;
    a shelf key in code marks leads to its source; wide tables scroll by themselves.

    Parameters
    ----------
    document
        The page.
    sources
        Keys on the shelf.

    Returns
    -------
    str
        Markup, ready to be put into a page.
    """
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(document.text)
    for token in tokens:
        if token.children:
            token.children = [new for child in token.children for new in _linked(child, document, sources)]
    return str(reader.renderer.render(_framed(tokens, document.title), reader.options, {}))


def _linked(token: Token, document: Document, sources: Collection[str]) -> list[Token]:
    if token.type == "link_open":
        token.attrSet("href", _address(str(token.attrGet("href")), document))
        return [token]
    if token.type == "code_inline" and token.content in sources:
        opening = Token("link_open", "a", 1, attrs={"href": f"/help/sources#{token.content}"})
        return [opening, token, Token("link_close", "a", -1)]
    return [token]


def _address(link: str, document: Document) -> str:
    """Where a link between written pages leads inside the help."""
    target, mark, place = link.partition("#")
    if "://" in link or not target.endswith(".md"):
        return link
    path = posixpath.normpath(posixpath.join(document.shelf, target)).lstrip("./")
    return Document(path, "", "").address + mark + place


def _framed(tokens: list[Token], title: str) -> list[Token]:
    """Put each table into a box of its own that scrolls and can be reached by keyboard."""
    framed: list[Token] = []
    tables = 0
    for token in tokens:
        if token.type == "table_open":
            tables += 1
            attributes: dict[str, str | int | float] = {
                "class": "wide",
                "role": "region",
                "tabindex": "0",
                "aria-label": f"{title}, table {tables}",
            }
            framed.append(Token("box_open", "div", 1, attrs=attributes, block=True))
        framed.append(token)
        if token.type == "table_close":
            framed.append(Token("box_close", "div", -1, block=True))
    return framed
