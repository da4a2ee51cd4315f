"""Puts everything together: the command line, the web application, the store and its hooks."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import secrets
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from typer.main import get_command

from driveout.answer import Answer
from driveout.errors import BadEntry, BadRows, DriveoutError, StoreTrouble

if TYPE_CHECKING:
    from fastapi import FastAPI

    from driveout.store import Store, Tx
    from driveout.web.frame import Changed
    from driveout.web.gate import Visitor
    from driveout.web.listening import Listening

# The parts of the job that have pages or commands of their own, in the order of the job.
PARTS = (
    "yard",
    "hunt",
    "faults",
    "viewing",
    "outlook",
    "rules",
    "repairs",
    "workshop",
    "parts",
    "money",
    "market",
    "selling",
    "lessons",
    "wear",
    "cars",
    "crew",
    "guide",
    "simulate",
    "demo",
)


def home_folder() -> Path:
    """Folder that holds the record; ``DRIVEOUT_HOME`` moves it."""
    return Path(os.environ.get("DRIVEOUT_HOME") or Path.home() / "driveout-home")


def database_url(home: Path) -> str:
    """Address of the record; ``DRIVEOUT_DATABASE`` names a PostgreSQL instead of the file."""
    return os.environ.get("DRIVEOUT_DATABASE") or f"sqlite:///{home / 'driveout.db'}"


def ready_store(home: Path, url: str | None = None, clock: Callable[[], datetime] | None = None) -> Store:
    """Open the record, bring it to the present schema and tie the living outlook to every write.

    Parameters
    ----------
    home
        Folder of the record.
    url
        Address when it is not the file in that folder.
    clock
        Gives the present moment; tests hand in their own.

    Returns
    -------
    Store
        The record, ready for use.

    Raises
    ------
    StoreTrouble
        If it cannot be opened or its append-only guards are missing.
    """
    from driveout.outlook import actions as outlook_actions
    from driveout.store import missing_guards, open_store, upgrade

    store = open_store(url or database_url(home), home, clock)
    upgrade(store)
    missing = missing_guards(store)
    if missing:
        raise StoreTrouble(
            f"The guards of {', '.join(missing)} are missing; restore the record from a backup."
        )

    def refresh_outlooks(tx: Tx, touched: dict[int, list[str]]) -> None:
        for car_id, reasons in touched.items():
            outlook_actions.refresh(tx, car_id, "; ".join(reasons), at=store.now())

    store.before_commit.append(refresh_outlooks)
    return store


class Desk:
    """What commands work on: the record, opened only when one needs it.

    Parameters
    ----------
    home
        Folder of the record.
    url
        Address of the record when it is not the default one.
    """

    def __init__(self, home: Path, url: str | None = None) -> None:
        self.home = home
        self._url = url
        self._store: Store | None = None

    @property
    def store(self) -> Store:
        """The record."""
        if self._store is None:
            self._store = ready_store(self.home, self._url)
        return self._store

    def apart(self, name: str) -> Desk:
        """A desk with a SQLite record of its own in a folder below, as the demo needs."""
        home = self.home / name
        return Desk(home, f"sqlite:///{home / 'driveout.db'}")

    def serve(self, port: int, browser: bool) -> Answer:
        """Serve the record's pages on this machine until stopped."""
        from driveout.web.listening import Listening

        return serve_store(self.store, Listening(port=port), browser)

    def reading(self) -> AbstractContextManager[Tx]:
        """Open a transaction that changes nothing."""
        return self.store.reading()

    def writing(self) -> AbstractContextManager[Tx]:
        """Open a transaction that is written whole or not at all, after the day's copy is made."""
        from driveout.store import keep_daily_copy

        with suppress(StoreTrouble):
            keep_daily_copy(self.store)
        return self.store.writing()

    def now(self) -> datetime:
        """Present moment, aware, UTC."""
        return self._store.now() if self._store else datetime.now(UTC)


def _modules(kind: str) -> Iterator[Any]:
    for part in PARTS:
        name = f"driveout.{part}.{kind}"
        if importlib.util.find_spec(f"driveout.{part}") and importlib.util.find_spec(name):
            yield importlib.import_module(name)


