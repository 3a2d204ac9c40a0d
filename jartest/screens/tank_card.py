"""Tank card: what a signed jar allows at the filling station; needs no name and says when it has lapsed."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.tankcard_pdf import tank_card_pdf
from jartest.plan.card_state import CardState
from jartest.plan.formulations import code_beside
from jartest.plan.tankcard import TankCard, part_amounts, part_steps
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.records.tank_model import KeptCard
from jartest.screens import state
from jartest.screens.card_today_part import draw_different, read_today
from jartest.screens.parts import address_of, clock, error_box, link_to, plain
from jartest.screens.save_button import save_button
from jartest.tank import as_on_shelf, card_now
from jartest.units import read_volume, say_volume
from jartest.verdict.words import SHAPES, say_aged

__all__ = ["render"]

_PAGE = 20  # cards in the list at once


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
        today = read_today(kept, shelf)
    standing = card_now(recorder, kept, today)
    _plate(kept, case, standing)
    volume = None
    if standing.lapsed:
        with st.expander("What it said, for the record: not to mix by"):
            _amounts(kept.card, kept.card.tank_ml)
    else:
        _standing(kept.card, today.water)
        volume = _fill(kept)
        if volume is not None:
            _amounts(kept.card, volume)
    _holds(kept.card)
    if standing.lapsed or volume is not None:
        _paper(kept, standing, volume, today.water)
    draw_different(recorder, kept, shelf, standing)
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
        test = recorder.case(kept.test_id).test
        with st.container(border=True, gap="small"):
            link_to("card", f"{kept.card.test_number} · {plain(kept.card.title)}", id=kept.id)
            word = "✖ **LAPSED**" if standing.lapsed else f"**{_said(kept.card)}**"
            if kept.card.overruled and not standing.lapsed:
                word += " · **overruled: read its head**"
            st.markdown(f"{word} · signed by {plain(kept.card.signed_by)} {clock(kept.card.signed_at, test)}")
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
            st.markdown(f"{_said(card)}{condition}")
            st.caption(f"lapses on {card.lapses_at:%Y-%m-%d} at the latest, or when something changes")
    _head(card, standing)
    st.caption(
        f"Signed by {plain(card.signed_by)}, {clock(card.signed_at, case.test)}, on jar test {card.test_number}."
    )


def _said(card: TankCard) -> str:
    """The word with its shape and the age that it holds to."""
    return f"{SHAPES[card.word]} {say_aged(card.word, card.word_age_s)}"


def _head(card: TankCard, standing: CardState) -> None:
    """What a crew must not miss: a word of the machine that was overruled on a plate of its own, the rest under it."""
    head = list(card.head())
    if card.overruled:
        over = card.ground.machine if card.ground else ""
        with st.container(key=f"chip-{over or 'none'}-overruled", gap=None):
            st.markdown(f"{'✖' if over == 'fail' else '!'} {plain(head.pop(0))}")
            st.caption(plain(head.pop(0)))
    st.markdown("\n".join(f"- **{plain(x)}**" for x in (*head, *standing.notes)))


def _standing(card: TankCard, water: MixWater) -> None:
    """Agitation, and how long it may stand in the water of the day should it stop."""
    st.markdown(f"**Agitation:** {plain(card.agitation)}.  \n{plain(card.said_stand(water))}")


def _fill(kept: KeptCard) -> float | None:
    """How much is filled this time, in mL; None where what was typed cannot be."""
    card = kept.card
    full = say_volume(card.tank_ml, us_first=True)
    typed = st.text_input(
        "In the tank this time",
        key=state.key("card", kept.id, "part"),
        placeholder=f"full: {full.split(' (')[0]}; or type less, such as 120 gal",
        max_chars=40,
    )
    with error_box():
        volume = read_volume(typed) if typed and typed.strip() else card.tank_ml
        part_amounts(card, volume)  # says what is wrong with it
        return volume
    return None


def _amounts(card: TankCard, volume: float) -> None:
    """Every step with its amount, for what is filled."""
    share = volume / card.tank_ml
    st.markdown(
        f"#### A tank of {say_volume(volume, us_first=True)}: {say_volume(card.tank_carrier_ml * share, us_first=True)} of carrier"
    )
    for n, (line, says) in enumerate(part_steps(card, volume), start=1):
        if line is None:
            st.markdown(f"**{n}** · {plain(says)}")
        else:
            with st.container(border=True):
                st.markdown(f"#### {n} · {says}")
                st.markdown(f"**{plain(line.said)}** {code_beside(line.name, line.formulation)}")
                st.caption(f"label rate {plain(line.rate)}; {plain(line.reason)}")


def _holds(card: TankCard) -> None:
    """What it holds for, and the cautions."""
    st.markdown(plain(card.holds_for()))
    st.markdown("\n".join(f"- {plain(c)}" for c in card.cautions))


def _paper(kept: KeptCard, standing: CardState, volume: float | None, water: MixWater) -> None:
    address = address_of("card", id=kept.id) or f"jartest:card:{kept.id}"
    part = volume is not None and volume < kept.card.tank_ml * (1 - 1e-9)
    save_button(
        "Print: this part tank as PDF" if part else "Print: the card as PDF",
        lambda: tank_card_pdf(kept.card, standing, address=address, volume_ml=volume, water=water),
        file=f"tank-card-{kept.card.test_number}.pdf",
        mime="application/pdf",
        key=state.key("card", "pdf"),
    )
