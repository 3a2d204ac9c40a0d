"""Shelf: the products this shop has, what their labels say on mixing, and the whole of it as CSV."""

from __future__ import annotations

import streamlit as st

from jartest.errors import BadEntry
from jartest.plan.formulations import code_beside
from jartest.plan.grade import read_grade
from jartest.plan.marks import TAGS, say_tag
from jartest.plan.products import KINDS, LabelNotes, ShelfProduct, make_product, say_kind
from jartest.plan.proposals import Knowledge, as_far_as_known, knowledge_of, propose, say_holds
from jartest.plan.shelf_csv import SHELF_COLUMNS, shelf_to_csv
from jartest.recorder import Recorder
from jartest.records.tank_model import ShelfEntry
from jartest.screens import state
from jartest.screens.parts import clock, error_box, plain
from jartest.screens.save_button import save_button
from jartest.screens.who import ask_name, name
from jartest.tank import ShelfTaken, bring_back, confirm_product, read_shelf, retire, save_product
from jartest.units import read_number, say_number

__all__ = ["render"]

_FORM = "shelf"
_PAGE = 20  # products on one page
_YES_NO = {"": "not said", "yes": "a liquid", "no": "dry"}
_SWITCHES = {
    "first": "first of all",
    "last": "last of all",
    "alone": "use alone",
    "own_step": "by itself, let it disperse",
    "no_adjuvant": "no adjuvant",
}


def render(recorder: Recorder) -> None:
    """Draw the shelf: one product that is written, the list, the file out and in."""
    st.markdown("## Shelf")
    ask_name(recorder)
    entries = recorder.store.shelf_products()
    for said in state.get(_key("said"), ()):
        st.success(plain(said))
    open_id = state.get(_key("open"))
    if open_id is not None:
        _edit(recorder, next((e for e in entries if e.id == open_id), None))
        return
    st.button("+ A new product", key=_key("new"), on_click=_open, args=(None,))
    _list(recorder, entries)
    _file_out(entries)
    _file_in(recorder)


def _key(*parts: object) -> str:
    return state.key(_FORM, *parts)


# ------------------------------------------------------------------------- list
def _list(recorder: Recorder, entries: tuple[ShelfEntry, ...]) -> None:
    typed = st.text_input("Find", key=_key("find"), placeholder="name, maker, type", type="search")
    words = str(typed or "").casefold().split()
    retired = st.checkbox("Show those taken off the shelf", key=_key("retired"))
    found = [e for e in entries if (retired or not e.retired) and all(w in _searched(e) for w in words)]
    if not entries:
        st.markdown("The shelf is empty. Products typed into a tank recipe come here by themselves.")
    for entry in found[:_PAGE]:
        _draw_entry(recorder, entry)
    if len(found) > _PAGE:
        st.caption(f"{len(found)} found; these are the first {_PAGE}. Type a word to find the others.")
    elif entries:
        st.caption(f"{len(found)} found.")


def _searched(entry: ShelfEntry) -> str:
    p = entry.product
    return " ".join((p.name, p.maker, p.formulation, p.kind, *p.contains)).casefold()


def _draw_entry(recorder: Recorder, entry: ShelfEntry) -> None:
    p = entry.product
    with st.container(border=True, gap="small"):
        gone = " · **off the shelf**" if entry.retired else ""
        st.markdown(f"**{plain(p.said)}** {code_beside(p.name, p.formulation)}{gone}")
        known = knowledge_of(p)
        said = [say_holds(as_far_as_known(p)) or say_kind(p.kind)]
        said += [f"{say_number(p.density_g_ml)} g/mL"] if p.density_g_ml else []
        st.caption(
            f"{plain(', '.join(said))} · {_say_known(p, known)} · written by {plain(entry.by)} {clock(entry.at)}"
        )
        if label := _say_label(p.label):
            st.caption(f"Label: {plain(label)}")
        with st.container(horizontal=True):
            if entry.retired:
                if st.button("Bring it back", key=_key("back", entry.id)):
                    with error_box():
                        bring_back(recorder, entry, by=name())
                        st.rerun()
                return
            if known == "by name" and st.button("✓ That is right", key=_key("right", entry.id)):
                with error_box():
                    confirm_product(recorder, as_far_as_known(p), by=name(), before=entry)
                    st.rerun()
            st.button("Change", key=_key("change", entry.id), on_click=_open, args=(entry,))
            if st.button("Take it off the shelf", key=_key("off", entry.id)):
                with error_box():
                    state.put(_key("said"), (retire(recorder, entry, by=name()),))
                    st.rerun()


