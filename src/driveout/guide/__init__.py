"""Help inside: the guide, a page for each method, the map, commands and sources."""

from driveout.guide.documents import Document, as_html, titled
from driveout.guide.methods import METHODS, methods_behind

__all__ = ["METHODS", "Document", "as_html", "methods_behind", "titled"]
