"""The command that opens the demo."""

from __future__ import annotations

import shutil

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
        from driveout.demo.actions import fill

        desk = ctx.obj.apart("demo")
        if fresh and desk.home.exists():
            shutil.rmtree(desk.home)
        fill(desk.store)
        if not serve:
            return Answer({"home": str(desk.home)}, [f"The demo record is in {desk.home}."])
        answer: Answer = desk.serve(port, browser)
        return answer
