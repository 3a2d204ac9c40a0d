"""A jar's own code for phones: scan it, take the photo, done."""

from __future__ import annotations

import streamlit as st

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.field.network import qr_svg
from jartest.records.model import JarTest
from jartest.settings import read_settings

__all__ = ["draw_phone"]


def draw_phone(test: JarTest) -> None:
    """The QR code of this test's capture page, and its address as text."""
    with st.expander("Take it with a phone"):
        settings = read_settings()
        path = link_path(Access(settings.home), test)
        if not settings.phone_url:
            st.markdown(
                "Phones reach this app once it is started with `jartest app --lan`. "
                f"On this machine the plain camera page is at `{path}`."
            )
            return
        url = f"{settings.phone_url}{path}"
        st.image(qr_svg(url).decode(), width=260, alt=f"QR code of the camera page of jar {test.number}")
        st.markdown(
            f"Scan it with a phone on this network: one large button, no code to type. `{url}`\n\n"
            "It adds photos to this test and can do nothing else; it lapses when the test is signed or stopped."
        )
