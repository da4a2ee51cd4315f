"""The command that opens the demo."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import typer

from driveout.answer import Answer


def register(cli: typer.Typer) -> None:
    """Add the command ``demo``."""

    @cli.command()
    def demo(
        ctx: typer.Context,
        port: int = typer.Option(8321, min=1, max=65535, help="Port on this machine."),
        browser: bool = typer.Option(True, help="Open the page in a browser."),
        fresh: bool = typer.Option(False, help="Begin the demo anew; your own record is never touched."),
        serve: bool = typer.Option(True, help="Serve the pages; without it the demo record is only made."),
    ) -> Answer:
        """Open an invented car on a record of its own."""
        from driveout.app import ready_store, serve_store
        from driveout.demo.actions import fill

        home: Path = ctx.obj.home / "demo"
        if fresh and home.exists():
            shutil.rmtree(home)
        store = ready_store(
            home, os.environ.get("DRIVEOUT_DEMO_DATABASE") or f"sqlite:///{home / 'driveout.db'}"
        )
        fill(store)
        if not serve:
            return Answer({"home": str(home)}, [f"The demo record is in {home}."])
        return serve_store(store, port, browser)
