"""Starting the app: Streamlit, the phones' plain pages, and the gate before both, in one server."""

from __future__ import annotations

import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware

from jartest.errors import BadEntry, StoreFault
from jartest.field.access import Access
from jartest.field.cameras import begin_cameras
from jartest.field.capture import Inbox, capture_routes, desk_routes
from jartest.field.entry import entry_routes
from jartest.field.files import file_routes
from jartest.field.gate import THIS_MACHINE, Gate, Rules
from jartest.field.policy import Policy, inline_digests
from jartest.field.server import make_server, more_open_files
from jartest.field.strips import FILMS, strip_routes
from jartest.field.unread import read_unread
from jartest.imaging.camera import UsbCamera
from jartest.recorder import Recorder
from jartest.settings import Settings, open_recorder

__all__ = ["make_app", "serve", "server_options"]


def server_options(
    *, port: int, hosts: tuple[str, ...] = (), tls: tuple[Path, Path] | None = None
) -> dict[str, Any]:
    """Streamlit's settings: for this machine alone, or for a network that calls it by `hosts`."""
    said: dict[str, Any] = {
        "server.address": "0.0.0.0" if hosts else "127.0.0.1",
        "server.port": port,
        "server.headless": True,  # no prompt, no outside look-up; the browser is opened by us
        "server.allowedHosts": [*THIS_MACHINE, *hosts],
        "server.maxUploadSize": 40,  # MB; imaging.photo refuses more as well
        "server.disconnectedSessionTTL": 14400,  # s; a phone may sleep between two looks
        "server.fileWatcherType": "none",
        "server.enableStaticServing": False,
        # Named, because Streamlit otherwise asks an outside server for this machine's address.
        "browser.serverAddress": hosts[0] if hosts else "localhost",
        "browser.gatherUsageStats": False,
        "client.toolbarMode": "viewer",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": False,  # they would carry the message to an outside site
        "theme.base": "light",  # black on white is what can be read in the sun
        "theme.primaryColor": "#0b3d2e",
        "theme.textColor": "#111111",
        "theme.baseFontSize": 17,
    }
    if tls is not None:
        said |= {"server.sslCertFile": str(tls[0]), "server.sslKeyFile": str(tls[1])}
    return said


def make_app(
    script: Path,
    settings: Settings,
    rules: Rules,
    opened: Callable[[Settings], Recorder] = open_recorder,
) -> st.App:
    """The whole server over one data folder; what cannot be opened is said before it starts."""
    page = Path(st.__file__).with_name("static") / "index.html"
    inbox, access = Inbox(opened(settings), ticks=time.monotonic), Access(settings.home)
    return st.App(
        script,
        routes=[
            *capture_routes(inbox, access),
            *desk_routes(inbox, access),
            *entry_routes(access),
            *file_routes(),
            *strip_routes(inbox.recorder.strip),
            *strip_routes(inbox.recorder.filmstrip, FILMS),
        ],
        middleware=[
            Middleware(Gate, access=access, rules=rules),
            Middleware(Policy, digests=inline_digests(page)),
        ],
    )


def serve(
    script: Path,
    settings: Settings,
    *,
    port: int,
    open_browser: bool,
    hosts: tuple[str, ...] = (),
    tls: tuple[Path, Path] | None = None,
    opened: Callable[[Settings], Recorder] = open_recorder,
) -> None:
    """Run the app until it is stopped; `opened` gives what the routes for photos keep them with.

    Raises
    ------
    BadEntry
        If the port is taken.
    """
    from streamlit.web import bootstrap

    app = make_app(script, settings, Rules(hosts=hosts), opened)
    threading.Thread(target=_in_background, args=(settings, opened), daemon=True).start()
    options = server_options(port=port, hosts=hosts, tls=tls)
    bootstrap.load_config_options(options)
    more_open_files()
    try:
        server, listener = make_server(app, host=options["server.address"], port=port, tls=tls)
    except OSError as e:
        msg = f"Port {port} is taken, perhaps by a jartest that runs already; stop that, or give another --port."
        raise BadEntry(msg) from e
    url = f"{'https' if tls else 'http'}://localhost:{port}"
    print(f"jartest is at {url}; stop it with Ctrl+C.", flush=True)
    if open_browser:
        threading.Thread(target=_open_when_ready, args=(url, port), daemon=True).start()
    with suppress(KeyboardInterrupt), listener:
        server.run(sockets=[listener])


def _in_background(settings: Settings, opened: Callable[[Settings], Recorder]) -> None:
    """Read what an earlier stop left unread, and run the cameras, while the app serves already."""

    def say(text: str) -> None:
        print(text, flush=True)

    with suppress(StoreFault):  # a store that fails is said by whatever is done next
        recorder = opened(settings)
        begin_cameras(recorder, settings.home, UsbCamera, say)
        done = read_unread(recorder, say=say)
        if done.read:
            say(f"Read {done.read} photos that the last stop had left unread.")


def _open_when_ready(url: str, port: int) -> None:
    for _ in range(120):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            webbrowser.open(url)
            return
        time.sleep(0.5)
