"""Jars: the shop's jars with their sizes and calibration, and the reference card to print."""

from __future__ import annotations

import streamlit as st

from jartest.errors import BadEntry
from jartest.jars import bring_back_jar, retire_jar, save_jar
from jartest.plan.jars import (
    Filling,
    JarShape,
    fillings_from_rows,
    make_jar,
    read_fillings,
    say_filled,
    say_fillings,
)
from jartest.recorder import Recorder
from jartest.records.jars import JarEntry
from jartest.screens import state
from jartest.screens.card_part import draw_card_download
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.who import ask_name, name
from jartest.units import read_number, read_volume, say_number, say_volume

__all__ = ["render"]

_FORM = "jars"
_WAYS = {"mm": "mm from the floor", "rows": "rows of photos"}
_HINTS = {"mm": "200 mL at 41 mm\n400 mL at 79 mm", "rows": "200 mL at 812\n400 mL at 670"}


def render(recorder: Recorder) -> None:
    """Draw the jars: the one that is written, the list, the card."""
    st.markdown("## Jars")
    ask_name(recorder)
    if said := state.get(_key("said")):
        st.success(plain(said))
    entries = recorder.store.jars()
    open_id = state.get(_key("open"))
    if open_id is not None:
        _edit(recorder, next((e for e in entries if e.id == open_id), None))
        return
    st.button("+ A new jar", key=_key("new"), on_click=_open, args=(None,))
    if not entries:
        st.markdown(
            "No jar is on the list yet. A jar whose inner diameter is known gives its photos millimeters, and a "
            "calibrated one milliliters."
        )
    retired = any(e.retired for e in entries) and st.checkbox(
        "Show those taken off the list", key=_key("retired")
    )
    for entry in entries:
        if retired or not entry.retired:
            _draw_entry(recorder, entry)
    st.markdown("### The reference card")
    draw_card_download("jars")


def _key(*parts: object) -> str:
    return state.key(_FORM, *parts)


# ------------------------------------------------------------------------- list
def _draw_entry(recorder: Recorder, entry: JarEntry) -> None:
    jar = entry.jar
    with st.container(border=True, gap="small"):
        gone = " · **off the list**" if entry.retired else ""
        st.markdown(f"**{plain(jar.name)}**, filled to {say_volume(jar.volume_ml)}{gone}")
        wall = "wall not known" if jar.wall_mm is None else f"wall {say_number(jar.wall_mm)} mm"
        known = f"calibrated at {len(jar.fillings)} heights" if jar.fillings else "taken as straight"
        said = f"{say_number(jar.inner_diameter_mm)} mm wide inside, {wall}, {known}"
        st.caption(f"{said} · written by {plain(entry.by)} {clock(entry.at)}")
        with st.container(horizontal=True):
            if entry.retired:
                if st.button("Bring it back", key=_key("back", entry.id)):
                    with error_box():
                        bring_back_jar(recorder, entry, by=name())
                        st.rerun()
                return
            st.button("Change", key=_key("change", entry.id), on_click=_open, args=(entry,))
            if st.button("Take it off the list", key=_key("off", entry.id)):
                with error_box():
                    state.put(_key("said"), retire_jar(recorder, entry, by=name()))
                    st.rerun()


# ------------------------------------------------------------------------- edit
def _open(entry: JarEntry | None) -> None:
    """Put a jar, or a new one, into the form."""
    state.put(_key("said"), "")
    state.clear(_FORM, "field")
    state.put(_key("open"), entry.id if entry else "new")
    state.put(_key("revision"), entry.revision if entry else 0)
    jar = entry.jar if entry else JarShape(name="new", inner_diameter_mm=1.0)
    values = {
        "name": jar.name if entry else "",
        "diameter": say_number(jar.inner_diameter_mm) if entry else "",
        "wall": "" if jar.wall_mm is None else say_number(jar.wall_mm),
        "volume": say_filled(jar.volume_ml),
        "way": "mm",
        "fillings": say_fillings(jar.fillings),
        "floor": "",
        "scale": "",
    }
    for field, value in values.items():
        state.put(_key("field", field), value)


def _edit(recorder: Recorder, entry: JarEntry | None) -> None:
    """The form of one jar."""
    st.markdown(f"### {plain(entry.jar.name) if entry else 'A new jar'}")
    with st.container(horizontal=True):
        _text("Name", "name", "quart jar, tall", 260, disabled=entry is not None)
        _text("Inner diameter, mm", "diameter", "86", 170)
        _text("Glass wall, mm (if known)", "wall", "2.5", 200)
        _text("Water it is filled to", "volume", "1 qt", 180)
    st.caption("Measure the diameter inside, from wall to wall, about where the middle of the liquid stands.")
    st.markdown("#### Volume against height, if the jar tapers")
    st.caption(
        "Fill it to a known volume, note how high the surface stands, and go on up to the brim: six heights are "
        "plenty, two the minimum. One line each. Without any the jar counts as straight."
    )
    way = st.segmented_control(
        "Heights", list(_WAYS), key=_key("field", "way"), format_func=lambda w: _WAYS[w], required=True
    )
    st.text_area("Fillings", key=_key("field", "fillings"), placeholder=_HINTS[str(way)], max_chars=2000)
    if way == "rows":
        with st.container(horizontal=True):
            _text("Row of the inner floor", "floor", "975", 200)
            _text("mm a row", "scale", "0.28", 160)
        st.caption(
            "Both stand under the figures of a photo that has a scale; the camera and the jar must not move meanwhile."
        )
    with st.container(horizontal=True):
        if st.button("Keep it", key=_key("keep"), type="primary"):
            with error_box():
                if entry is not None and entry.revision != state.get(_key("revision")):
                    msg = f"{entry.by} changed this while you were editing; leave it, open it again and enter your change there."
                    raise BadEntry(msg)
                kept = save_jar(recorder, _read(), by=name(), before=entry)
                state.put(_key("said"), f"{kept.jar.name} is on the list.")
                _close()
                st.rerun()
        if st.button("Leave it as it was", key=_key("leave")):
            _close()
            st.rerun()


def _text(label: str, field: str, hint: str, width: int, *, disabled: bool = False) -> None:
    st.text_input(
        label, key=_key("field", field), placeholder=hint, width=width, max_chars=80, disabled=disabled
    )


def _close() -> None:
    state.clear(_FORM, "field")
    state.put(_key("open"), None)


def _said(field: str) -> str:
    return str(state.get(_key("field", field), "") or "").strip()


def _number(field: str, called: str) -> float:
    if not _said(field):
        msg = f"{called} is not written yet; without it there are no millimeters."
        raise BadEntry(msg)
    try:
        return float(read_number(_said(field)))
    except BadEntry as e:
        msg = f"{called}: {e}"
        raise BadEntry(msg) from e


def _read() -> JarShape:
    """The jar that the form holds.

    Raises
    ------
    BadEntry
        If something typed cannot be taken as it stands.
    """
    return make_jar(
        name=_said("name"),
        inner_diameter_mm=_number("diameter", "The inner diameter"),
        wall_mm=_number("wall", "The wall") if _said("wall") else None,
        volume_ml=read_volume(_said("volume")),
        fillings=_read_fillings(),
    )


def _read_fillings() -> tuple[Filling, ...]:
    text = _said("fillings")
    if state.get(_key("field", "way")) != "rows" or not text:
        return read_fillings(text)
    floor, scale = _number("floor", "The row of the inner floor"), _number("scale", "The scale")
    return fillings_from_rows(text, floor_px=floor, mm_per_px=scale)
