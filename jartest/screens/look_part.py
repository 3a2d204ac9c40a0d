"""The looks of a test: a photo in, measured at once, its lines set right by thumb."""

from __future__ import annotations

import math

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from jartest.errors import BadPhoto, StoreFault
from jartest.imaging.quality import REGISTER
from jartest.imaging.sizes import layer_sizes
from jartest.imaging.values import LayerKind, Reading
from jartest.jars import shape_of
from jartest.plan.jars import JarShape
from jartest.plan.schedule import EXTRA, next_look
from jartest.recorder import Recorder, RunningTest, say_slot
from jartest.records.model import Case, KeptReading, Look
from jartest.screens import state
from jartest.screens.line_setter import line_setter
from jartest.screens.parts import (
    PHOTO_TYPES,
    SHAPES,
    STATE_SHAPES,
    clock,
    error_box,
    overlay_picture,
    percent,
    plain,
    plain_picture,
    show_plate,
    show_reasons,
)
from jartest.screens.uploads import forget_upload
from jartest.screens.who import name

__all__ = ["draw_figures", "draw_looks", "draw_sizes", "say_flags", "take_photo"]

_KINDS: dict[LayerKind, str] = {
    "foam": "Foam",
    "floating": "Floating",
    "clear": "Clear",
    "body": "Liquid",
    "settled": "Settled",
}
_ORIGINS = {
    "found": "Lines as found in the photo; nobody has checked them yet.",
    "carried": "Lines carried over from the earlier look; check them.",
    "set": "Lines set by hand by {by}.",
}


# ------------------------------------------------------------------ photo comes in
def take_photo(recorder: Recorder, case: Case, standing: RunningTest) -> None:
    """A photo for the look that is due, or for any other; it is kept as soon as it is picked."""
    test_id = case.test.id
    states = {d.slot.key: d.state for d in standing.due}
    over = {d.slot.key for d in standing.due if d.state == "missed" and d.slot.addition is not None}
    slots = [k for k, s in states.items() if s not in ("taken", "waiting") and k not in over] + [EXTRA]
    following = next_look([d for d in standing.due if d.state in ("due", "late")])
    choice = _offer(test_id, following.slot.key if following else EXTRA, slots)
    chosen = st.pills(
        "Photo for",
        slots,
        key=choice,
        required=True,
        wrap=True,
        format_func=lambda k: (
            f"{STATE_SHAPES[states[k]]} {say_slot(k, case.test.plan)}: {states[k]}"
            if k in states
            else "extra look"
        ),
    )
    _draw_said(test_id)
    turn = state.key("test", test_id, "turn")
    photo = st.file_uploader(
        "Take or choose the photo; it is kept and measured at once",
        type=PHOTO_TYPES,
        # Not keyed by the slot: a look that falls due while the camera is open must not lose the photo.
        key=state.key("test", test_id, "photo", state.get(turn, 0)),
    )
    with st.expander("Use this computer's webcam"):
        if st.toggle("Webcam on", key=state.key("test", test_id, "webcam")):
            photo = photo or st.camera_input(
                "Webcam", resolution="1080p", key=state.key("test", test_id, "camera", state.get(turn, 0))
            )
    if photo is not None:
        _keep_photo(recorder, test_id, chosen or EXTRA, photo, turn)


def _offer(test_id: str, first: str, slots: list[str]) -> str:
    """The key of the chosen slot: the person's choice stands until another look falls due or it is taken."""
    choice, offered = state.key("test", test_id, "slot"), state.key("test", test_id, "offered")
    if state.get(offered) != first or state.get(choice) not in slots:
        state.put(choice, first)
        state.put(offered, first)
    return choice


def _keep_photo(recorder: Recorder, test_id: str, slot: str, photo: UploadedFile, turn: str) -> None:
    """Keep and measure one photo; one that could not be kept stays here and is tried again."""
    said: tuple[str, ...] = ()
    with error_box() as box, st.spinner("Measuring …"):
        taken = recorder.take_look(test_id, slot=slot, data=photo.getvalue(), name=photo.name, by=name())
        state.put(state.key("test", test_id, "shown"), taken.look.id)
        said = taken.warnings
    if box.error and not isinstance(box.error, BadPhoto):
        kind = "It is tried again as soon as there is room." if isinstance(box.error, StoreFault) else ""
        st.markdown(f"The photo is **not kept yet**; it waits here. {kind}")
        st.button("Try again", key=state.key("test", test_id, "again"))
        return
    state.put(state.key("test", test_id, "said"), (str(box.error),) if box.error else said)
    state.put(state.key("test", test_id, "refused"), box.error is not None)
    forget_upload(photo)
    state.put(turn, state.get(turn, 0) + 1)
    st.rerun()


def _draw_said(test_id: str) -> None:
    """What there was to say about the last photo."""
    refused = state.get(state.key("test", test_id, "refused"), False)
    for text in state.get(state.key("test", test_id, "said"), ()):
        (st.error if refused else st.warning)(plain(text))


