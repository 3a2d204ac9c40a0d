"""The plan of a test as a form: title, products in order, water, jar, when to look.

The form's values live in the session under `form`, so that nothing typed is lost by a refusal, by a
visit to another screen, or by moving a line.  `fill` puts a plan in, `draw` shows it, `read` takes it out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from streamlit.elements.lib.utils import LabelVisibility

from jartest.errors import BadUnit
from jartest.plan.jars import JarShape, say_filled
from jartest.plan.pasted import PastedLine, read_pasted
from jartest.plan.schedule import DEFAULT_AGES_S, default_schedule, read_ages, say_age
from jartest.plan.water import read_hardness
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, Product, TestPlan, Water
from jartest.screens import state
from jartest.screens.caution_part import draw_caution_list, draw_holds
from jartest.screens.parts import error_box, one_line, plain
from jartest.tank import cautions_of_plan, products_of_plan
from jartest.units import (
    read_amount,
    read_temperature,
    read_volume,
    say_amount,
    say_number,
    say_temperature,
    say_volume,
)

__all__ = [
    "draw",
    "draw_cautions",
    "draw_jar",
    "draw_more",
    "draw_paste",
    "draw_schedule",
    "draw_title",
    "draw_water",
    "fill",
    "is_filled",
    "read",
    "read_frame",
    "read_water",
]

_FIELDS = ("name", "maker", "formulation", "lot", "amount")
_DEFAULT_AGES = ", ".join(say_age(a) for a in DEFAULT_AGES_S)


# ------------------------------------------------------------------------ state
def is_filled(form: str) -> bool:
    """Whether this form holds anything already."""
    return state.get(state.key(form, "rows")) is not None


def fill(form: str, plan: TestPlan) -> None:
    """Put a plan into the form."""
    put = state.put
    put(state.key(form, "rows"), [])
    for product in plan.products:
        _add(form, product)
    if not plan.products:
        _add(form)
        _add(form)
    put(state.key(form, "title"), plan.title)
    put(state.key(form, "notes"), plan.notes)
    put(state.key(form, "source"), plan.water.source)
    hardness = plan.water.hardness_mg_l
    put(state.key(form, "hardness"), "" if hardness is None else f"{say_number(hardness)} mg/L")
    put(state.key(form, "ph"), plan.water.ph)
    warmth = plan.water.temperature_c
    put(state.key(form, "temperature"), "" if warmth is None else f"{say_number(warmth)} C")
    put(state.key(form, "mix-ph"), plan.water.mix_ph)
    put(state.key(form, "jar"), plan.jar.name)
    put(state.key(form, "volume"), say_volume(plan.jar.volume_ml, us_first=True).split(" (")[0])
    put(state.key(form, "diameter"), plan.jar.inner_diameter_mm)
    ages = [s.age_s for s in plan.schedule if s.age_s is not None]
    put(state.key(form, "ages"), ", ".join(say_age(a) for a in ages) if ages else _DEFAULT_AGES)
    after = any(s.addition is not None for s in plan.schedule)
    put(state.key(form, "after"), after or not plan.schedule)


def _rows(form: str) -> list[int]:
    return list(state.get(state.key(form, "rows"), []))


def _add(form: str, product: Product | None = None) -> None:
    rows = _rows(form)
    row = max(rows, default=0) + 1
    p = product or Product(name="")
    for field, value in zip(_FIELDS, (p.name, p.maker, p.formulation, p.lot, p.amount_text), strict=True):
        state.put(state.key(form, f"row{row}", field), value)
    state.put(state.key(form, "rows"), [*rows, row])


def _add_known(form: str, known: Sequence[Product]) -> None:
    """Put the product that was picked into the first empty line, or into a new one."""
    chosen = state.get(state.key(form, "known"))
    state.put(state.key(form, "known"), None)
    if chosen is None:
        return
    for row in _rows(form):
        if not any(str(state.get(state.key(form, f"row{row}", f), "")).strip() for f in _FIELDS):
            _take_out(form, row)
            break
    _add(form, known[chosen])


def _take_out(form: str, row: int) -> None:
    state.put(state.key(form, "rows"), [r for r in _rows(form) if r != row])
    state.clear(form, f"row{row}")


def _move(form: str, row: int, by: int) -> None:
    rows = _rows(form)
    here = rows.index(row)
    there = min(max(here + by, 0), len(rows) - 1)
    rows[here], rows[there] = rows[there], rows[here]
    state.put(state.key(form, "rows"), rows)


# ------------------------------------------------------------------------- draw
def draw(form: str, known: Sequence[Product], jars: Sequence[JarShape] = ()) -> None:
    """Show the form; `known` products and `jars` of the list are offered to pick from."""
    st.markdown("#### Products, in the order they go in")
    rows = _rows(form)
    for place, row in enumerate(rows, start=1):
        with st.container(gap="xxsmall"):
            _draw_row(form, row, place, len(rows))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.button("+ Another product", key=state.key(form, "add"), on_click=_add, args=(form,))
        draw_paste(form, read_amount, "Rowan 480, 3 mL", lambda lines: _paste(form, lines))
        if known:
            st.selectbox(
                "Add one used before",
                range(len(known)),
                index=None,
                key=state.key(form, "known"),
                format_func=lambda i: _say_known(known[i]),
                placeholder="pick, or type a few letters",
                on_change=_add_known,
                args=(form, known),
            )
    left, right = st.columns(2, gap="small")
    with left:
        draw_water(form)
        draw_jar(form, jars)
    with right:
        draw_schedule(form)


def _paste(form: str, lines: Sequence[PastedLine]) -> None:
    """Put pasted lines into rows of their own; rows in which nothing was typed make way."""
    for row in _rows(form):
        if not any(_said(form, f"row{row}.{f}") for f in _FIELDS):
            _take_out(form, row)
    for line in lines:
        _add(form, Product(name=line.name, amount_text=line.rate))


def draw_paste(
    form: str, read: Callable[[str], object], like: str, put: Callable[[Sequence[PastedLine]], None]
) -> None:
    """A recipe as pasted text, a line a product, read into rows; what cannot be read is asked about."""
    field = state.key(form, "pasted")

    def take() -> None:
        try:
            lines = read_pasted(str(state.get(field, "")), read)
        except BadUnit as e:
            state.put(state.key(form, "pasted-says"), [str(e)])
            return
        put(lines)
        state.put(state.key(form, "pasted-says"), [x.says for x in lines if x.says])
        state.put(field, "")

    with st.popover("Paste a recipe"):
        st.text_area("One product a line", key=field, placeholder=like, height=140, max_chars=8000)
        st.button("Read into rows", key=state.key(form, "pasted-take"), on_click=take)
    for says in state.get(state.key(form, "pasted-says"), []):
        st.warning(plain(says), icon=":material/help:")


def draw_title(form: str) -> None:
    """The title's field."""
    st.text_input(
        "Title",
        key=state.key(form, "title"),
        placeholder="Left empty: the products' names",
        max_chars=200,
        persist_state="session",
    )


