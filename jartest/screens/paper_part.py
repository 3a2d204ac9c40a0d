"""Paper of a test: the sheet to file, the label for its jar, and its readings as a table."""

from __future__ import annotations

import streamlit as st

from jartest.exchange.labels import label_sheet
from jartest.exchange.sheet import sheet_of
from jartest.exchange.tables import csv_of_readings
from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.screens import state
from jartest.screens.parts import address_of
from jartest.screens.save_button import save_button
from jartest.settings import read_settings
from jartest.tank import cautions_of_plan

__all__ = ["draw_paper"]


def draw_paper(recorder: Recorder, case: Case) -> None:
    """Buttons that save each as a file; the file is made when its button is pressed."""
    test = case.test
    address = address_of("test", id=test.id)

    def label() -> bytes:
        settings = read_settings()
        phones = settings.phone_url
        link = f"{phones}{link_path(Access(settings.home), test)}" if phones else f"jartest:{test.id}"
        return label_sheet([case], lambda _: link)

    with st.expander("Paper: the sheet, the jar's label, the readings"):
        for name, make, file, mime in (
            (
                "The sheet of this test as PDF",
                lambda: sheet_of(
                    case,
                    recorder.photos.get,
                    address=address,
                    cautions=cautions_of_plan(recorder, test.plan),
                ),
                f"jar-test-{test.number}.pdf",
                "application/pdf",
            ),
            ("The jar's label as PDF", label, f"jar-label-{test.number}.pdf", "application/pdf"),
            (
                "Its readings as CSV",
                lambda: csv_of_readings([case]),
                f"jar-test-{test.number}-readings.csv",
                "text/csv",
            ),
        ):
            save_button(
                name,
                make,
                file=file,
                mime=mime,
                key=state.key("paper", test.id, file),
            )
        st.caption(
            "Stick the label on before you mix: its code sends photos to this test while phones can reach "
            "the app, and names the test otherwise."
        )