def _secret(home: Path) -> bytes:
    """Key of the form tokens, made once and readable by the owner only."""
    path = home / "secret"
    try:
        return path.read_bytes()
    except FileNotFoundError:
        home.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(32))
        return path.read_bytes()


def _version() -> str:
    try:
        return version("driveout")
    except PackageNotFoundError:
        return "from the source folder"


def web_app(store: Store, listening: Listening | None = None) -> FastAPI:
    """Build the web application on a record.

    Parameters
    ----------
    store
        The record.
    listening
        Where it is reached; on this machine only when left out.

    Returns
    -------
    FastAPI
        The application, with the gate around it.
    """
    from fastapi import Depends, FastAPI, Request
    from fastapi.exceptions import RequestValidationError
    from fastapi.responses import JSONResponse, Response
    from fastapi.staticfiles import StaticFiles
    from starlette.exceptions import HTTPException

    from driveout.crew import Tries
    from driveout.crew.pages import demand, demand_own
    from driveout.crew.roles import OWNER, role_at
    from driveout.guide.actions import methods as behind_the_numbers
    from driveout.web.frame import Frame, page, status_of
    from driveout.web.gate import Gate, Visitor
    from driveout.web.listening import Listening

    package = Path(__file__).parent
    where = listening or Listening()
    app = FastAPI(
        title="driveout",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        dependencies=[Depends(demand)],
    )
    app.state.listening = where
    app.state.tries = Tries()
    modules = list(_modules("pages"))
    chapters = sorted(
        (c for m in modules for c in getattr(m, "CHAPTERS", ())), key=lambda chapter: chapter.order
    )
    folders = {part: str(package / part / "templates") for part in ("web", *PARTS)}
    app.state.frame = Frame(
        store, _secret(store.home), folders, tuple(chapters), _car_top, _version(), behind_the_numbers()
    )
    app.state.frame.demand = demand_own
    app.state.frame.may = lambda role, address: role == "owner" or role_at(address) != OWNER
    app.state.frame.noted = _note_act
    app.state.frame.last_change = _last_change
    app.state.store = store
    app.state.page_routes = [route for module in modules for route in _routes_of(module.router)]
    for module in modules:
        app.include_router(module.router, include_in_schema=False)
        if hasattr(module, "api"):
            app.include_router(module.api)
    app.mount("/static", StaticFiles(directory=package / "web" / "static"), name="static")

    def answer(request: Request, status: int, heading: str, error: DriveoutError) -> Response:
        if request.url.path.startswith("/api"):
            return JSONResponse(error.as_dict(), status)
        back = request.headers.get("referer", "/")
        return page(request, "web/trouble.html", heading=heading, error=error, back=back, status=status)

    @app.exception_handler(DriveoutError)
    async def refused(request: Request, error: DriveoutError) -> Response:
        missing = isinstance(error, BadEntry) and error.field == "car" and request.method == "GET"
        return answer(request, 404 if missing else status_of(error), "Not done", error)

    @app.exception_handler(HTTPException)
    async def not_there(request: Request, error: HTTPException) -> Response:
        words = (
            f"There is no page {request.url.path[:100]!r} here."
            if error.status_code == 404
            else str(error.detail)
        )
        return answer(request, error.status_code, "Not here", DriveoutError(words))

    @app.exception_handler(RequestValidationError)
    async def unreadable(request: Request, error: RequestValidationError) -> Response:
        entries = [
            BadEntry(
                f"{item['msg']}.",
                field=".".join(str(step) for step in item["loc"]),
                value=str(item.get("input"))[:80],
            )
            for item in error.errors()
        ]
        return answer(
            request, 422, "Not understood", BadRows(entries, "The request could not be understood.")
        )

    def refuse(status: int, sentence: str, as_json: bool) -> tuple[bytes, bytes]:
        if as_json:
            return b"application/json", json.dumps(DriveoutError(sentence).as_dict()).encode()
        text = (
            "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>"
            "<title>driveout</title><link rel=stylesheet href=/static/driveout.css>"
            f"<main class=book><h1>{'Pair this phone first' if status == 401 else 'Not done'}</h1><p>{sentence}</p><p>"
            + ("<a href=/pair>I have a code</a>" if status == 401 else "<a href=/>To the yard</a>")
            + "</p></main></html>"
        )
        return b"text/html; charset=utf-8", text.encode()

    app.add_middleware(
        Gate,
        hosts=where.hosts,
        refuse=refuse,
        device_of=lambda cookies: _device(store, where, cookies),
        on_lan=where.on_lan,
        at_desk=Visitor(os.environ.get("DRIVEOUT_PERSON", "")[:80]),
    )
    return app