def _say_known(product: ShelfProduct, known: Knowledge) -> str:
    """How well it is known what the product holds."""
    if product.checked:
        return "checked against its label"
    if known == "by name":
        return f"by {plain(propose(product).ground)}, not checked"
    return (
        "as written, not checked" if known == "told" else "○ cautions not checked: what is in it is not known"
    )


def _say_label(label: LabelNotes) -> str:
    said = [words for name, words in _SWITCHES.items() if getattr(label, name)]
    for words, targets in (
        ("before", label.before),
        ("after", label.after),
        ("not with", label.not_with),
    ):
        if targets:
            said.append(f"{words} {', '.join(targets)}")
    if label.ph_min is not None or label.ph_max is not None:
        low = "" if label.ph_min is None else f" from {label.ph_min:g}"
        high = "" if label.ph_max is None else f" to {label.ph_max:g}"
        said.append(f"pH{low}{high}")
    return "; ".join((*said, *([label.order_text] if label.order_text else [])))


# ------------------------------------------------------------------------- edit
def _open(entry: ShelfEntry | None) -> None:
    """Put a product, or a new one, into the form."""
    state.put(_key("said"), ())
    state.clear(_FORM, "field")
    state.put(_key("open"), entry.id if entry else "new")
    state.put(_key("revision"), entry.revision if entry else 0)
    p = entry.product if entry else ShelfProduct(name="new")
    label = p.label
    told = as_far_as_known(p) if entry else p
    values: dict[str, object] = {
        "name": p.name if entry else "",
        "maker": p.maker,
        "formulation": p.formulation,
        "kind": told.kind if entry else None,
        "liquid": {None: "", True: "yes", False: "no"}[p.is_liquid],
        "density": say_number(p.density_g_ml) if p.density_g_ml else "",
        "grade": told.grade.text if told.grade else "",
        "lot": p.lot,
        "contains": list(told.contains),
        "checked": p.checked,
        "order_text": label.order_text,
        "before": "; ".join(label.before),
        "after": "; ".join(label.after),
        "not_with": "; ".join(label.not_with),
        "ph_min": "" if label.ph_min is None else f"{label.ph_min:g}",
        "ph_max": "" if label.ph_max is None else f"{label.ph_max:g}",
        "switches": [s for s in _SWITCHES if getattr(label, s)],
    }
    for field, value in values.items():
        state.put(_key("field", field), value)


def _edit(recorder: Recorder, entry: ShelfEntry | None) -> None:
    """The form of one product."""
    st.markdown(f"### {plain(entry.product.said) if entry else 'A new product'}")
    with st.container(horizontal=True):
        _text("Name", "name", "as on the label", 300)
        _text("Maker", "maker", "makers differ", 220)
        _text("Formulation", "formulation", "WP, SC, EC …", 150)
        _text("Lot", "lot", "optional", 150)
    with st.container(horizontal=True):
        st.selectbox(
            "What it is",
            KINDS,
            index=None,
            key=_key("field", "kind"),
            format_func=say_kind,
            placeholder="if you know",
            width=220,
        )
        st.selectbox(
            "Liquid or dry",
            list(_YES_NO),
            key=_key("field", "liquid"),
            format_func=lambda k: _YES_NO[k],
            width=150,
        )
        _text("Density, g/mL", "density", "if known", 150)
        _text("Fertilizer grade", "grade", "10-34-0, Ca 10", 200)
    st.multiselect(
        "Holds",
        TAGS,
        key=_key("field", "contains"),
        format_func=say_tag,
        placeholder="what troubles others, if any",
    )
    st.checkbox(
        "Checked against its label: it holds this and nothing else on the list", key=_key("field", "checked")
    )
    st.markdown("#### What its label says on mixing")
    st.pills(
        "The label says",
        list(_SWITCHES),
        selection_mode="multi",
        key=_key("field", "switches"),
        format_func=lambda s: _SWITCHES[s],
        wrap=True,
    )
    st.caption("Name products, formulations (EC) or kinds (surfactant); several parted by a semicolon.")
    with st.container(horizontal=True):
        _text("Goes in before", "before", "EC; surfactant", 220)
        _text("Goes in after", "after", "WP", 220)
        _text("Do not mix with", "not_with", "a product, or oil", 220)
        _text("pH from", "ph_min", "", 110)
        _text("pH to", "ph_max", "", 110)
    _text("In its own words", "order_text", "as on the label", None)
    with st.container(horizontal=True):
        if st.button("Keep it", key=_key("keep"), type="primary"):
            with error_box():
                if entry is not None and entry.revision != state.get(_key("revision")):
                    msg = f"{entry.by} changed this while you were editing: it is {_say_briefly(entry)} now; leave it, or open it again."
                    raise BadEntry(msg)
                kept = save_product(recorder, _read(), by=name(), before=entry)
                state.put(_key("said"), (f"{kept.product.said} is on the shelf.",))
                _close()
                st.rerun()
        if st.button("Leave it as it was", key=_key("leave")):
            _close()
            st.rerun()


