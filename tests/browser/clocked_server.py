"""Serves `clocked_app.py` as `jartest app` serves the app; its one argument is the port."""

import sys
from pathlib import Path

from clocked import opened

from jartest.screens.launch import serve
from jartest.settings import read_settings

if __name__ == "__main__":
    script = Path(__file__).with_name("clocked_app.py")
    serve(script, read_settings(), port=int(sys.argv[1]), open_browser=False, opened=opened)