def _device(store: Store, where: Listening, cookies: str) -> Visitor | None:
    """The paired phone that shows its key; notes every few minutes that it was here."""
    from http.cookies import CookieError, SimpleCookie

    from driveout.crew.actions import device_of, is_long_unseen, mark_seen
    from driveout.crew.pages import device_cookie
    from driveout.web.gate import Visitor

    try:
        shown = SimpleCookie(cookies).get(device_cookie(where.is_encrypted))
    except CookieError:
        return None
    if shown is None or len(shown.value) > 200:
        return None
    with store.reading() as tx:
        device = device_of(tx, shown.value)
    if device is None:
        return None
    if is_long_unseen(device, store.now()):
        # A disk that cannot be written must not keep the person from reading.
        with suppress(DriveoutError), store.writing() as tx:
            mark_seen(tx, device.id, at=store.now())
    return Visitor(device.person.name, device.person.role, device.id)


def _note_act(tx: Tx, visitor: Visitor, path: str, at: datetime) -> None:
    """Keep who changed what belongs to no car; a car keeps it in its own trail."""
    from driveout.crew.actions import note_act

    if not path.startswith("/cars/"):
        note_act(tx, visitor.name, path, at=at)


def _last_change(tx: Tx, path: str) -> Changed | None:
    """Who changed what stands at an address last: by the car's trail, or by the list of other changes."""
    from driveout.cars.actions import trail_of
    from driveout.crew.actions import last_act
    from driveout.web.frame import Changed

    parts = path.split("/")
    if parts[1] == "cars" and len(parts) > 2 and parts[2].isdigit():
        event = next(iter(trail_of(tx, int(parts[2]), limit=1)), None)
        return None if event is None else Changed(event.at, event.data.get("by", ""), event.summary)
    act = last_act(tx, path)
    return None if act is None else Changed(act.at, act.person)


def _routes_of(router: Any) -> Iterator[Any]:
    """Routes of a router and of the routers it is made of."""
    for route in router.routes:
        inner = getattr(route, "original_router", None)
        if inner is None:
            yield route
        else:
            yield from _routes_of(inner)


def _car_top(tx: Tx, car_id: int) -> dict[str, Any]:
    """What stands above every page of a car: name, stage, the next thing to do and the outlook strip."""
    from driveout.store import remembered

    return dict(remembered(tx, ("car top", car_id), lambda: _new_car_top(tx, car_id), car=car_id))


def _new_car_top(tx: Tx, car_id: int) -> dict[str, Any]:
    from markupsafe import Markup

    from driveout.cars.actions import get_car
    from driveout.outlook.pages import strip
    from driveout.yard.actions import next_for

    car = get_car(tx, car_id)
    step = next_for(tx, car)
    return {
        "name": car.name,
        "stage": car.stage,
        "strip": Markup(strip(tx, car_id)),
        "next": step.what,
        "because": step.because,
        "next_link": step.link,
    }


