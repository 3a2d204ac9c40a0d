"""Saved searches: opened by one tap, saved under a name, taken away by name."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from jartest.recorder import Recorder
from jartest.records.saved_looks import LookScreen, SavedLook
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.who import ask_name, name

__all__ = ["draw_keeping", "draw_looks"]


def draw_looks(recorder: Recorder, screen: LookScreen, choices: Sequence[str]) -> None:
    """A button for each look that was saved of this screen."""
    saved = recorder.saved_looks(screen)
    if not saved:
        return
    st.caption("Saved searches")
    with st.container(horizontal=True, gap="small", key="looks"):
        for look in saved:
            st.button(
                plain(look.name),
                key=state.key(screen, "look", look.key),
                icon=":material/bookmark:",
                help=f"Saved by {plain(look.by)}, {clock(look.at)}.",
                on_click=_open,
                args=(look, tuple(choices)),
            )


def _open(look: SavedLook, choices: Sequence[str]) -> None:
    """Put the choices of a look in place of those that stand; what it leaves out is cleared."""
    for choice in choices:
        value = look.choices.get(choice)
        if value is None:
            state.clear(look.screen, choice)
        else:
            state.put(state.key(look.screen, choice), value)
    state.clear(look.screen, "page")


def draw_keeping(recorder: Recorder, screen: LookScreen, choices: Sequence[str], *, ask: bool = True) -> None:
    """Save what is chosen now under a name; take a saved look away.

    `ask` for who works here; not where the screen does so itself, as one page can ask only once.
    """
    with st.expander("Save this search, or remove one"):
        typed = state.key(screen, "look name")
        st.text_input("Name of the search", key=typed, max_chars=60, placeholder="Copper that failed")
        if ask:
            ask_name(recorder)
        by = name()
        if st.button("Save this search", key=state.key(screen, "look save"), width="stretch"):
            now = {c: state.get(state.key(screen, c)) for c in choices}
            with error_box() as box:
                recorder.save_look(
                    str(state.get(typed, "")), screen, {c: v for c, v in now.items() if v is not None}, by=by
                )
            if box.error is None:
                st.rerun()
        for look in recorder.saved_looks(screen):
            said = f"Take away “{plain(look.name)}” (saved by {plain(look.by)}, {clock(look.at)})"
            if st.button(said, key=state.key(screen, "look gone", look.key), type="tertiary"):
                with error_box() as box:
                    recorder.remove_look(look.name, screen, by=by)
                if box.error is None:
                    st.rerun()