# ------------------------------------------------------------------- looks taken
def draw_looks(recorder: Recorder, case: Case) -> None:
    """One look at a time, the newest first: marked photo, figures, lines to set."""
    if not case.looks:
        return
    looks = sorted(case.looks, key=lambda x: x.taken_at)
    by_id = {x.id: x for x in looks}
    shown = state.key("test", case.test.id, "shown")
    if state.get(shown) not in by_id:
        state.put(shown, looks[-1].id)
    if len(looks) > 1:
        st.pills(
            "Looks taken",
            [x.id for x in looks],
            key=shown,
            required=True,
            wrap=True,
            format_func=lambda i: _say_look(case, by_id[i]),
        )
    look = by_id[state.get(shown)]
    kept = case.latest_reading(look.id)
    if kept is None:
        st.warning("This photo is kept but could not be measured; take the look again.")
        return
    _draw_look(recorder, case, look, kept)


def _say_look(case: Case, look: Look) -> str:
    kept = case.latest_reading(look.id)
    word = None if kept is None else kept.verdict.word
    at = f" {clock(look.taken_at, case.test, day=False)}" if look.slot == EXTRA else ""
    return f"{SHAPES[word]} {plain(say_slot(look.slot, case.test.plan))}{at}"


def _draw_look(recorder: Recorder, case: Case, look: Look, kept: KeptReading) -> None:
    reading, says = kept.reading, say_slot(look.slot, case.test.plan)
    editing = state.key("test", case.test.id, "lines", look.id)
    signed_under = case.signed and look.received_at <= case.signatures[-1].at
    setting = not signed_under and (kept.origin != "set" or bool(state.get(editing)))
    left, right = st.columns(2) if setting else (st.container(), None)
    with left:
        st.image(
            overlay_picture(recorder, look, reading, kept.id),
            width="stretch" if setting else 560,
            alt=f"Photo of the look {says} with what was measured drawn on it",
        )
        st.caption(
            f"{plain(says)} · {clock(look.taken_at, case.test)} · {_ORIGINS[kept.origin].format(by=plain(kept.by))}"
        )
    if right is not None:
        with right:
            _set_lines(recorder, look, kept, editing)
    elif not signed_under:
        st.button("Move the lines again", key=f"{editing}.open", on_click=state.put, args=(editing, True))
    show_plate(kept.verdict.word, f"this photo alone, {plain(says)}", place=f"look-{look.id}")
    draw_figures(reading)
    draw_sizes(reading, shape_of(recorder, case.test.plan.jar))
    say_flags(reading)
    with st.expander("Reasons for this photo's verdict", expanded=kept.verdict.word != "pass"):
        show_reasons(kept.verdict)


def _set_lines(recorder: Recorder, look: Look, kept: KeptReading, editing: str) -> None:
    with error_box():
        marks = line_setter(
            plain_picture(recorder, look),
            kept.reading.jar,
            width_px=kept.reading.width_px,
            height_px=kept.reading.height_px,
            of=kept.id,
            key=state.key("lines", look.id),
        )
        if marks is not None:
            recorder.set_lines(look.id, marks, by=name())
            state.put(editing, False)
            st.rerun()


# ----------------------------------------------------------------------- figures
def draw_figures(reading: Reading) -> None:
    """The figures of a reading, in percent of the height of the liquid."""
    if not reading.jar_found:
        return
    lumps = "not measurable" if math.isnan(reading.floc_index) else f"{reading.floc_index:.2f}"
    rows = (
        ("Settled", percent(reading.settled_fraction, reading.settled_sigma_fraction)),
        ("Clear", percent(reading.clear_fraction, reading.clear_sigma_fraction)),
        ("Floating", percent(reading.top_layer_fraction, reading.top_layer_sigma_fraction)),
        ("Foam", percent(reading.foam_fraction, reading.foam_sigma_fraction)),
        ("Lump index, 0 to 1", lumps),
    )
    st.markdown(
        "| of the liquid's height | |\n|---|---|\n" + "\n".join(f"| {n} | **{v}** |" for n, v in rows)
    )


def draw_sizes(reading: Reading, jar: JarShape | None) -> None:
    """The layers in millimetres, and in millilitres where the jar is known; nothing without a scale."""
    sizes = layer_sizes(reading, jar)
    if not sizes or reading.jar is None:
        return
    rows = "\n".join(
        f"| {_KINDS[x.kind]} | {x.bottom_mm:.1f} to **{x.top_mm:.1f} ± {x.top_sigma_mm:.1f} mm** | "
        f"{_say_ml(x.volume_ml, x.volume_sigma_ml)} |"
        for x in reversed(sizes)
    )
    st.markdown(f"| layer | above the inner floor | volume |\n|---|---|---|\n{rows}")
    frame, by = reading.jar, "the reference card" if "card" in reading.flags else "the jar's diameter"
    st.caption(
        f"Scale by {by}: {reading.mm_per_px:.4g} ± {reading.mm_per_px_sigma:.2g} mm a row; inner floor in row {frame.floor_px:.0f}, "
        f"surface in row {frame.surface_px:.0f}."
    )


def _say_ml(value: float, sigma: float) -> str:
    return "not known" if math.isnan(value) else f"{value:.0f} ± {sigma:.0f} mL"


def say_flags(reading: Reading) -> None:
    """What the photo suffers from, and what to do about it."""
    told = [
        f
        for f in REGISTER
        if f.name in reading.flags and f.name not in ("set by hand", "carried over", "card")
    ]
    if told:
        st.markdown("\n".join(f"- {f.says} {f.do}" for f in told))