def _say_briefly(entry: ShelfEntry) -> str:
    return entry.product.said_with_code


def _text(label: str, field: str, hint: str, width: int | None) -> None:
    st.text_input(label, key=_key("field", field), placeholder=hint, width=width or "stretch", max_chars=200)


def _close() -> None:
    state.clear(_FORM, "field")
    state.put(_key("open"), None)


def _read() -> ShelfProduct:
    """The product that the form holds.

    Raises
    ------
    BadEntry
        If something typed cannot be taken as it stands.
    """

    def said(field: str) -> str:
        return str(state.get(_key("field", field), "") or "").strip()

    def words(field: str) -> tuple[str, ...]:
        return tuple(w.strip() for w in said(field).split(";") if w.strip())

    def number(field: str) -> float | None:
        return float(read_number(said(field))) if said(field) else None

    ticked = state.get(_key("field", "switches"), [])
    label = LabelNotes(
        order_text=said("order_text"),
        before=words("before"),
        after=words("after"),
        not_with=words("not_with"),
        ph_min=number("ph_min"),
        ph_max=number("ph_max"),
        **{s: s in ticked for s in _SWITCHES},
    )
    return make_product(
        name=said("name"),
        maker=said("maker"),
        formulation=said("formulation"),
        kind=said("kind"),
        density_g_ml=number("density"),
        grade=read_grade(said("grade")) if said("grade") else None,
        contains=tuple(state.get(_key("field", "contains"), [])),
        checked=bool(state.get(_key("field", "checked"))),
        label=label,
        lot=said("lot"),
        is_liquid={"yes": True, "no": False}.get(said("liquid")),
    )


# ------------------------------------------------------------------------- file
def _file_out(entries: tuple[ShelfEntry, ...]) -> None:
    standing = [e.product for e in entries if not e.retired]
    if standing:
        save_button(
            "Download the shelf as CSV",
            lambda: shelf_to_csv(standing),
            file="shelf.csv",
            mime="text/csv",
            key=_key("csv"),
        )


def _file_in(recorder: Recorder) -> None:
    with st.expander("Products from a CSV file", expanded=state.get(_key("report")) is not None):
        st.caption(f"Columns, in any order, all but the name may be left out: {', '.join(SHELF_COLUMNS)}.")
        file = st.file_uploader("CSV file", type=["csv", "txt"], key=_key("file"))
        if file is not None and st.button("Take these products in", key=_key("take"), type="primary"):
            with error_box():
                state.put(
                    _key("report"), _say_taken(read_shelf(recorder, _decode(file.getvalue()), by=name()))
                )
                st.rerun()
        report = state.get(_key("report"))
        if report is not None:
            says, refused = report
            st.success(says)
            if refused:
                st.error(f"{len(refused)} lines were refused; mend them in the file and take it in again:")
                st.markdown("\n".join(f"- {plain(r)}" for r in refused))


def _decode(data: bytes) -> str:
    """The text of a file; one that is not UTF-8 is refused, because a name read wrongly is another product."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        msg = "The file is not text in UTF-8: save it as “CSV UTF-8” and take it in again."
        raise BadEntry(msg) from e


def _say_taken(taken: ShelfTaken) -> tuple[str, tuple[str, ...]]:
    says = f"{len(taken.added)} new, {len(taken.changed)} changed, {taken.same} as they were."
    return says, tuple(f"Line {r.line}, {r.name or 'no name'}: {r.says}" for r in taken.refused)
