"""A tank recipe as a form: tank, carrier, jar, and each product with its rate as on the label.

As in `plan_form`, the values live in the session under `form`; title, water, jar and looks are that form's
own, so that a change between the two ways of planning loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import get_args

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.elements.lib.utils import LabelVisibility

from jartest.errors import BadEntry
from jartest.jars import offered_jars
from jartest.plan.formulations import read_formulation
from jartest.plan.jars import USUAL_FILL_ML, USUAL_JAR_HOLDS_ML, say_filled
from jartest.plan.measuring import Tools
from jartest.plan.orders import DEFAULT_ORDER, order_kept, order_variants
from jartest.plan.pasted import PastedLine
from jartest.plan.products import KINDS, LabelNotes, ShelfProduct, make_product, say_kind
from jartest.plan.proposals import say_holds
from jartest.plan.recipe import JarRecipe, make_recipe
from jartest.plan.scaling import Basis, RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.water import UNNAMED_CONDITIONER, MixWater
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
from jartest.screens import plan_form, state
from jartest.screens.caution_part import draw_holds
from jartest.screens.order_setter import order_setter
from jartest.screens.parts import error_box, plain
from jartest.screens.recipe_part import draw_cautions, draw_steps
from jartest.screens.tools_part import draw_tools, fill_tools, read_tools
from jartest.tank import failed_before, plan_of_recipe
from jartest.units import read_carrier_rate, read_quantity, read_rate, read_volume

__all__ = ["draw", "fill", "is_filled", "read"]

_FIELDS = ("name", "maker", "formulation", "kind", "label", "lot", "rate")
_ALIKE = 4  # products on the shelf that are offered for half a name
_BASES = {
    "carrier": "the carrier: this much water, products on top",
    "finished": "the finished mix: water and products together",
}


# ------------------------------------------------------------------------ state
def is_filled(form: str) -> bool:
    """Whether this form holds a recipe already."""
    return state.get(state.key(form, "lines")) is not None


def fill(form: str, plan: TestPlan, *, with_products: bool) -> None:
    """Put a plan's recipe into the form; tank, carrier and basis alone where its products are not wanted."""
    recipe = plan.recipe
    state.put(state.key(form, "lines"), [])
    state.put(state.key(form, "hand"), None)
    state.put(state.key(form, "tank"), recipe.tank_volume.text if recipe else "")
    carrier = recipe.carrier_rate if recipe else None
    state.put(state.key(form, "carrier"), carrier.text if carrier else "")
    state.put(state.key(form, "basis"), recipe.basis if recipe else "carrier")
    order, gone = order_kept(recipe.order if recipe else DEFAULT_ORDER)
    state.put(state.key(form, "order"), order.key)
    state.put(state.key(form, "order-gone"), gone)
    jar, brim = (
        (recipe.jar_volume.text, recipe.jar_capacity_ml) if recipe else (say_filled(plan.jar.volume_ml), None)
    )
    brimful = recipe and brim is None and recipe.jar_ml == USUAL_JAR_HOLDS_ML and not with_products
    if brimful or (recipe is None and plan.jar.volume_ml == USUAL_FILL_ML):
        jar, brim = say_filled(USUAL_FILL_ML), USUAL_JAR_HOLDS_ML
    state.put(state.key(form, "capacity"), "" if brim is None else say_filled(brim))
    conditioner = recipe.water.conditioner if recipe else ""
    state.put(state.key(form, "conditioned"), bool(conditioner))
    state.put(state.key(form, "conditioner"), "" if conditioner == UNNAMED_CONDITIONER else conditioner)
    if recipe and with_products:  # else as the plan's own water has it
        state.put(state.key(form, "mix-ph"), recipe.water.mix_ph)
    state.put(state.key(form, "bicarbonate"), recipe.water.bicarbonate_mg_l if recipe else None)
    fill_tools(form, recipe.tools if recipe else Tools())
    state.put(state.key(form, "jar-size"), jar)
    if recipe is None or not with_products:
        _add(form)
        _add(form)
        return
    rows = {p.product.key: _add(form, p) for p in recipe.products}
    keys = [
        (" ".join(p.name.split()).casefold(), " ".join(p.maker.split()).casefold()) for p in plan.products
    ]
    state.put(state.key(form, "hand"), [rows[k] for k in keys])


