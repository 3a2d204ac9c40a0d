"""Paper from the screens, by AppTest: what the buttons offer, and what the codes on it say."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from streamlit.testing.v1 import AppTest

from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.screens import parts

Open = Callable[..., AppTest]


def start(recorder: Recorder) -> str:
    products = (Product(name="Bineguard Copper 20", amount_text="5 mL", amount_ml=5.0),)
    plan = TestPlan(title="Copper alone", products=products, schedule=default_schedule(1, (0.0,)))
    return recorder.start_test(plan, by="Wren", utc_offset_min=0).id


def offered(app: AppTest) -> list[str]:
    assert not app.exception, app.exception[0].message
    return [b.label for b in app.get("download_button")]


def test_a_test_offers_its_sheet_its_label_and_its_readings(kept: Recorder, screen: Open) -> None:
    app = screen("test", id=start(kept))
    assert offered(app) == ["The sheet of this test as PDF", "The jar's label as PDF", "Its readings as CSV"]


def test_the_list_offers_itself_its_readings_and_labels(kept: Recorder, screen: Open) -> None:
    start(kept)
    assert offered(screen("tests")) == [
        "This list as CSV",
        "This list as Parquet",
        "Its readings as CSV",
        "Labels of the jars on this page",
    ]


@pytest.mark.parametrize(
    ("phones", "url", "address"),
    [
        ("", "http://localhost:8501/test", ""),
        ("", "http://127.0.0.1:8501/test", ""),
        ("", None, ""),
        ("", "https://jars.example:8443/test", "https://jars.example:8443/test?id=5"),
        ("http://192.168.1.20:8501", "http://localhost:8501/test", "http://192.168.1.20:8501/test?id=5"),
    ],
)
def test_a_printed_code_leads_where_a_phone_gets_to(
    phones: str, url: str | None, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Context:
        pass

    Context.url = url  # type: ignore[attr-defined]
    monkeypatch.setattr(parts.st, "context", Context)
    monkeypatch.setenv("JARTEST_PHONE_URL", phones)
    assert parts.address_of("test", id="5") == address