def _say_known(product: Product) -> str:
    return ", ".join(one_line(x) for x in (product.name, product.formulation, product.maker) if x.strip())


def _draw_row(form: str, row: int, place: int, count: int) -> None:
    shown: LabelVisibility = "visible" if place == 1 else "collapsed"

    def text(label: str, field: str, hint: str, width: int | None = None, tip: str | None = None) -> str:
        return st.text_input(
            label,
            label_visibility=shown if field in ("name", "amount") else "visible",
            key=state.key(form, f"row{row}", field),
            placeholder=hint,
            width=width or "stretch",
            help=tip,
            max_chars=200,
            persist_state="session",
        )

    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        text(f"Product {place}", "name", "as on the label")
        amount = text(f"Amount {place}, in the jar", "amount", "5 mL, 1 tsp", 160)
        with draw_more(form, f"row{row}", place):
            tip = "The letters on the label that say how it is made up: WP, WG, SC, SL, EC …"
            text(f"Formulation {place}", "formulation", "WP, SC …", None, tip)
            text(f"Maker {place}", "maker", "makers differ", None)
            text(f"Lot {place}", "lot", "optional", None)
            with st.container(horizontal=True):
                button = state.key(form, f"row{row}")
                st.button(
                    "▲ up", key=f"{button}.up", on_click=_move, args=(form, row, -1), disabled=place == 1
                )
                st.button(
                    "▼ down",
                    key=f"{button}.down",
                    on_click=_move,
                    args=(form, row, 1),
                    disabled=place == count,
                )
                st.button("✕ take out", key=f"{button}.out", on_click=_take_out, args=(form, row))
    if amount.strip():
        with error_box(f"Product {place}, amount: "):
            read = read_amount(amount)
            both = say_amount(ml=read.ml, g=read.g)
            st.caption(f"Understood: {plain(read.read_as if '=' in read.read_as else both)}")