def _rows(form: str) -> list[int]:
    return list(state.get(state.key(form, "lines"), []))


def _field(form: str, row: int, name: str) -> str:
    return state.key(form, f"line{row}", name)


def _add(form: str, line: RecipeProduct | None = None) -> int:
    rows = _rows(form)
    row = max(rows, default=0) + 1
    if line is not None:
        product = line.product
        values = (product.said, product.maker, product.formulation, product.kind)
        for name, value in zip(
            _FIELDS, (*values, product.label.order_text, product.lot, line.rate.text), strict=True
        ):
            state.put(_field(form, row, name), value)
    state.put(state.key(form, "lines"), [*rows, row])
    return row


def _another(form: str) -> None:
    _add(form)


def _take_out(form: str, row: int) -> None:
    state.put(state.key(form, "lines"), [r for r in _rows(form) if r != row])
    hand = state.get(state.key(form, "hand"))
    if hand:
        state.put(state.key(form, "hand"), [r for r in hand if r != row])
    state.clear(form, f"line{row}")


def _said(form: str, row: int, name: str) -> str:
    return " ".join(str(state.get(_field(form, row, name), "") or "").split())


# ------------------------------------------------------------------------- draw
def draw(
    form: str, recorder: Recorder, changed: TestPlan | None = None, *, beside: DeltaGenerator | None = None
) -> None:
    """Show the form, and under it the jar's recipe once every line can be read.

    `changed` is the plan that is being changed: its products are offered even where the shelf has let them go.
    `beside` is where the jar's recipe is drawn, if not below.
    """
    shelf = _shelf(recorder, changed)
    readable = [_draw_tank(form)]
    st.markdown("#### Products, with the rate as on the label")
    rows = _rows(form)
    for place, row in enumerate(rows, start=1):
        with st.container(gap="xxsmall"):
            readable.append(_draw_row(form, row, place, shelf))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.button("+ Another product", key=state.key(form, "more"), on_click=_another, args=(form,))
        plan_form.draw_paste(form, read_rate, "1.5 fl oz/1000 sq ft of Rowan 480", lambda x: _paste(form, x))
    left, right = st.columns(2, gap="small")
    with left:
        plan_form.draw_water(form, mixture=True)
        plan_form.draw_jar(form, offered_jars(recorder), volume=False, more=lambda: _draw_basis(form))
    with right:
        readable.append(draw_tools(form))
        plan_form.draw_schedule(form)
    with beside or st.container():
        st.markdown("#### In the jar")
        if not all(readable) or not any(_said(form, row, "name") for row in rows):
            _draw_variant(form)
            st.caption("Amounts and order show here once tank, products and rates can be read.")
            return
        with error_box():
            _draw_recipe(form, recorder, shelf)


def _paste(form: str, lines: Sequence[PastedLine]) -> None:
    """Put pasted lines into rows of their own; rows in which nothing was typed make way."""
    for row in _rows(form):
        if not any(_said(form, row, f) for f in _FIELDS):
            _take_out(form, row)
    for line in lines:
        row = _add(form)
        state.put(_field(form, row, "name"), line.name)
        state.put(_field(form, row, "rate"), line.rate)


def _shelf(recorder: Recorder, changed: TestPlan | None) -> dict[str, ShelfProduct]:
    """The products that are offered, by how people say them."""
    own = changed.recipe.products if changed and changed.recipe else ()
    standing = [e.product for e in recorder.store.shelf_products() if not e.retired]
    return {p.said: p for p in (*(line.product for line in own), *standing)}


