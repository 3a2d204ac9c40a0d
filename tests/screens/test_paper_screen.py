"""Paper from the screens, by AppTest: what the buttons offer, and what the codes on it say."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from streamlit.testing.v1 import AppTest

from jartest.field.files import Offer
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.screens import parts

Open = Callable[..., AppTest]
Offered = Callable[[AppTest], dict[str, Offer]]


def start(recorder: Recorder) -> str:
    products = (Product(name="Bineguard Copper 20", amount_text="5 mL", amount_ml=5.0),)
    plan = TestPlan(title="Copper alone", products=products, schedule=default_schedule(1, (0.0,)))
    return recorder.start_test(plan, by="Wren", utc_offset_min=0).id


def test_a_test_offers_its_sheet_its_label_and_its_readings(
    kept: Recorder, screen: Open, offered: Offered
) -> None:
    app = screen("test", id=start(kept))
    assert list(offered(app)) == [
        "The sheet of this test as PDF",
        "The jar's label as PDF",
        "Its readings as CSV",
    ]


def test_a_redraw_leaves_every_file_where_it_was(kept: Recorder, screen: Open, offered: Offered) -> None:
    app = screen("test", id=start(kept))
    before = {label: offer.path for label, offer in offered(app).items()}
    assert {label: offer.path for label, offer in offered(app.run()).items()} == before
    sheet = offered(app)["The sheet of this test as PDF"]
    assert bytes(sheet.make()).startswith(b"%PDF-")


def test_the_list_offers_itself_its_readings_and_labels(
    kept: Recorder, screen: Open, offered: Offered
) -> None:
    start(kept)
    assert list(offered(screen("tests"))) == [
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
