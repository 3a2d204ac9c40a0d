"""Every key of the session's state, in one place; state holds choices and ids, never records."""

from __future__ import annotations

from typing import Any

import streamlit as st

__all__ = ["HERE", "NAME", "NAME_FORGET", "OFFERS", "PAGES", "clear", "get", "key", "put"]

_PREFIX = "jartest"
NAME = f"{_PREFIX}.name"  # who works at this device
NAME_FORGET = f"{_PREFIX}.name.forget"  # tells the browser to forget it
OFFERS = f"{_PREFIX}.offers"  # the files on offer, by the keys of their buttons
HERE = f"{_PREFIX}.here"  # the last part of the address of the screen that is drawn
PAGES = f"{_PREFIX}.pages"  # the pages of this run, by the last part of their address


def key(*parts: object) -> str:
    """The key of one choice: a group first, then ever narrower, such as `jartest.new.row2.name`."""
    return ".".join([_PREFIX, *(str(p) for p in parts)])


def get(name: str, default: Any = None) -> Any:
    """The choice kept under this key, or the default."""
    return st.session_state.get(name, default)


def put(name: str, value: Any) -> None:
    """Keep a choice."""
    st.session_state[name] = value


def clear(*parts: object) -> None:
    """Forget a whole group of choices."""
    group = key(*parts)
    for name in [k for k in st.session_state if str(k) == group or str(k).startswith(f"{group}.")]:
        del st.session_state[name]
