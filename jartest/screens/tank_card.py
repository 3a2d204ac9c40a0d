"""Tank card: what a signed jar allows at the filling station; needs no name and says when it has lapsed."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from jartest.exchange.tankcard_pdf import tank_card_pdf
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.schedule import say_age_down
from jartest.plan.tankcard import CardState, LapseRules, TankCard, part_steps
from jartest.plan.water import read_hardness
from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.records.tank_model import KeptCard
from jartest.screens import state
from jartest.screens.parts import address_of, clock, error_box, link_to, plain, say_word
from jartest.screens.save_button import save_button
from jartest.screens.who import ask_name, name
from jartest.tank import as_on_shelf, card_now, end_card, make_card, signed_word
from jartest.units import read_number, read_volume, say_volume

__all__ = ["draw_card_offer", "render"]

_PAGE = 20  # cards in the list at once
_NO_CONDITION = "constant agitation"


def render(recorder: Recorder) -> None:
    """Draw the card that the address names, or the list of cards."""
    card_id = str(st.query_params.get("id", ""))
    if not card_id:
        _list(recorder)
        return
    with error_box() as box:
        kept = recorder.store.card(card_id)
    if box.error:
        link_to("card", "All tank cards")
        return
    case = recorder.case(kept.test_id)
    shelf = as_on_shelf(recorder, case, kept)
    today = shelf
    with error_box():
        today = _today(kept, shelf)
    standing = card_now(recorder, kept, today)
    _plate(kept, case, standing)
    if standing.lapsed:
        with st.expander("What it said, for the record"):
            _amounts(kept.card)
    else:
        _amounts(kept.card)
    _holds(kept.card)
    _paper(kept, standing)
    _different(recorder, kept, shelf, standing)
    link_to("test", f"The jar test it rests on: {kept.card.test_number}", id=kept.test_id)


# ------------------------------------------------------------------------- list
def _list(recorder: Recorder) -> None:
    st.markdown("## Tank cards")
    cards = recorder.store.cards()
    if not cards:
        st.markdown("No tank card yet. A signed pass from a tank recipe makes one, on the test's own screen.")
        return
    typed = st.text_input(
        "Find", key=state.key("cards", "find"), placeholder="product, maker, test", type="search"
    )
    words = str(typed or "").casefold().split()
    found = [k for k in cards if all(w in _searched(k) for w in words)]
    for kept in found[:_PAGE]:
        standing = card_now(recorder, kept)
        with st.container(border=True, gap="small"):
            link_to("card", f"{kept.card.test_number} · {plain(kept.card.title)}", id=kept.id)
            word = "✖ **LAPSED**" if standing.lapsed else f"**{say_word(kept.card.word)}**"
            st.markdown(f"{word} · signed by {plain(kept.card.signed_by)} {clock(kept.card.signed_at)}")
    st.caption(
        f"{len(found)} found, newest first"
        + (f"; these are the first {_PAGE}." if len(found) > _PAGE else ".")
    )


def _searched(kept: KeptCard) -> str:
    card = kept.card
    return " ".join((str(card.test_number), card.title, *(line.said for line in card.lines))).casefold()


# ------------------------------------------------------------------------- card
def _plate(kept: KeptCard, case: Case, standing: CardState) -> None:
    """The word that cannot be missed, and why."""
    card = kept.card
    st.markdown(f"## {plain(card.title)}")
    if standing.lapsed:
        with st.container(key="chip-fail-card", gap=None):
            st.markdown("✖ LAPSED: DO NOT MIX BY THIS CARD")
            st.caption("a new jar test makes a new card")
        st.markdown("\n".join(f"- **{plain(r)}**" for r in standing.reasons))
    else:
        with st.container(key=f"chip-{card.word}-card", gap=None):
            condition = f": only with {plain(card.condition)}" if card.condition else ""
            st.markdown(f"{say_word(card.word)}{condition}")
            st.caption(f"good until {card.lapses_at:%Y-%m-%d}, unless something changes")
    st.caption(
        f"Signed by {plain(card.signed_by)}, {clock(card.signed_at, case.test)}, on jar test {card.test_number}."
    )


def _amounts(card: TankCard) -> None:
    """Agitation and standing, then every step with its amount, for a full tank or as much as is filled."""
    stand = "" if card.stand_s is None else f"**May stand {say_age_down(card.stand_s)} without agitation.** "
    st.markdown(f"**Agitation:** {plain(card.agitation)}.  \n{stand}{plain(card.stand_says)}")
    full = say_volume(card.tank_ml, us_first=True)
    typed = st.text_input(
        "In the tank this time",
        key=state.key("card", "part"),
        placeholder=f"full: {full.split(' (')[0]}; or type less, such as 120 gal",
        max_chars=40,
    )
    volume = card.tank_ml
    with error_box():
        volume = read_volume(typed) if typed and typed.strip() else card.tank_ml
        steps = part_steps(card, volume)
        share = volume / card.tank_ml
        st.markdown(
            f"#### A tank of {say_volume(volume, us_first=True)}: {say_volume(card.tank_carrier_ml * share, us_first=True)} of carrier"
        )
        for n, (line, says) in enumerate(steps, start=1):
            if line is None:
                st.markdown(f"**{n}** · {plain(says)}")
            else:
                with st.container(border=True):
                    st.markdown(f"#### {n} · {says}")
                    st.markdown(f"**{plain(line.said)}** {line.formulation}")
                    st.caption(f"label rate {plain(line.rate)}; {plain(line.reason)}")


def _holds(card: TankCard) -> None:
    """What it holds for, and the cautions."""
    st.markdown(plain(card.holds_for()))
    st.markdown("\n".join(f"- {plain(c)}" for c in card.cautions))


def _paper(kept: KeptCard, standing: CardState) -> None:
    address = address_of("card", id=kept.id) or f"jartest:card:{kept.id}"
    save_button(
        "Print: the card as PDF",
        lambda: tank_card_pdf(kept.card, standing, address=address),
        file=f"tank-card-{kept.card.test_number}.pdf",
        mime="application/pdf",
        key=state.key("card", "pdf"),
    )


# -------------------------------------------------------------------- different
def _key(kept: KeptCard, *parts: object) -> str:
    return state.key("today", kept.id, *parts)


def _today(kept: KeptCard, shelf: RecipeRequest) -> RecipeRequest:
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
        conditioner=_conditioner(said("conditioner"), shelf.water.conditioner),
    )
    return replace(shelf, products=tuple(products), water=water)


def _conditioner(typed: str, tested: str) -> str:
    """What the water is conditioned with; left empty it is what was tested, and `none` is nothing."""
    return "" if typed.casefold() == "none" else typed or tested


def _different(recorder: Recorder, kept: KeptCard, shelf: RecipeRequest, standing: CardState) -> None:
    """What is different today; what was typed is weighed at once, and kept for everybody with one tap."""
    keys = [_key(kept, n, f) for n in range(len(shelf.products)) for f in ("maker", "lot", "rate")]
    keys += [_key(kept, f) for f in ("source", "hardness", "ph", "conditioner")]
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


# ------------------------------------------------------------------------ offer
def draw_card_offer(recorder: Recorder, case: Case) -> None:
    """On the screen of a signed test: its tank card, or the way to one."""
    if not case.signed:
        return
    made = recorder.store.cards(case.test.id)
    if made:
        link_to("card", "The tank card of this test", main=True, id=made[0].id)
        return
    word = signed_word(case)
    if word not in ("pass", "watch"):
        st.caption("No tank card: only a signed pass, or a watch with its condition, makes one.")
        return
    if case.test.plan.recipe is None:
        st.caption(
            "No tank card: the amounts were typed for the jar alone. A test from a tank recipe makes one."
        )
        return
    with st.container(border=True):
        st.markdown("#### Tank card for the crew")
        _ask_card(recorder, case, must=word == "watch")


def _ask_card(recorder: Recorder, case: Case, *, must: bool) -> None:
    def field(part: str) -> str:
        return state.key("make-card", case.test.id, part)

    condition = st.text_input(
        "On condition of (needed for a watch)" if must else "On condition of, if any",
        value=_NO_CONDITION if must else "",
        key=field("condition"),
        max_chars=200,
    )
    usual = LapseRules()
    days = st.number_input(
        "It lapses after days",
        min_value=1,
        max_value=3650,
        value=int(usual.max_age_days),
        key=field("days"),
        width=200,
    )
    lot = st.checkbox("A new lot ends it too", key=field("lot"))
    depth = st.number_input(
        "Depth of liquid in the tank, inches (for how long it may stand)",
        min_value=1.0,
        max_value=200.0,
        value=None,
        key=field("depth"),
        placeholder="not known",
        width=320,
    )
    if st.button("Make the tank card", key=field("make"), type="primary", width="stretch"):
        with error_box():
            make_card(
                recorder,
                case.test.id,
                by=name(),
                condition=condition or "",
                rules=LapseRules(max_age_days=float(days), lot_matters=lot),
                tank_depth_in=depth,
            )
            st.rerun()
