"""The reference card offered for printing."""

from __future__ import annotations

from functools import partial

import streamlit as st

from jartest.exchange.pdf import Paper
from jartest.exchange.reference_card_pdf import reference_card_pdf
from jartest.screens import state
from jartest.screens.save_button import save_button

__all__ = ["draw_card_download"]

_PAPERS: dict[Paper, str] = {"letter": "Letter", "a4": "A4"}


def draw_card_download(place: str) -> None:
    """What the card is for, and the card in both paper sizes."""
    st.markdown(
        "Stand it behind the jar and the photo tells millimeters, perspective and the color of the light by itself. "
        "Print it at 100 %, check its rule of 120 mm, glue it to a stiff board, stand it upright, and put the jar "
        "against it."
    )
    with st.container(horizontal=True):
        for paper, called in _PAPERS.items():
            save_button(
                f"Card, {called} (PDF)",
                partial(reference_card_pdf, paper=paper),
                file=f"reference-card-{paper}.pdf",
                mime="application/pdf",
                key=state.key(place, "card", paper),
            )
