"""The app as AppTest runs it, over a data folder of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from streamlit.util import calc_hash

from jartest.field.files import Offer
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.settings import open_recorder, read_settings

REPO = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty data folder; caches are emptied, which would otherwise outlive a test."""
    monkeypatch.setenv("JARTEST_HOME", str(tmp_path / "home"))
    st.cache_resource.clear()
    st.cache_data.clear()
    yield tmp_path / "home"
    st.cache_resource.clear()
    st.cache_data.clear()


@pytest.fixture
def kept(home: Path) -> Iterator[Recorder]:
    """A recorder of our own over the same folder, to put records in and to see what was kept."""
    recorder = open_recorder(read_settings())
    yield recorder
    recorder.store.close()


@pytest.fixture
def screen() -> Callable[..., AppTest]:
    """Opens one screen by the last part of its address."""

    def open_one(path: str, *, name: str = "Wren", **query: str) -> AppTest:
        app = AppTest.from_file(str(REPO / "app.py"), default_timeout=30)
        app._page_hash = calc_hash(
            "" if path == "bench" else path
        )  # AppTest's own way knows page files alone
        for key, value in query.items():
            app.query_params[key] = value
        if name:
            app.session_state[state.NAME] = name
        return app.run()

    return open_one


@pytest.fixture
def offered() -> Callable[[AppTest], dict[str, Offer]]:
    """The files that a screen offers, by the labels of their buttons."""

    def look(app: AppTest) -> dict[str, Offer]:
        assert not app.exception, app.exception[0].message
        kept = app.session_state
        said = kept[state.OFFERS] if state.OFFERS in kept else {}  # noqa: SIM401 (it has no get)
        return dict(said.values())

    return look
