"""Opens a record on a disk that cannot be written; prints its counts as JSON.

``python -m tests.trials.only_read HOME mount|rights``.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from driveout.app import ready_store, web_app
from driveout.app import run as command
from driveout.demo.actions import fill
from driveout.errors import StoreTrouble
from driveout.store import keep_daily_copy, write_archive
from tests.trials.full_disk import mount, note

PAGES = ("/", "/money", "/cars/2/advert", "/cars/2/repairs", "/cars/1/money", "/cars/1/trail", "/cars/2/sale")


def run(home: Path, how: str) -> dict[str, Any]:
    """Fill a record, take the right to write away, read every page, try to write."""
    outside = home.parent / "outside"
    outside.mkdir()
    if how == "mount":
        mount(home)
    url = f"sqlite:///{home / 'driveout.db'}"
    store = ready_store(home, url)
    fill(store)
    with TestClient(web_app(store), base_url="http://localhost") as client:
        client.get("/")
    store.close()
    if how == "mount":
        subprocess.run(["mount", "-o", "remount,ro", str(home)], check=True)
    else:
        for path in (*home.rglob("*"), home):
            path.chmod(0o555 if path.is_dir() else 0o444)
    counts = {"pages read": 0, "writes refused": 0, "changed": 0}
    before = (home / "driveout.db").read_bytes()
    store = ready_store(home, url)
    assert keep_daily_copy(store) is None
    message = ""
    try:
        note(store, 1, "no")
    except StoreTrouble as error:
        message = error.message
    assert "can be read but not changed" in message
    assert "--home" in message, "the message says what to do"
    counts["writes refused"] += 1
    with TestClient(web_app(store), base_url="http://localhost") as client:
        for address in PAGES:
            assert client.get(address).status_code == 200, address
            counts["pages read"] += 1
        token = client.get("/adverts/new").text.split('name="csrf" value="')[1].split('"')[0]
        fields = {"csrf": token, "kind": "parts", "amount": "12.50", "what": "Kept", "shop": ""}
        fields |= {"day": "2026-05-04", "quantity": "1", "line": "", "core": ""}
        answer = client.post("/cars/2/money/receipt", data=fields)
        assert answer.status_code == 503
        assert "can be read but not changed" in answer.text
        counts["writes refused"] += 1
    write_archive(store, outside / "moved.zip")
    store.close()
    assert command(["--home", str(home), "check"]) == 2, "the check says that it cannot be written"
    counts["changed"] = int((home / "driveout.db").read_bytes() != before)
    if how != "mount":
        for path in (home, *home.rglob("*")):
            path.chmod(0o755)
    return counts


if __name__ == "__main__":
    print(json.dumps(run(Path(sys.argv[1]), sys.argv[2])))