def _draw_tank(form: str) -> bool:
    """The tank's fields; whether what they hold can be read."""

    def text(label: str, name: str, hint: str, tip: str) -> str:
        return st.text_input(
            label,
            key=state.key(form, name),
            placeholder=hint,
            help=tip,
            max_chars=80,
            width=142,
            persist_state="session",
        )

    with st.container(horizontal=True, gap="small"):
        tank = text(
            "Tank", "tank", "200 gal", "What one full tank holds: gallons are US unless you type imp."
        )
        carrier = text(
            "Carrier rate",
            "carrier",
            "2 gal/1000 ft2",
            "How much goes on how much ground (40 gal/acre, 300 L/ha), or the ground one tank covers (5 acres per tank).",
        )
        jar = text(
            "Jar filled to", "jar-size", "16 fl oz", "A quart jar half full can be stirred and turned over."
        )
        brim = text("Jar holds", "capacity", "no more", "To the brim, where that is more than its mark.")
    said = []
    for label, typed, how in (
        ("tank", tank, _say_volume),
        ("carrier", carrier, lambda t: read_carrier_rate(t).read_as),
        ("jar", jar, _say_volume),
        ("brim", brim, _say_volume),
    ):
        if typed.strip():
            with error_box() as box:
                said.append(f"{label} {how(typed)}")
            if box.error:
                return False
    if said:
        st.caption(f"Understood: {plain('; '.join(said))}")
    return bool(tank.strip() and jar.strip())


def _draw_basis(form: str) -> None:
    """What the volumes count."""
    st.radio(
        "These volumes count",
        get_args(Basis),
        key=state.key(form, "basis"),
        format_func=lambda b: _BASES[b],
        persist_state="session",
    )


def _say_volume(typed: str) -> str:
    return read_quantity(typed, "volume").read_as


def _draw_row(form: str, row: int, place: int, shelf: dict[str, ShelfProduct]) -> bool:
    """One product with its rate; whether it can be reckoned with, or is empty."""
    shown: LabelVisibility = "visible" if place == 1 else "collapsed"
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        st.text_input(
            f"Product {place}",
            label_visibility=shown,
            key=_field(form, row, "name"),
            placeholder="type its name as on the label",
            max_chars=200,
            live=True,  # the shelf is offered while one types
            persist_state="session",
        )
        st.text_input(
            f"Rate {place}",
            label_visibility=shown,
            key=_field(form, row, "rate"),
            placeholder="3 fl oz/1000 ft2",
            width=170,
            max_chars=80,
            persist_state="session",
        )
        typed, rate = _said(form, row, "name"), _said(form, row, "rate")
        known = _known(typed, _said(form, row, "maker"), shelf)
        with plan_form.draw_more(form, f"line{row}", place):
            if typed and known is None:
                _draw_new(form, row, place)
            st.text_input(
                f"Lot {place}",
                key=_field(form, row, "lot"),
                placeholder="optional",
                max_chars=80,
                persist_state="session",
            )
            st.button("✕ take out", key=_field(form, row, "out"), on_click=_take_out, args=(form, row))
    if typed and known is None:
        _draw_alike(form, row, typed, shelf)
    with error_box(f"Product {place}, rate: ") as box:
        line = _read_row(form, row, shelf) if typed and rate else None
        said = [] if known is None else [f"on the shelf: {_say_known(known)}"]
        said += [] if line is None else [f"understood: {line.rate.read_as}"]
        if said:
            st.caption(plain(_sentence(said)))
    return box.error is None and bool(typed) == bool(rate)


def _sentence(said: list[str]) -> str:
    words = "; ".join(said)
    return words[:1].upper() + words[1:]


def _say_known(known: ShelfProduct) -> str:
    return ", ".join(
        (
            known.maker or "no maker named",
            known.formulation or "no formulation",
            say_holds(known) or say_kind(known.kind),
        )
    )


def _draw_alike(form: str, row: int, typed: str, shelf: dict[str, ShelfProduct]) -> None:
    """Products on the shelf whose words begin as those that were typed, one tap each."""
    words = typed.casefold().split()
    alike = [
        said
        for said in shelf
        if all(any(part.startswith(w) for part in said.casefold().split()) for w in words)
    ][:_ALIKE]
    if alike:
        with st.container(horizontal=True):
            for n, said in enumerate(alike):
                button = _field(form, row, f"alike{n}")
                st.button(f"It is {plain(said)}", key=button, on_click=_pick, args=(form, row, said))


