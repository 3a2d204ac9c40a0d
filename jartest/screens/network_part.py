"""How phones and people on the network come in: the address, its code to scan, and the access code."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from urllib.parse import urlsplit

import streamlit as st

from jartest.field.access import Access
from jartest.field.gate import THIS_MACHINE, is_passed_on
from jartest.field.network import qr_svg
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.settings import Settings, read_settings

__all__ = ["draw_network"]


def draw_network() -> None:
    """The address to scan; and, at the shop's own screen alone, a new access code."""
    settings = read_settings()
    if not settings.phone_url:
        st.markdown(
            "This app serves this machine alone. Stop it and start it with `jartest app --lan`: then phones and "
            "people on the shop's network reach it, and the code to scan is here."
        )
        return
    st.image(
        qr_svg(settings.phone_url).decode(), width=220, alt="QR code of the app's address on the network"
    )
    st.markdown(
        f"On the network the app is at `{settings.phone_url}`. Who opens it is asked for the access code."
    )
    if _is_the_shops_screen():
        _new_code(settings)
        _devices(settings)
    else:
        st.caption(
            "A new access code is made at the shop's own screen: there, under Help; devices are shown out there too."
        )


def _new_code(settings: Settings) -> None:
    st.caption(
        "The access code was shown when the app was first started for the network; it is kept nowhere. With a new "
        "one, whoever came in with the old one has to give the new one. Photos by a jar's own code need none."
    )
    if st.button("Make a new access code", key=state.key("help", "code")):
        with error_box():
            code = Access(settings.home).make_code()
            with st.container(key="chip-none-code", gap=None):
                st.markdown(f"Access code: {code}")
                st.caption("write it down now; it is not shown again")


def _devices(settings: Settings) -> None:
    access = Access(settings.home)
    listed = access.passes(time.time())
    if not listed:
        st.caption("No device has come in by the code yet.")
        return
    st.markdown(
        "**Devices that came in by the code.** One that is lost is shown out here; it stays out until it gives the code again."
    )
    for one in listed:
        since = clock(datetime.fromtimestamp(one.given_s, UTC))
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"{plain(one.device)} · from {plain(one.address)} · since {plain(since)}")
            if st.button(f"Show it out: {plain(one.device)}, {since}", key=state.key("help", "out", one.id)):
                access.void_pass(one.id)
                st.rerun()


def _is_the_shops_screen() -> bool:
    """Whether this page is looked at on the machine that the app runs on, with nothing in between."""
    host = urlsplit(st.context.url or "").hostname
    return host in THIS_MACHINE and not st.context.ip_address and not is_passed_on(st.context.headers)
