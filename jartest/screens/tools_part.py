"""What the bench measures with: the finest marks of its syringe and its scale, as a part of a form."""

from __future__ import annotations

import streamlit as st

from jartest.plan.measuring import Tools
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.units import read_quantity, say_number

__all__ = ["draw_tools", "fill_tools", "read_tools"]


def fill_tools(form: str, tools: Tools) -> None:
    """Put the tools into the form."""
    state.put(state.key(form, "syringe"), f"{say_number(tools.syringe_ml)} mL")
    state.put(state.key(form, "scale"), f"{say_number(tools.scale_g)} g")


def draw_tools(form: str) -> bool:
    """The tools' fields; whether what they hold can be read."""
    syringe, scale = (str(state.get(state.key(form, n), "") or "") for n in ("syringe", "scale"))
    with st.expander(
        f"Measured with: syringe to {plain(syringe)}, scale to {plain(scale)}",
        key=state.key(form, "tools-fold"),
    ):
        with st.container(horizontal=True):
            for label, name in (
                ("Finest mark of the syringe", "syringe"),
                ("Finest mark of the scale", "scale"),
            ):
                st.text_input(
                    label, key=state.key(form, name), max_chars=40, width=230, persist_state="session"
                )
        st.caption("Smaller amounts are not guessed: a bigger jar or a stock solution is proposed.")
        with error_box() as box:
            read_tools(form)
    return box.error is None


def read_tools(form: str) -> Tools:
    """The tools that the form holds; a field left empty is the usual one.

    Raises
    ------
    BadEntry
        If a mark cannot be read, or is none of a syringe or scale.
    """
    usual = Tools()
    syringe, scale = (str(state.get(state.key(form, n), "") or "").strip() for n in ("syringe", "scale"))
    return Tools(
        syringe_ml=float(read_quantity(syringe, "volume").size) if syringe else usual.syringe_ml,
        scale_g=float(read_quantity(scale, "mass").size) if scale else usual.scale_g,
    )
