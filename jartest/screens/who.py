"""Who works at this device: asked once, kept in the browser, put under every act."""

from __future__ import annotations

import streamlit as st

from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import plain
from jartest.screens.web import web_text

__all__ = ["ask_login", "ask_name", "name", "say_who"]

_mount = st.components.v2.component("jartest_name", js=web_text("name.js"))


def ask_login() -> bool:
    """Whether somebody has yet to sign in, which is asked for where the shop has set up its own login."""
    if st.user.to_dict().get("is_logged_in") is not False:
        return False
    st.markdown("## Sign in")
    st.markdown("This shop asks its people to sign in; your name then goes under everything you do here.")
    st.button("Sign in", type="primary", on_click=st.login)
    return True


def _login_name() -> str:
    user = st.user.to_dict()
    return str(user.get("name") or user.get("email") or "")[:80] if user.get("is_logged_in") else ""


def name() -> str:
    """The name of whoever is signed in, or else the one given at this device, or nothing."""
    return _login_name() or str(state.get(state.NAME, ""))


def say_who() -> None:
    """One line that says who works here, and the way to another name; nothing where nobody is named yet."""
    if _login_name():
        st.button(f"Working as {plain(name())} · sign out", on_click=st.logout, type="tertiary")
    elif name():
        st.button(
            f"Working as {plain(name())} · change",
            key=state.key("name", "change"),
            on_click=_forget,
            type="tertiary",
        )


def ask_name(recorder: Recorder, *, said: bool = True) -> None:
    """One line that says who works here, unless that is `said` elsewhere; where nobody does yet, the question."""
    if _login_name():
        if said:
            say_who()
        return
    with st.container(key="name-kept"):
        kept = _mount(
            key=state.key("name", "kept"),
            data={"name": name(), "forget": bool(state.get(state.NAME_FORGET))},
            on_kept_change=lambda: None,
        ).get("kept")
    if isinstance(kept, str) and kept.strip() and not name():
        state.put(state.NAME, kept.strip()[:80])
        st.rerun()
    if name():
        if said:
            say_who()
        return
    with st.container(border=True, key="who"):
        typed = state.key("name", "typed")
        st.text_input(
            "Who are you? Your name goes under everything you do here; it is asked once.",
            key=typed,
            on_change=_take_typed,
            args=(typed,),
            placeholder="First name is enough; then Enter",
            max_chars=80,
        )
        people = recorder.people()[:6]
        if people:
            with st.container(horizontal=True):
                for i, person in enumerate(people):
                    st.button(plain(person), key=state.key("name", i), on_click=_take, args=(person,))


def _take(person: str) -> None:
    if person.strip():
        state.put(state.NAME, person.strip())
        state.put(state.NAME_FORGET, False)


def _take_typed(typed: str) -> None:
    _take(str(state.get(typed, "")))


def _forget() -> None:
    state.put(state.NAME, "")
    state.put(state.NAME_FORGET, True)
