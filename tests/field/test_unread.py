"""Photos that were kept and not read: counted by the check, read at the next start, none that was acknowledged."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from jartest.errors import StoreFault
from jartest.exchange.check import check_home
from jartest.field.unread import read_unread
from jartest.recorder import Recorder
from jartest.records.model import JarTest

Photo = Callable[[str], bytes]


@pytest.fixture
def unread(recorder: Recorder, jar: JarTest, photo: Photo, monkeypatch: pytest.MonkeyPatch) -> str:
    """The digest of a photo whose reading was cut off."""

    def die(*_: Any, **__: Any) -> None:
        raise StoreFault("The disk is full; nothing was saved, make room and try again.")

    with monkeypatch.context() as broken:
        broken.setattr(type(recorder.store), "add_reading", die)
        with pytest.raises(StoreFault):
            recorder.take_look(jar.id, slot="age-0", data=photo("settler-0015min"), name="a.jpg", by="Teal")
    look = recorder.case(jar.id).looks[0]
    assert recorder.case(jar.id).latest_reading(look.id) is None
    return look.photo.sha256


def test_the_check_counts_them_and_the_next_start_reads_them(
    recorder: Recorder, jar: JarTest, unread: str
) -> None:
    says = [f.says for f in check_home(recorder.store, recorder.photos).findings]
    assert any("not read yet: 1, of test #1" in s for s in says)
    done = read_unread(recorder)
    assert (done.read, done.failed) == (1, ())
    case = recorder.case(jar.id)
    assert case.latest_reading(case.looks[0].id) is not None
    assert case.verdicts
    assert read_unread(recorder).read == 0
    assert check_home(recorder.store, recorder.photos).findings == ()


def test_one_whose_file_is_gone_is_said_and_stops_no_other(
    recorder: Recorder, jar: JarTest, photo: Photo, unread: str
) -> None:
    recorder.photos.remove(unread)
    said: list[str] = []
    done = read_unread(recorder, say=said.append)
    assert done.read == 0
    assert len(said) == len(done.failed) == 1
    assert said[0].startswith("A kept photo of test #1 cannot be read: There is no photo")


def test_one_that_was_read_and_not_judged_is_judged_at_the_next_start(
    recorder: Recorder, jar: JarTest, photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(Recorder, "judge", lambda *_: (_ for _ in ()).throw(StoreFault("Stopped.")))
        with pytest.raises(StoreFault):
            recorder.take_look(jar.id, slot="age-0", data=photo("settler-0015min"), name="a.jpg", by="Teal")
    assert not recorder.case(jar.id).verdicts
    read_unread(recorder)
    assert recorder.case(jar.id).verdicts


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_a_server_killed_at_random_amid_uploads_leaves_nothing_acknowledged_unread(
    figures: Callable[[str], None],
) -> None:
    script = Path(__file__).with_name("upload_kill_run.py")
    done = subprocess.run(
        [sys.executable, str(script), "4"], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "none lost, none unread after a restart" in done.stdout
    figures(done.stdout.splitlines()[0])