def command_line() -> typer.Typer:
    """Build the command line from the commands of every part."""
    cli = typer.Typer(
        name="driveout",
        help="One used car from advert to sale. Every command takes --json.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
    )

    @cli.callback()
    def prepare(
        ctx: typer.Context,
        home: Path | None = typer.Option(
            None, help="Folder of the record (default: DRIVEOUT_HOME or ~/driveout-home)."
        ),
    ) -> None:
        ctx.obj = Desk(home or home_folder())

    @cli.command()
    def serve(
        ctx: typer.Context,
        port: int = typer.Option(8321, min=1, max=65535),
        browser: bool = typer.Option(False, help="Open the page in a browser."),
        lan: bool = typer.Option(
            False, "--lan", help="Let paired phones on the network in; pair them on the page Crew."
        ),
        address: str = typer.Option("", help="With --lan: address or name of this machine to listen on."),
        certificate: Path | None = typer.Option(
            None, help="With --lan: certificate file (PEM); encrypts the way between phone and machine."
        ),
        key: Path | None = typer.Option(None, help="Key file (PEM) of the certificate."),
    ) -> Answer:
        """Serve the pages on this machine, and with --lan to paired phones."""
        from driveout.web.listening import Listening, on_lan

        if (certificate is None) != (key is None):
            raise BadEntry("A certificate needs its key and a key its certificate.", field="certificate")
        if (address or certificate) and not lan:
            raise BadEntry("--address and --certificate belong to --lan. Add --lan.", field="lan")
        where = on_lan(address, port, certificate is not None) if lan else Listening(port=port)
        return serve_store(ctx.obj.store, where, browser, certificate, key)

    @cli.command()
    def backup(ctx: typer.Context, file: Path) -> Answer:
        """Write everything into one archive while work goes on."""
        from driveout.store import write_archive

        manifest = write_archive(ctx.obj.store, file)
        rows = sum(facts["rows"] for facts in manifest["tables"].values())
        return Answer(
            manifest,
            [f"Wrote {file}: {rows:,} rows, {manifest['attachments']} attachments, each with its checksum."],
        )

    @cli.command()
    def restore(ctx: typer.Context, file: Path) -> Answer:
        """Fill an empty record from an archive and prove it by checksum."""
        from driveout.store import open_store
        from driveout.store import restore as fill

        home = ctx.obj.home
        manifest = fill(file, open_store(database_url(home), home))
        rows = sum(facts["rows"] for facts in manifest["tables"].values())
        lines = [f"Restored {rows:,} rows into {home}; every checksum agrees."]
        if manifest["missing"]:
            lines.append(
                f"{len(manifest['missing'])} photos are not in this copy: put the old home's folder "
                f"attachments into {home}, then run  driveout check"
            )
        return Answer(manifest, lines)

    @cli.command()
    def check(ctx: typer.Context) -> Answer:
        """Say what is wrong with the installation, the record or the shipped knowledge."""
        return _check(ctx.obj)

    for module in _modules("commands"):
        module.register(cli)
    return cli


def _check(desk: Desk) -> Answer:
    from driveout.cars.actions import broken_trails, list_cars, trail_of
    from driveout.store import Attachments, daily_copies, missing_guards, revision_of, strays
    from driveout.store.installation import clock_troubles, file_troubles, folder_troubles, python_troubles

    troubles = [*python_troubles(), *folder_troubles(desk.home), *file_troubles(Path(__file__).parent)]
    try:
        store = desk.store
    except StoreTrouble as error:
        raise StoreTrouble("\n".join([*troubles, error.message])) from error
    with store.reading() as tx:
        known = list_cars(tx)
        cars = len(known)
        last = [event.at for car in known for event in trail_of(tx, car.id, limit=1)]
        troubles += clock_troubles(store.now(), max(last, default=None))
        troubles += [
            f"The trail of car {car} does not hold at event {seq}." for car, seq in broken_trails(tx).items()
        ]
        missing, unreferred = strays(tx, store.home)
    troubles += [f"The photo {name[:12]} of {place} is missing." for name, place in missing.items()]
    troubles += [f"The guard of {table} is missing." for table in missing_guards(store)]
    attachments = Attachments(store.home / "attachments")
    for name in attachments.names():
        try:
            attachments.get(name)
        except StoreTrouble as error:
            troubles.append(error.message)
    newest = max(daily_copies(store.home), default=None)
    data = {
        "revision": revision_of(store),
        "cars": cars,
        "troubles": troubles,
        "version": _version(),
        "photos_without_a_place": unreferred,
        "newest_daily_copy": newest.isoformat() if newest else None,
    }
    if troubles:
        raise StoreTrouble("\n".join(troubles))
    lines = [f"Whole: {cars} cars, schema {data['revision']}, every trail and attachment holds."]
    lines.append("Python, packages, folder, disk, clock and shipped files are in order.")
    if unreferred:
        lines.append(f"{len(unreferred)} photos belong to nothing, as a loss of power leaves them; harmless.")
    lines.append(f"Newest daily copy: {newest or 'none yet'}.")
    return Answer(data, lines)


