"""What is different today from what a tank card was tested with; typed, weighed at once, and kept with one tap."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from jartest.plan.card_state import CardState
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.water import read_hardness
from jartest.recorder import Recorder
from jartest.records.tank_model import KeptCard
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.screens.who import ask_name, name
from jartest.tank import end_card
from jartest.units import read_number, read_temperature, say_temperature

__all__ = ["draw_different", "read_today"]


def _key(kept: KeptCard, *parts: object) -> str:
    return state.key("today", kept.id, *parts)


def read_today(kept: KeptCard, shelf: RecipeRequest) -> RecipeRequest:
    """What is to be mixed: as the shelf has it, with what was typed on this screen over it.

    Raises
    ------
    BadEntry
        If something typed cannot be read.
    """

    def said(*parts: object) -> str:
        return str(state.get(_key(kept, *parts), "") or "").strip()

    products = []
    for n, p in enumerate(shelf.products):
        product = replace(
            p.product, maker=said(n, "maker") or p.product.maker, lot=said(n, "lot") or p.product.lot
        )
        rate = read_product_rate(said(n, "rate"), product) if said(n, "rate") else p.rate
        products.append(RecipeProduct(product=product, rate=rate))
    water = replace(
        shelf.water,
        source=said("source") or shelf.water.source,
        hardness_mg_l=read_hardness(said("hardness")).mg_l if said("hardness") else shelf.water.hardness_mg_l,
        ph=float(read_number(said("ph"))) if said("ph") else shelf.water.ph,
        temperature_c=read_temperature(said("temperature"))
        if said("temperature")
        else shelf.water.temperature_c,
        conditioner=_conditioner(said("conditioner"), shelf.water.conditioner),
    )
    return replace(shelf, products=tuple(products), water=water)


def _conditioner(typed: str, tested: str) -> str:
    """What the water is conditioned with; left empty it is what was tested, and `none` is nothing."""
    return "" if typed.casefold() == "none" else typed or tested


def draw_different(recorder: Recorder, kept: KeptCard, shelf: RecipeRequest, standing: CardState) -> None:
    """What is different today; what was typed is weighed at once, and kept for everybody with one tap."""
    keys = [_key(kept, n, f) for n in range(len(shelf.products)) for f in ("maker", "lot", "rate")]
    keys += [_key(kept, f) for f in ("source", "hardness", "ph", "temperature", "conditioner")]
    typed = any(state.get(k) for k in keys)
    with st.expander("Is something different today?", expanded=typed):
        st.caption("Leave empty what is as tested. The word above follows as you type.")
        for n, p in enumerate(shelf.products):
            st.markdown(f"**{plain(p.product.name)}**")
            with st.container(horizontal=True):
                for label, field, hint in (
                    ("Maker", "maker", p.product.maker),
                    ("Lot", "lot", p.product.lot),
                    ("Rate", "rate", p.rate.text),
                ):
                    st.text_input(
                        f"{label} of {n + 1}",
                        key=_key(kept, n, field),
                        placeholder=hint or "not written",
                        width=190,
                        max_chars=200,
                    )
        with st.container(horizontal=True):
            water = shelf.water
            st.text_input(
                "Water from", key=_key(kept, "source"), placeholder=water.source or "not described", width=220
            )
            st.text_input(
                "Its hardness", key=_key(kept, "hardness"), placeholder="140 mg/L, 8 grains", width=190
            )
            tested_ph = "not measured" if water.ph is None else f"{water.ph:g}"
            st.text_input("Its pH", key=_key(kept, "ph"), placeholder=tested_ph, width=130)
            warmth = water.temperature_c
            st.text_input(
                "Its temperature",
                key=_key(kept, "temperature"),
                placeholder="68 F or 20 C" if warmth is None else say_temperature(warmth),
                width=190,
                max_chars=20,
            )
            st.text_input(
                "Conditioned with",
                key=_key(kept, "conditioner"),
                placeholder=f"{water.conditioner}, or type none" if water.conditioner else "nothing",
                width=230,
                max_chars=80,
            )
        if standing.lapsed and not kept.lapses:
            ask_name(recorder)
            if st.button("Keep for everybody that it has lapsed", key=_key(kept, "end"), type="primary"):
                with error_box():
                    end_card(recorder, kept, standing.reasons, by=name())
                    state.clear("today", kept.id)
                    st.rerun()
