"""Cameras on the screens: put to a jar and taken away on its screen, heartbeats on the bench."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from streamlit.testing.v1 import AppTest

from jartest.field.cameras import Posted, posted
from jartest.plan.schedule import default_schedule
from jartest.records.model import Product, TestPlan
from jartest.settings import open_recorder, read_settings

Open = Callable[..., AppTest]


def jar(home: Path) -> str:
    recorder = open_recorder(read_settings({"JARTEST_HOME": str(home)}))
    plan = TestPlan(title="Copper", products=(Product(name="Copper"),), schedule=default_schedule(1))
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.add_product(test.id, 1, by="Wren")
    recorder.finish_mixing(test.id, by="Wren")
    recorder.store.close()
    return test.id


def test_a_camera_is_put_to_a_jar_its_heartbeat_stands_on_the_bench_and_it_is_taken_away(
    screen: Open, home: Path
) -> None:
    test_id = jar(home)
    app = screen("test", id=test_id)
    next(b for b in app.button if b.label == "Watch with this camera").click().run()
    assert posted(home) == (Posted(camera=0, test_id=test_id),)

    def on_the_bench() -> str:
        return "\n".join(m.value for m in screen("bench").markdown if "Camera 0" in m.value)

    assert "at jar 1: not begun yet" in on_the_bench()
    beat = {"posted": {"camera": 0, "test_id": test_id}, "seen_at": datetime.now(UTC).isoformat()}
    (home / "heartbeats.json").write_text(
        json.dumps([beat | {"trouble": "![x](http://evil.example/a)", "ended": False}])
    )
    assert on_the_bench().startswith("▲")
    assert "![x](" not in on_the_bench()
    next(b for b in app.button if b.label == "Take camera 0 away").click().run()
    assert posted(home) == ()
