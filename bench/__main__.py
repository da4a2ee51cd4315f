"""Runs one bench: ``python -m bench NAME [ARGUMENTS] [--json]``."""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path


def main(words: list[str]) -> int:
    names = sorted(path.stem for path in Path(__file__).parent.glob("[a-z]*.py"))
    as_json = "--json" in words
    rest = [word for word in words if word != "--json"]
    if not rest or rest[0] not in names:
        print(f"usage: python -m bench NAME [--json]; names: {', '.join(names)}", file=sys.stderr)
        return 2
    result = importlib.import_module(f"bench.{rest[0]}").run(rest[1:])
    if as_json:
        print(json.dumps(result))
    else:
        for key, value in result.items():
            print(f"{key:24} {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
