"""The pieces of the screens that are plain functions, and the reach into Streamlit that frees uploads."""

from __future__ import annotations

import math
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest

from jartest.errors import BadEntry
from jartest.imaging.values import Marks
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.screens.curve_part import curve_rows
from jartest.screens.launch import server_options
from jartest.screens.line_setter import marks_from
from jartest.screens.parts import SHAPES, STATE_SHAPES, percent, plain, say_word
from jartest.screens.timeline import timeline
from jartest.trend import CurvePoint

REPO = Path(__file__).resolve().parents[2]


def test_the_marks_of_the_browser_are_four_numbers() -> None:
    sent = {"id": "x", "left_px": 10, "right_px": 90.5, "floor_px": 200, "surface_px": 40}
    assert marks_from(sent) == Marks(left_px=10.0, right_px=90.5, floor_px=200.0, surface_px=40.0)


@pytest.mark.parametrize("bad", [None, "12", True, math.nan, math.inf, [1]])
def test_anything_else_from_the_browser_is_refused(bad: Any) -> None:
    good = {"left_px": 10, "right_px": 90, "floor_px": 200, "surface_px": 40}
    for name in good:
        with pytest.raises(BadEntry, match="four numbers"):
            marks_from(good | {name: bad})
    with pytest.raises(BadEntry, match="four numbers"):
        marks_from(bad)


def test_what_is_not_measurable_is_said_and_never_a_number() -> None:
    assert percent(math.nan, math.nan) == "not measurable"
    assert percent(0.1234, 0.005) == "12.3 % ± 0.5 %"
    assert percent(0.1234, math.nan) == "12.3 %"


def test_every_word_and_state_has_a_shape_of_its_own() -> None:
    assert len(set(SHAPES.values())) == 4
    assert len(set(STATE_SHAPES.values())) == 6
    assert say_word(None) == "○ NO VERDICT"


@given(st.text(alphabet=r"ab *_[](){}<>`~#+-.!|$:&\\" + "\n"))
def test_no_typed_text_holds_live_markup(text: str) -> None:
    out = plain(text)
    assert "\n" not in out
    for at, char in enumerate(out):
        if char in r"*_[]()<>`~#|$:&":
            behind = len(out[:at]) - len(out[:at].rstrip("\\"))
            assert behind % 2 == 1, "every mark has its own backslash"


def test_the_curve_leaves_out_what_is_not_measurable() -> None:
    point = CurvePoint(
        age_s=300.0,
        settled_fraction=0.2,
        settled_sigma_fraction=0.01,
        clear_fraction=math.nan,
        clear_sigma_fraction=math.nan,
        top_layer_fraction=0.0,
        top_layer_sigma_fraction=math.nan,
    )
    settled, floating = curve_rows((point,))
    assert (settled["minutes"], settled["what"], settled["fraction"]) == (5.0, "settled", 0.2)
    assert (settled["low"], settled["high"]) == pytest.approx((0.19, 0.21))
    assert (floating["what"], floating["low"], floating["high"]) == ("floating", 0.0, 0.0)


def test_the_history_tells_who_did_what_in_order_of_time(recorder: Recorder, clock: Any) -> None:
    products = (Product(name="Bineguard Copper 20"),)
    test = recorder.start_test(TestPlan(title="One", products=products), by="Wren", utc_offset_min=0)
    acts = (
        lambda: recorder.add_product(test.id, 1, by="Teal"),
        lambda: recorder.finish_mixing(test.id, by="Teal"),
        lambda: recorder.observe(test.id, by="Wren", signs=["gel"], remix="not at all", text="slimy"),
        lambda: recorder.give_opinion(test.id, word="watch", reason="stirs out", by="Teal"),
        lambda: recorder.sign(
            test.id,
            word="fail",
            reason="",
            by="Wren",
            expected_revision=1,
            expected_verdict=recorder.judge(test.id).id,
        ),
    )
    for act in acts:
        clock.go_on(minutes=1)
        act()
    said = [(h.by, h.says) for h in timeline(recorder.case(test.id))]
    assert said == [
        ("Wren", "planned the test"),
        ("Teal", "product 1 in: Bineguard Copper 20"),
        ("Teal", "mixing done, the clock starts"),
        ("Wren", "saw: Gel, jelly or slimy strings, does not re-mix, “slimy”"),
        ("", "machine's verdict: ✖ FAIL · 0"),
        ("Teal", "own verdict: watch (stirs out)"),
        ("Wren", "signed fail, on revision 1 of the plan"),
    ]
    first, *_, last = timeline(recorder.case(test.id))
    assert first.at == datetime(2026, 3, 14, 13, 30, tzinfo=UTC)
    assert last.at - first.at == timedelta(minutes=5)


def test_the_app_stays_on_this_machine_and_quiet() -> None:
    said = server_options(port=8599)
    assert said["server.address"] == "127.0.0.1"
    assert said["server.port"] == 8599
    assert said["browser.gatherUsageStats"] is False
    assert said["client.showErrorDetails"] == "none"
    assert said["client.showErrorLinks"] is False
    assert said["server.allowedHosts"] == ["localhost", "127.0.0.1", "::1"]


def test_on_the_network_the_app_is_called_by_the_names_it_was_given() -> None:
    said = server_options(port=8599, hosts=("192.0.2.20", "bench.local"))
    assert said["server.address"] == "0.0.0.0"
    # Without this Streamlit asks an outside server for this machine's address.
    assert said["browser.serverAddress"] == "192.0.2.20"
    assert said["server.allowedHosts"][-2:] == ["192.0.2.20", "bench.local"]


def test_the_files_for_the_browser_are_part_of_the_package() -> None:
    wheel = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["build"]["targets"][
        "wheel"
    ]
    assert wheel["packages"] == ["jartest"]
    names = {p.name for p in (REPO / "jartest" / "screens" / "web").iterdir()}
    assert {"lines.html", "lines.css", "lines.js", "countdown.js", "name.js", "look.css"} <= names


def _upload_and_forget() -> None:
    import streamlit as st
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    from jartest.screens.uploads import forget_upload

    file = st.file_uploader("file", key="file")
    ctx = get_script_run_ctx()
    if file is not None and ctx is not None:

        def held() -> int:
            return len(ctx.uploaded_file_mgr.get_files(ctx.session_id, [file.file_id]))

        before = held()
        forget_upload(file)
        st.text(f"{before} then {held()}")


def test_an_upload_that_is_kept_on_disk_is_freed_from_memory() -> None:
    app = AppTest.from_function(_upload_and_forget).run()
    app.file_uploader[0].upload("a.jpg", b"x" * 1000, "image/jpeg").run()
    assert not app.exception
    assert app.text[0].value == "1 then 0"
