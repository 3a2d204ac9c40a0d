"""The cautions on screen, and what a product holds: proposed from its name, confirmed by one tap."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import streamlit as st

from jartest.plan.cautions import Caution
from jartest.plan.grade import read_grade
from jartest.plan.hazards import BY_NAME, NOT_CHECKED
from jartest.plan.marks import TAGS, say_tag
from jartest.plan.products import KINDS, ShelfProduct, make_product, say_kind
from jartest.plan.proposals import as_far_as_known, knowledge_of, propose, say_holds
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.screens.who import name
from jartest.tank import confirm_product

__all__ = ["draw_caution_list", "draw_holds"]

_BY_LABEL = frozenset({"use alone", "do not mix with", "no adjuvant"})


def draw_caution_list(cautions: Sequence[Caution], *, asked: bool = False) -> None:
    """What to know before mixing, the worst first: what must not be, warnings, what was not checked, notes.

    `asked` says that what a name tells is asked about beside it (`draw_holds`), and need not be said again.
    """
    for c in cautions:
        if c.level == "stop":
            head = "Not allowed" if c.rule in _BY_LABEL else "Stop"
            st.error(f"**{head}.** {plain(c.says)}", icon=":material/block:")
            st.caption(f"Source: {plain(c.source)}")
    warned = [f"**Beware.** {plain(c.says)} ({plain(c.source)})" for c in cautions if c.level == "warning"]
    if warned:
        st.warning(_listed(warned), icon=":material/warning:")
    open_ = [] if asked else [plain(c.says) for c in cautions if c.rule in (NOT_CHECKED, BY_NAME)]
    if open_:
        st.info(_listed(open_), icon=":material/help:")
    notes = [
        f"- {plain(c.says)} ({plain(c.source)})"
        for c in cautions
        if c.level == "note" and c.rule not in (NOT_CHECKED, BY_NAME)
    ]
    if notes:
        st.markdown("\n".join(["Good to know:", *notes]))


def _listed(said: Sequence[str]) -> str:
    """One sentence as it is, several as a list: one box for all of a kind."""
    return said[0] if len(said) == 1 else "\n".join(f"- {x}" for x in said)


def draw_holds(
    recorder: Recorder, products: Iterable[ShelfProduct], *, of: str, folded: bool = False
) -> None:
    """For each product that nobody has checked: what its name tells, to confirm with one tap or to put right.

    `of` names the form or the screen that asks; `folded` puts the questions into a line that opens.
    """
    asked = {p.key: p for p in products if knowledge_of(p) != "told"}.values()
    if not asked:
        return
    unknown = [plain(p.name) for p in asked if knowledge_of(p) == "nothing"]
    head = f"Cautions not checked for {', '.join(unknown)}: say what they hold" if unknown else ""
    with (
        st.expander(head or "What is in them, by their names: right?", icon=":material/help:")
        if folded
        else st.container()
    ):
        if not folded:
            st.markdown("#### What is in them")
        elif unknown:
            st.markdown(f"Cautions not checked for {', '.join(unknown)}: what is in them is not known here.")
        for product in asked:
            _ask(recorder, product, of)


def _ask(recorder: Recorder, product: ShelfProduct, of: str) -> None:
    told = propose(product)
    known = as_far_as_known(product)
    field = state.key("holds", of, *product.key)
    with st.container(border=True, gap="small"):
        if knowledge_of(product) == "by name":
            st.markdown(f"**{plain(product.said)}** · by {plain(told.ground)}")
            says = f"✓ That is right: {plain(say_holds(known))}"
            if st.button(says, key=f"{field}.right", width="stretch", wrap=True):
                _confirm(recorder, known)
        else:
            st.markdown(f"○ **{plain(product.said)}** · what is in it is not known")
        with st.popover("Say what it holds", width="stretch"):
            _write(recorder, known, field)


def _write(recorder: Recorder, known: ShelfProduct, field: str) -> None:
    """Kind, grade and marks as fields, as far as they are known."""
    kind = st.selectbox(
        "What it is",
        KINDS,
        index=KINDS.index(known.kind),
        key=f"{field}.kind",
        format_func=say_kind,
    )
    grade = st.text_input(
        "Fertilizer grade, if any",
        value=known.grade.text if known.grade else "",
        key=f"{field}.grade",
        placeholder="10-34-0, Ca 10",
        max_chars=80,
    )
    marks = st.pills(
        "Tap what it holds",
        TAGS,
        selection_mode="multi",
        default=list(known.contains),
        key=f"{field}.marks",
        format_func=say_tag,
        wrap=True,
    )
    says = "Checked: it holds these" if marks else "Checked: it holds none of these"
    if st.button(says, key=f"{field}.checked", type="primary", width="stretch"):
        with error_box():
            product = make_product(
                name=known.name,
                maker=known.maker,
                formulation=known.formulation,
                kind=kind,
                density_g_ml=known.density_g_ml,
                grade=read_grade(grade) if grade.strip() else None,
                contains=tuple(t for t in TAGS if t in marks),
                label=known.label,
                lot=known.lot,
                is_liquid=known.is_liquid,
            )
            confirm_product(recorder, product, by=name())
            st.rerun()


def _confirm(recorder: Recorder, known: ShelfProduct) -> None:
    with error_box():
        confirm_product(recorder, known, by=name())
        st.rerun()
