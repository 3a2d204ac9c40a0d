"""Starting the app: Streamlit with settings that keep it on this machine and quiet."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
import webbrowser
from pathlib import Path

__all__ = ["serve", "streamlit_flags"]

_LOCAL = ("localhost", "127.0.0.1")


def streamlit_flags(*, port: int) -> list[str]:
    """The settings to run the app under, as arguments of `streamlit run`."""
    said = {
        "server.address": "127.0.0.1",
        "server.port": str(port),
        "server.headless": "true",  # no prompt, no outside look-up; the browser is opened by us
        "server.maxUploadSize": "40",  # MB; imaging.photo refuses more as well
        "server.disconnectedSessionTTL": "14400",  # s; a phone may sleep between two looks
        "server.fileWatcherType": "none",
        "server.enableStaticServing": "false",
        "browser.serverAddress": "localhost",
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "viewer",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",  # they would carry the message to an outside site
        "theme.base": "light",  # black on white is what can be read in the sun
        "theme.primaryColor": "#0b3d2e",
        "theme.textColor": "#111111",
        "theme.baseFontSize": "17",
    }
    flags = [f"--{name}={value}" for name, value in said.items()]
    # Repeated, not a list in one: a list in one is taken for a single host name.
    return flags + [f"--server.allowedHosts={host}" for host in _LOCAL]


def serve(script: Path, *, port: int, open_browser: bool) -> int:
    """Run the app until it is stopped; the exit status of its server."""
    command = [sys.executable, "-m", "streamlit", "run", str(script), *streamlit_flags(port=port)]
    url = f"http://localhost:{port}"
    print(f"jartest is at {url}; stop it with Ctrl+C.", flush=True)
    with subprocess.Popen(command) as server:
        if open_browser:
            threading.Thread(target=_open_when_ready, args=(url, server), daemon=True).start()
        try:
            return server.wait()
        except KeyboardInterrupt:
            server.terminate()
            return 0


def _open_when_ready(url: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(120):
        if server.poll() is not None:
            return
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=1):
                webbrowser.open(url)
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.5)
