"""Signatures: this shop's own key to give out, and the keys of others that are known here."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.signing import fingerprint, read_key_text, say_key_text
from jartest.field.network import qr_svg
from jartest.recorder import Recorder
from jartest.records.model import KnownKey
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.who import name
from jartest.settings import own_key, read_settings

__all__ = ["draw_keys"]


def draw_keys(recorder: Recorder) -> None:
    """Whose signatures are known, a new one to take in, and this shop's own."""
    known = recorder.store.known_keys()
    with st.expander(f"Signatures ({len(known)} known)"):
        st.markdown(
            "An answer that is not signed could have been written by anybody who had the question. Whoever answers for "
            "you makes a key once and sends you its line; from then on you see that an answer is theirs."
        )
        for key in known:
            _draw_known(recorder, key)
        _draw_new(recorder)
        _draw_own()


def _draw_known(recorder: Recorder, key: KnownKey) -> None:
    with st.container(border=True, key=f"key-{key.key[:12]}"):
        speaks = "everybody there" if key.of_shop else "this person alone"
        st.markdown(f"**{plain(key.name)}** · signs for {speaks}")
        st.caption(f"Check: {fingerprint(key.key)} · taken in by {plain(key.by)}, {clock(key.at)}")
        if st.button("Forget this key", key=state.key("keys", "forget", key.key[:12])):
            recorder.store.forget_key(key.key)
            st.rerun()


def _draw_new(recorder: Recorder) -> None:
    turn = int(state.get(state.key("keys", "turn"), 0))
    line = st.text_input(
        "A key's line, as it was sent to you", key=state.key("keys", "line", turn), max_chars=400
    )
    if not line.strip():
        return
    with error_box() as box:
        said, key = read_key_text(line)
    if box.error:
        return
    called = st.text_input("Whose key is it?", value=said, key=state.key("keys", "name", turn), max_chars=80)
    of_shop = st.checkbox(
        "It is a whole shop's: it signs for everybody there", key=state.key("keys", "shop", turn)
    )
    st.caption(f"Check: {fingerprint(key)}. Have it read out to you by its owner, over the phone.")
    if st.button("Know this key", key=state.key("keys", "know"), type="primary", width="stretch"):
        with error_box():
            if not (called.strip() and name()):
                st.error("Write whose key it is, and your own name above.", icon=":material/block:")
                return
            kept = KnownKey(
                key=key, name=" ".join(called.split()), of_shop=of_shop, at=recorder.now(), by=name()
            )
            recorder.store.keep_key(kept)
            state.put(state.key("keys", "turn"), turn + 1)
            st.rerun()


def _draw_own() -> None:
    st.markdown("#### This shop's own key")
    shop = st.text_input(
        "Name of the shop, for the key's line", key=state.key("keys", "own-name"), max_chars=80
    )
    if not shop.strip():
        return
    with error_box():
        key = own_key(read_settings()).public
        line = say_key_text(shop, key)
        st.markdown("Give this line once to each shop that you answer; answers made here are signed with it.")
        st.code(line, language=None, wrap_lines=True)
        st.image(qr_svg(line).decode(), width=240, alt="QR code of the key's line")
        st.caption(f"Check: {fingerprint(key)}")
