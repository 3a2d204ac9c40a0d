"""How soon the screens of the owner's evening stand, over a large store, in a real browser of two sizes.

First content is what a person can begin to read: the first sentence or line of the answer, after the app's own
frame is there (each screen is gone to by a tap from the bench).
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from fill_history import fill
from playwright.sync_api import Page, sync_playwright

SIZES = {"desktop": (1280, 900), "phone": (390, 844)}
# Each screen: what is tapped for it, and what its first content says.
SCREENS = {
    "all tests": (("link", "All tests"), r"found, newest first"),
    "what stands out": (("link", "History"), r"keeps failing \("),
    "pairs": (("radio", "Pairs"), r"pairs were tried"),
    "one product": (("radio", "One product"), r"Pick a product"),
    "approved": (("radio", "Approved"), r"passed in the newest signed test"),
    "suspects": (("radio", "Suspects and next jar"), r"Weighing|to blame|Open:|Most likely|explain"),
    "before the season": (("radio", "Before the season"), r"planned mixtures"),
    "how good are we": (("radio", "How good are we"), r"By the newest tests"),
}


@contextmanager
def served(home: Path) -> Iterator[str]:
    """The app over this data folder, by its own command."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    command = [sys.executable, "-m", "jartest", "app", "--port", str(port), "--no-browser"]
    server = subprocess.Popen(
        command, env=os.environ | {"JARTEST_HOME": str(home)}, stdout=subprocess.DEVNULL
    )
    try:
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"http://localhost:{port}/_stcore/health", timeout=1):
                    break
            except (urllib.error.URLError, OSError):
                time.sleep(0.2)
        yield f"http://localhost:{port}"
    finally:
        server.terminate()
        server.wait(timeout=20)


def measure(page: Page, url: str) -> dict[str, float]:
    """Seconds from the tap to the first content, of each screen."""
    page.goto(url)
    page.get_by_role("link", name="History", exact=True).wait_for()
    found = {}
    for name, ((role, label), says) in SCREENS.items():
        page.wait_for_timeout(1500)  # what stood before is drawn to its end
        target = page.get_by_role(role, name=label, exact=True).first  # type: ignore[arg-type]
        start = time.perf_counter()
        target.click()
        page.get_by_text(re.compile(says)).first.wait_for()
        found[name] = time.perf_counter() - start
    return found


def main() -> None:
    """Fill a store, weigh it, open the screens, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tests", type=int, default=2_000)
    parser.add_argument("--products", type=int, default=40)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--json", action="store_true", help="one JSON object")
    said = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("no chromium on this machine; nothing was measured")
    found: dict[str, object] = {"tests": said.tests, "load_before": os.getloadavg()[0]}
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        minutes = 3 * 365 * 24 * 60 // said.tests  # three seasons
        fill(home / "jartest.sqlite", said.tests, said.seed, products=said.products, apart_min=minutes)
        with served(home) as url, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
            )
            for name, (width, height) in {"first visit": SIZES["desktop"], **SIZES}.items():
                page = browser.new_context(viewport={"width": width, "height": height}).new_page()
                page.set_default_timeout(60_000)
                times = measure(page, url)
                found[name] = {k: round(v, 2) for k, v in times.items()}
                page.context.close()
            browser.close()
    found["load_after"] = os.getloadavg()[0]
    print(json.dumps(found) if said.json else "\n".join(f"{k:>14}  {v}" for k, v in found.items()))


if __name__ == "__main__":
    main()
