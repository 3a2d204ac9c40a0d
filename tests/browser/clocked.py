"""A recorder on a clock that a test sets ahead: seconds in the file that JARTEST_TEST_AHEAD names."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from jartest.recorder import Recorder
from jartest.settings import Settings, open_recorder


def opened(settings: Settings) -> Recorder:
    """The recorder over these settings, its clock ahead by what the file says at that moment."""
    usual, ahead = open_recorder(settings), Path(os.environ["JARTEST_TEST_AHEAD"])

    def clock() -> datetime:
        return datetime.now(UTC) + timedelta(seconds=float(ahead.read_text("utf-8")))

    return Recorder(store=usual.store, photos=usual.photos, limits=usual.limits, clock=clock)