def draw_more(form: str, row: str, place: int) -> DeltaGenerator:
    """What unfolds beside a row: all that is not its name and its amount; its label says what stands there."""
    there = [str(state.get(state.key(form, row, f), "") or "").strip() for f in ("maker", "formulation")]
    said = ", ".join(one_line(x) for x in there if x)
    return st.popover(plain(said) or f"More {place}", key=state.key(form, row, "more"))


def draw_water(form: str, *, mixture: bool = False) -> None:
    """The water's fields; what the cautions on a mixture want beside only where that is asked for."""
    source = one_line(str(state.get(state.key(form, "source"), "")))
    with st.expander(f"Water: {plain(source) or 'not described yet'}", key=state.key(form, "water-fold")):
        st.caption("Use the water of the tank; hard water can make the difference.")
        st.text_input(
            "Where it comes from",
            key=state.key(form, "source"),
            placeholder="shop well, town water …",
            max_chars=200,
            persist_state="session",
        )
        with st.container(horizontal=True):
            hardness = st.text_input(
                "Hardness",
                key=state.key(form, "hardness"),
                placeholder="140 mg/L, 8 grains, 12 °dH",
                width=260,
                max_chars=40,
                persist_state="session",
            )
            _number(form, "ph", "pH", most=14.0, step=0.1)
            warmth = st.text_input(
                "Temperature",
                key=state.key(form, "temperature"),
                placeholder="68 F or 20 C",
                width=180,
                persist_state="session",
            )
        if mixture:
            if st.checkbox(
                "The water is conditioned already",
                key=state.key(form, "conditioned"),
                persist_state="session",
            ):
                st.text_input(
                    "With what",
                    key=state.key(form, "conditioner"),
                    placeholder="ammonium sulfate, citric acid …",
                    max_chars=80,
                    persist_state="session",
                )
            with st.container(horizontal=True):
                _number(form, "bicarbonate", "Bicarbonate, mg/L", most=10_000.0, step=10.0)
                _number(form, "mix-ph", "pH of the finished mixture", most=14.0, step=0.1)
        else:
            _number(form, "mix-ph", "pH of the finished mixture", most=14.0, step=0.1)
        if hardness.strip():
            with error_box():
                st.caption(f"Understood: {plain(read_hardness(hardness).read_as)}")
        if warmth.strip():
            with error_box():
                st.caption(f"Understood: {say_temperature(read_temperature(warmth))}")


def _number(form: str, name: str, says: str, *, most: float, step: float) -> None:
    """One figure of the water, left empty where it is not known."""
    st.number_input(
        says,
        min_value=0.0,
        max_value=most,
        step=step,
        key=state.key(form, name),
        format="%.1f" if step < 1 else "%.0f",
        placeholder="not known",
        value=None,
        width=180 if name == "ph" else 260,
        persist_state="session",
    )


def _pick_jar(form: str, jars: Sequence[JarShape]) -> None:
    """Put the jar that was picked into the fields, there to be changed for this test."""
    chosen = state.get(state.key(form, "listed"))
    state.put(state.key(form, "listed"), None)
    if chosen is None:
        return
    jar = jars[chosen]
    filled = say_filled(jar.volume_ml)
    state.put(state.key(form, "jar"), jar.name)
    state.put(state.key(form, "diameter"), jar.inner_diameter_mm)
    state.put(state.key(form, "volume"), filled)
    state.put(state.key(form, "jar-size"), filled)


