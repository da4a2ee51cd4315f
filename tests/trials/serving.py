"""Kills a server while a form is on its way; ``python -m tests.trials.serving HOME KILLS SEED URL``."""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import sys
import threading
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import uvicorn

from driveout.app import ready_store, web_app
from driveout.cars.actions import add_car
from tests.trials.killing import AT, numbers_kept


def serve(app: Any, listener: socket.socket) -> None:
    """Serve until killed."""
    uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off")).run(sockets=[listener])


class Visitor:
    """A browser that sends receipts."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.cookie = ""
        self.token = ""

    def ask(self, method: str, path: str, body: str = "") -> tuple[int, str]:
        """One request on a connection of its own."""
        connection = http.client.HTTPConnection("localhost", self.port, timeout=20)
        headers = {"Cookie": self.cookie, "Content-Type": "application/x-www-form-urlencoded"}
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        if answer.getheader("set-cookie"):
            self.cookie = str(answer.getheader("set-cookie")).split(";")[0]
        connection.close()
        return answer.status, text

    def arrive(self) -> None:
        """Wait for the server and open a page for its token."""
        for _ in range(400):
            try:
                status, text = self.ask("GET", "/adverts/new")
            except OSError:
                time.sleep(0.02)
                continue
            assert status == 200
            self.token = text.split('name="csrf" value="')[1].split('"')[0]
            return
        raise AssertionError("the server did not start")

    def book(self, car_id: int, number: int) -> bool:
        """Send one receipt; True when the server answered that it is booked."""
        fields = {"csrf": self.token, "kind": "parts", "amount": "12.50", "what": f"receipt {number}"}
        fields |= {"day": str(AT.date()), "quantity": "1", "line": "", "core": "", "shop": ""}
        try:
            status, text = self.ask("POST", f"/cars/{car_id}/money/receipt", urlencode(fields))
        except (OSError, http.client.HTTPException):
            return False
        assert status == 303, text[-2000:]
        return True


def run(home: Path, kills: int, seed: int, url: str | None) -> dict[str, Any]:
    """Kill that many servers, each while receipts arrive."""
    chance = random.Random(seed)
    store = ready_store(home, url)
    with store.writing() as tx:
        car_id = add_car(tx, name="car", currency="USD", at=AT).id
    app = web_app(store)
    store.close()  # no connection may be shared with the servers that are forked off
    answered: set[int] = set()
    sent = 0
    for _ in range(kills):
        listener = socket.create_server(("127.0.0.1", 0))
        port = listener.getsockname()[1]
        child = os.fork()
        if child == 0:
            try:
                serve(app, listener)
            finally:
                os._exit(1)
        listener.close()
        visitor = Visitor(port)
        visitor.arrive()
        for _ in range(2):
            sent += 1
            assert visitor.book(car_id, sent)
            answered.add(sent)
        killer = threading.Timer(chance.uniform(0.0, 0.12), os.kill, (child, signal.SIGKILL))
        killer.start()
        while True:
            sent += 1
            if not visitor.book(car_id, sent):
                break
            answered.add(sent)
        killer.join()
        os.waitpid(child, 0)
    kept = numbers_kept(store, car_id)
    store.close()
    return {"kills": kills, "answered": len(answered), "lost": len(answered - kept)}


if __name__ == "__main__":
    where, how_many, seed_text, address = sys.argv[1:]
    print(json.dumps(run(Path(where), int(how_many), int(seed_text), None if address == "-" else address)))