def serve_store(
    store: Store,
    where: Listening,
    browser: bool,
    certificate: Path | None = None,
    key: Path | None = None,
) -> Answer:
    """Serve a record until stopped: on the loopback address, and on the network's when wanted."""
    import threading
    import webbrowser

    import uvicorn

    from driveout.web.listening import sockets_of

    for file in (certificate, key):
        if file is not None:
            file.open("rb").close()
    opened = sockets_of(where)
    address = where.url()
    sys.stderr.write(f"driveout is at {address}  (Ctrl-C stops it)\n")
    for name in where.names[:1]:
        sys.stderr.write(f"paired phones reach it at {where.url(name)}; pair them on {address}crew\n")
        if not where.is_encrypted:
            sys.stderr.write("the way to them is not encrypted: use your own network only\n")
    if browser:
        threading.Timer(1.0, webbrowser.open, [address]).start()
    config = uvicorn.Config(
        web_app(store, where),
        log_level="warning",
        access_log=False,
        server_header=False,
        # What other servers say about the caller is not believed: it would decide who is the owner.
        proxy_headers=False,
        ssl_certfile=certificate,
        ssl_keyfile=key,
    )
    try:
        uvicorn.Server(config).run(sockets=opened)
    finally:
        for one in opened:
            one.close()
    return Answer({"stopped": True}, ["Stopped."])


@contextmanager
def _plain_exit() -> Iterator[None]:
    """Do not let a closed pipe end in a traceback."""
    try:
        yield
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


def run(arguments: list[str]) -> int:
    """Carry out one command line and print its answer.

    Parameters
    ----------
    arguments
        Words after the command's name; ``--json`` may stand anywhere before ``--``.

    Returns
    -------
    int
        0 done, 1 refused (the entry can be put right), 2 wrong usage or trouble with the record.
    """
    # The command-line library carries its own click; its public exceptions lead to the common base.
    refusals: Any = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
    end = arguments.index("--") if "--" in arguments else len(arguments)
    as_json = "--json" in arguments[:end]
    words = [word for i, word in enumerate(arguments) if not (word == "--json" and i < end)]
    try:
        result = get_command(command_line())(words, prog_name="driveout", standalone_mode=False)
    except DriveoutError as error:
        _say(error.as_dict(), str(error), as_json, sys.stdout if as_json else sys.stderr)
        return 2 if isinstance(error, StoreTrouble) else 1
    except (typer.Exit, SystemExit) as leave:
        return int(getattr(leave, "exit_code", getattr(leave, "code", 0)) or 0)
    except (typer.Abort, KeyboardInterrupt):
        sys.stderr.write("Stopped.\n")
        return 2
    except refusals as error:
        usage = str(error.format_message())
        _say(
            {"error": {"kind": "usage", "message": usage}},
            usage,
            as_json,
            sys.stdout if as_json else sys.stderr,
        )
        return 2
    except OSError as error:
        message = f"{error.strerror or error}: {error.filename}" if error.filename else str(error)
        _say(
            {"error": {"kind": "file", "message": message}},
            message,
            as_json,
            sys.stdout if as_json else sys.stderr,
        )
        return 1
    if isinstance(result, Answer):
        _say(result.data, "\n".join(result.lines), as_json, sys.stdout)
    return 0 if not isinstance(result, int) else result


def _say(data: dict[str, Any], text: str, as_json: bool, stream: Any) -> None:
    stream.write(
        (json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) if as_json else text) + "\n"
    )


def main() -> None:
    """Entry of the command ``driveout``."""
    # Small matrices only: more threads cost more than they bring, and must be set before the first is made.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with _plain_exit():
        sys.exit(run(sys.argv[1:]))