def draw_jar(
    form: str,
    jars: Sequence[JarShape] = (),
    *,
    volume: bool = True,
    more: Callable[[], None] | None = None,
) -> None:
    """The jar's fields, picked from the list or typed; without its volume where that is elsewhere; `more` draws what else goes there."""
    jar = one_line(str(state.get(state.key(form, "jar"), "")))
    filled = one_line(str(state.get(state.key(form, "volume"), "")))
    with st.expander(f"Jar: {plain(jar)}, {plain(filled)}", key=state.key(form, "jar-fold")):
        if jars:
            st.selectbox(
                "Take one from the list of jars",
                range(len(jars)),
                index=None,
                key=state.key(form, "listed"),
                format_func=lambda i: one_line(jars[i].name),
                placeholder="pick, or type a few letters",
                on_change=_pick_jar,
                args=(form, jars),
            )
        with st.container(horizontal=True):
            st.text_input("Jar", key=state.key(form, "jar"), max_chars=80, width=240, persist_state="session")
            if volume:
                filled = st.text_input(
                    "Water it is filled to", key=state.key(form, "volume"), width=180, persist_state="session"
                )
            st.number_input(
                "Inner diameter, mm (optional)",
                min_value=10.0,
                max_value=500.0,
                step=1.0,
                key=state.key(form, "diameter"),
                format="%.1f",
                placeholder="not known",
                value=None,
                width=260,
                persist_state="session",
            )
        st.caption(
            "With the inner diameter, or the reference card behind the jar, layers and lumps are measured in "
            "millimeters; percent need neither. A jar on the list (screen Jars) gives milliliters too."
        )
        if volume:
            with error_box():
                st.caption(f"Understood: {plain(say_volume(read_volume(filled)))}")
        if more is not None:
            more()


def draw_schedule(form: str) -> None:
    """When to look, the title, and notes."""
    with st.expander(
        f"Looks: {plain(str(state.get(state.key(form, 'ages'), '')))} after mixing",
        key=state.key(form, "looks-fold"),
    ):
        typed = st.text_input(
            "Photos at these times after mixing", key=state.key(form, "ages"), persist_state="session"
        )
        with error_box():
            st.caption("Understood: " + ", ".join(say_age(a) for a in read_ages(typed)))
        st.checkbox(
            "Offer a photo after each product as well", key=state.key(form, "after"), persist_state="session"
        )
        draw_title(form)
        st.text_area(
            "Notes on the plan",
            key=state.key(form, "notes"),
            height=80,
            max_chars=4000,
            persist_state="session",
        )


def draw_cautions(form: str, recorder: Recorder, plan: TestPlan) -> None:
    """What to know of a plan with amounts for the jar alone, once it has products."""
    plan = replace(plan, products=tuple(p for p in plan.products if p.name))
    if plan.products:
        draw_caution_list(cautions_of_plan(recorder, plan), asked=True)
        draw_holds(recorder, products_of_plan(recorder, plan), of=form, folded=True)


# ------------------------------------------------------------------------- read
def read(form: str) -> TestPlan:
    """The plan that the form holds; lines in which nothing was typed are left out.

    Raises
    ------
    BadEntry
        If something typed cannot be taken as it stands.
    """
    products = tuple(p for row in _rows(form) if (p := _read_row(form, row)) is not None)
    frame = read_frame(form, len(products))
    return replace(frame, title=frame.title or " + ".join(p.name for p in products), products=products)


def _said(form: str, name: str) -> str:
    return str(state.get(state.key(form, name), "") or "").strip()


def read_frame(form: str, additions: int, *, volume: str = "") -> TestPlan:
    """The plan without its products: title, water, jar, looks (with one after each addition if wanted), notes.

    `volume` is the jar's where it was typed elsewhere.
    """
    ages = read_ages(_said(form, "ages"))
    after = additions if state.get(state.key(form, "after")) else 0
    return TestPlan(
        title=_said(form, "title"),
        water=read_water(form),
        jar=JarUsed(
            name=_said(form, "jar"),
            volume_ml=read_volume(volume or _said(form, "volume")),
            inner_diameter_mm=state.get(state.key(form, "diameter")),
        ),
        schedule=default_schedule(after, ages),
        notes=_said(form, "notes"),
    )


def read_water(form: str) -> Water:
    """The water, as far as it is described."""
    warmth, hardness = _said(form, "temperature"), _said(form, "hardness")
    return Water(
        source=_said(form, "source"),
        hardness_mg_l=read_hardness(hardness).mg_l if hardness else None,
        ph=state.get(state.key(form, "ph")),
        temperature_c=read_temperature(warmth) if warmth else None,
        mix_ph=state.get(state.key(form, "mix-ph")),
    )


def _read_row(form: str, row: int) -> Product | None:
    name, maker, formulation, lot, typed = (
        str(state.get(state.key(form, f"row{row}", f), "") or "").strip() for f in _FIELDS
    )
    if not any((name, maker, formulation, lot, typed)):
        return None
    amount = read_amount(typed) if typed else None
    return Product(
        name=name,
        maker=maker,
        formulation=formulation,
        lot=lot,
        amount_text=typed,
        amount_ml=amount.ml if amount else None,
        amount_g=amount.g if amount else None,
    )
