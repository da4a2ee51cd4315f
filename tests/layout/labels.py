"""Every label on a screen, taken from the templates; run it to write docs/labels.md anew, then read what changed."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
LIST = ROOT / "docs" / "labels.md"
HEAD = """# Labels

Every heading, field, button, column and caption of every page, by the folder that draws it. Each was read against
[the words](words.md): an ordinary word of the trade, of bookkeeping, of statistics or of an open standard, and none
that rings of a program. A new label stops the tests until this list is written anew and read.

"""
# Words coined by, or ringing of, programs of this trade; and marks that judge by colour, letter or star.
AVOIDED = (
    r"\bflip|\brecon\b|tracker|\bscore|after.repair value|\brepair order|\bRO\b|bay board|\blane\b|pipeline|deal jacket"
    r"|\b(good|fair|great) deal|\bsmart|\bAI\b|dashboard|\bkanban|\bgauge cluster|traffic light|\bstars?\b|\bpro\b|\bmax\b"
)
PATTERNS = (
    r"<(?:h[1-4]|label|button|summary|th|caption|legend|dt)\b[^>]*>(.*?)</",
    r"{% block title %}(.*?){% endblock %}",
    r"kit\.(?:field|area|choice|tick|whole|day)\(\s*[^,()]+?,\s*\"([^\"]+)\"",
    r"kit\.(?:button|opened|caution)\(\s*\"([^\"]+)\"",
    r"kit\.form\([^()]*?,\s*\"([^\"]+)\"",
    r"kit\.table\(\s*\"([^\"]+)\"",
    r"aria-label=\"([^\"{]+)\"",
)
HEADS = r"kit\.table\([^\[(]*[\[(]((?:\s*\"[^\"]*\",?)+)\s*[\])]"
CHAPTER = r"Chapter\(\s*\"[^\"]+\",\s*\"([^\"]+)\""


def labels() -> dict[str, list[str]]:
    """Labels by folder, each once, in the order of the alphabet."""
    found: dict[str, set[str]] = {}
    for path in sorted((ROOT / "src" / "driveout").glob("*/templates/**/*.html")):
        text = path.read_text("utf-8")
        here = [match for pattern in PATTERNS for match in re.findall(pattern, text, re.S)]
        here += [word for head in re.findall(HEADS, text) for word in re.findall(r"\"([^\"]+)\"", head)]
        found.setdefault(path.relative_to(ROOT / "src" / "driveout").parts[0], set()).update(map(plain, here))
    for path in sorted((ROOT / "src" / "driveout").glob("*/pages.py")):
        found.setdefault(path.parent.name, set()).update(re.findall(CHAPTER, path.read_text("utf-8")))
    return {
        folder: sorted(word for word in words if re.search("[A-Za-z]{2}", word))
        for folder, words in found.items()
    }


def plain(text: str) -> str:
    """A label without markup; what the record fills in is shown as three dots."""
    text = re.sub(r"{%.*?%}", " ", text, flags=re.S)
    text = re.sub(r"{{.*?}}", " … ", text, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text)).strip()


def listed() -> str:
    """The text of docs/labels.md as it should be."""
    return (
        HEAD
        + "\n\n".join(
            f"## {folder}\n\n" + "\n".join(f"- {word}" for word in words)
            for folder, words in labels().items()
            if words
        )
        + "\n"
    )


if __name__ == "__main__":
    LIST.write_text(listed(), "utf-8")