def _pick(form: str, row: int, said: str) -> None:
    state.put(_field(form, row, "name"), said)


def _known(typed: str, maker: str, shelf: dict[str, ShelfProduct]) -> ShelfProduct | None:
    """The product on the shelf that was meant: as picked, or the only one of that name where no maker was typed."""
    if typed in shelf:
        return shelf[typed]
    named = [p for p in shelf.values() if p.key[0] == typed.casefold()]
    if maker:
        return next((p for p in named if p.key[1] == maker.casefold()), None)
    return named[0] if len(named) == 1 else None


def _draw_new(form: str, row: int, place: int) -> None:
    """The few fields of a product that the shelf does not know; it stands there once the test is started."""
    st.caption("New to the shelf: it goes on it when the test starts. Makers differ, so name the maker too.")
    with st.container():
        for label, name, hint in (
            ("Maker", "maker", "makers differ"),
            ("Formulation", "formulation", "WP, SC, EC …"),
            ("Label on mixing", "label", "if it says anything"),
        ):
            st.text_input(
                f"{label} {place}",
                key=_field(form, row, name),
                placeholder=hint,
                max_chars=200,
                persist_state="session",
            )
        st.selectbox(
            f"What it is {place}",
            KINDS,
            index=None,
            key=_field(form, row, "kind"),
            format_func=say_kind,
            placeholder="if you know",
            persist_state="session",
        )


# ----------------------------------------------------------------------- recipe
def _draw_recipe(form: str, recorder: Recorder, shelf: dict[str, ShelfProduct]) -> None:
    """The jar's amounts and the order, with the cautions above them."""
    rows, request = _request(form, shelf)
    recipe = _recipe(form, recorder, rows, request)

    def order() -> None:
        _draw_variant(form)
        _draw_order(form, recipe, [rows[i] for i in recipe.order.products])

    draw_steps(recipe, order)
    draw_cautions(recipe, asked=True)
    _draw_fitting(form, recipe)
    draw_holds(recorder, [_as_kept(p.product, shelf) for p in request.products], of=form, folded=True)


def _as_kept(product: ShelfProduct, shelf: dict[str, ShelfProduct]) -> ShelfProduct:
    """The product as it would stand on the shelf: a lot that was typed for this test alone is none of it."""
    return next((p for p in shelf.values() if p.key == product.key), replace(product, lot=""))


def _draw_fitting(form: str, recipe: JarRecipe) -> None:
    """One tap for a jar that would overflow: filled so far that all of it goes in."""
    fitting = recipe.fitting_jar
    if fitting is not None:
        st.button(
            f"Fill the jar to {fitting} instead",
            key=state.key(form, "fitting"),
            on_click=_fill_less,
            args=(form, fitting),
        )


def _fill_less(form: str, fitting: str) -> None:
    if not str(state.get(state.key(form, "capacity"), "") or "").strip():
        state.put(state.key(form, "capacity"), state.get(state.key(form, "jar-size")))
    state.put(state.key(form, "jar-size"), fitting)


def _draw_variant(form: str) -> None:
    names = {v.key: v.name for v in order_variants()}
    st.selectbox(
        "Order of addition by (the label always wins)",
        list(names),
        key=state.key(form, "order"),
        format_func=lambda k: names[k],
        on_change=_advised_again,
        args=(form,),
        persist_state="session",
    )
    if gone := state.get(state.key(form, "order-gone"), ""):
        st.caption(plain(gone))
    if state.get(state.key(form, "hand")) is not None:
        st.button(
            "Back to the advised order", key=state.key(form, "advised"), on_click=_advised_again, args=(form,)
        )


def _advised_again(form: str) -> None:
    state.put(state.key(form, "hand"), None)


def _draw_order(form: str, recipe: JarRecipe, sequence: list[int]) -> None:
    """The order as a list that can be dragged; `sequence` holds the form's line of each product in it."""
    if len(sequence) < 2:
        return
    st.caption("Drag a product to another place if you must; the advised order stays beside it.")
    lines = [line.product.said_with_code for line in recipe.lines]
    with error_box():
        places = order_setter(lines, of="-".join(map(str, sequence)), key=state.key(form, "order-setter"))
        if places is not None:
            state.put(state.key(form, "hand"), [sequence[p] for p in places])
            st.rerun()


# ------------------------------------------------------------------------- read
def read(form: str, recorder: Recorder, changed: TestPlan | None = None) -> TestPlan:
    """The plan that the form holds; lines in which nothing was typed are left out.

    Raises
    ------
    BadEntry
        If something typed cannot be taken as it stands.
    """
    rows, request = _request(form, _shelf(recorder, changed))
    frame = plan_form.read_frame(form, len(rows), volume=request.jar_volume.text)
    return plan_of_recipe(_recipe(form, recorder, rows, request), frame)


def _request(form: str, shelf: dict[str, ShelfProduct]) -> tuple[list[int], RecipeRequest]:
    """The lines that hold a product, and the request they make."""

    def said(name: str) -> str:
        return str(state.get(state.key(form, name), "") or "").strip()

    found = [(row, line) for row in _rows(form) if (line := _read_row(form, row, shelf)) is not None]
    if not said("tank"):
        msg = "The size of the tank is missing: type it, such as 200 gal."
        raise BadEntry(msg)
    water = plan_form.read_water(form)
    request = RecipeRequest(
        tank_volume=read_quantity(said("tank"), "volume"),
        jar_volume=read_quantity(said("jar-size"), "volume"),
        carrier_rate=read_carrier_rate(said("carrier")) if said("carrier") else None,
        basis=state.get(state.key(form, "basis"), "carrier"),
        order=state.get(state.key(form, "order"), DEFAULT_ORDER),
        jar_capacity_ml=read_volume(said("capacity")) if said("capacity") else None,
        products=tuple(line for _, line in found),
        tools=read_tools(form),
        water=MixWater(
            source=water.source,
            hardness_mg_l=water.hardness_mg_l,
            ph=water.ph,
            temperature_c=water.temperature_c,
            conditioner=said("conditioner") or "yes" if state.get(state.key(form, "conditioned")) else "",
            mix_ph=state.get(state.key(form, "mix-ph")),
            bicarbonate_mg_l=state.get(state.key(form, "bicarbonate")),
        ),
    )
    return [row for row, _ in found], request


def _recipe(form: str, recorder: Recorder, rows: list[int], request: RecipeRequest) -> JarRecipe:
    """The jar's recipe, in the order by hand where there is one for these lines."""
    failed = failed_before(recorder, [p.product for p in request.products])
    hand = state.get(state.key(form, "hand"))
    by_hand = None
    if hand is not None:
        kept = [r for r in hand if r in rows]
        by_hand = [rows.index(r) for r in (*kept, *(r for r in rows if r not in kept))]
    return make_recipe(request, failed=failed, by_hand=by_hand)


def _read_row(form: str, row: int, shelf: dict[str, ShelfProduct]) -> RecipeProduct | None:
    typed, maker, formulation, kind, label, lot, rate = (_said(form, row, f) for f in _FIELDS)
    if not typed and not rate:
        return None
    if not typed:
        msg = f"The rate {rate!r} has no product: type its name."
        raise BadEntry(msg)
    product = _known(typed, maker, shelf)
    if product is None:
        if formulation:
            read_formulation(formulation)
        product = make_product(
            name=typed, maker=maker, formulation=formulation, kind=kind, label=LabelNotes(order_text=label)
        )
    if not rate:
        msg = f"{product.said} has no rate yet: type it as on the label, such as 3 fl oz/1000 ft2."
        raise BadEntry(msg)
    return RecipeProduct(
        product=replace(product, lot=lot or product.lot), rate=read_product_rate(rate, product)
    )
