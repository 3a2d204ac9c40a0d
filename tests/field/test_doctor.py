"""What the doctor finds, and that looking changes nothing."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import socket
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from jartest import cli
from jartest.errors import CameraFault
from jartest.field import doctor
from jartest.field.doctor import Finding, examine
from jartest.records.model import JarTest
from jartest.settings import Settings, open_recorder

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    home = tmp_path / "home"
    return Settings(home=home, database_url=f"sqlite:///{home / 'jartest.sqlite'}")


@pytest.fixture
def used(settings: Settings) -> Settings:
    """A data folder with a store in it."""
    open_recorder(settings).store.close()
    return settings


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def found(settings: Settings, what: str, **kw: Any) -> Finding:
    said = {"now": NOW, "port": free_port()} | kw
    return next(f for f in examine(settings, **said) if f.what == what)


def everything(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in folder.rglob("*")
        if p.is_file() and not p.name.endswith(("-shm", "-wal"))
    }


def test_a_fresh_installation_is_well(settings: Settings) -> None:
    grades = {f.what: f.grade for f in examine(settings, now=NOW, port=free_port())}
    assert set(grades.values()) == {"well"}
    assert set(grades) == {
        "Python",
        "OpenCV",
        "Data folder",
        "Disk",
        "Record store",
        "Limits",
        "Clock",
        "Access code",
        "Port",
    }
    assert not settings.home.exists(), "looking made something"


def test_a_used_one_is_well_and_stays_as_it_was(used: Settings) -> None:
    before = everything(used.home)
    assert {f.grade for f in examine(used, now=NOW, port=free_port())} == {"well"}
    assert everything(used.home) == before


def test_every_finding_that_is_not_well_says_what_to_do(used: Settings) -> None:
    (used.home / "jartest.sqlite").write_bytes(b"no database" * 100)
    (used.home / "limits.toml").write_text("not toml [")
    (used.home / "access.json").write_text("{")
    bad = [f for f in examine(used, now=datetime(2001, 1, 1, tzinfo=UTC), port=1) if f.grade != "well"]
    assert {f.what for f in bad} == {"Record store", "Limits", "Access code", "Clock"}
    assert all(f.do for f in bad)


@pytest.mark.parametrize(
    ("builds", "grade"),
    [
        (("opencv-python-headless",), "well"),
        (("opencv-python", "opencv-python-headless"), "fault"),
        (("opencv-contrib-python", "opencv-python-headless"), "fault"),
        ((), "fault"),
    ],
)
def test_two_builds_of_opencv_are_a_fault(builds: tuple[str, ...], grade: str) -> None:
    said = doctor._libraries(lambda name: name in builds)
    assert said.grade == grade
    if grade == "fault":
        assert "pip install opencv-python-headless" in said.do


def test_a_folder_that_may_not_be_written_to_is_a_fault(tmp_path: Path) -> None:
    if os.name == "nt" or os.geteuid() == 0:
        # Nothing is forbidden to root; a file in the folder's place is what root cannot write into.
        (tmp_path / "home").write_text("")
    else:
        (tmp_path / "home").mkdir(mode=0o500)
    home = tmp_path / "home" / "deeper"
    said = found(Settings(home=home, database_url=f"sqlite:///{home / 'x.sqlite'}"), "Data folder")
    assert said.grade == "fault"
    assert "JARTEST_HOME" in said.do


@pytest.mark.parametrize(("free", "grade"), [(5e9, "well"), (5e8, "note"), (5e7, "fault")])
def test_a_disk_that_fills_up_is_said_in_time(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, free: float, grade: str
) -> None:
    usage = type("Usage", (), {"free": int(free)})
    monkeypatch.setattr("shutil.disk_usage", lambda _: usage)
    assert found(settings, "Disk").grade == grade


@pytest.mark.parametrize(("revision", "grade"), [("0000", "note"), ("9999", "fault")])
def test_another_schema_is_said_and_not_touched(used: Settings, revision: str, grade: str) -> None:
    with closing(sqlite3.connect(used.home / "jartest.sqlite")) as c, c:
        c.execute("UPDATE alembic_version SET version_num = ?", (revision,))
    assert found(used, "Record store").grade == grade
    with closing(sqlite3.connect(used.home / "jartest.sqlite")) as c:
        assert c.execute("SELECT version_num FROM alembic_version").fetchone() == (revision,)


def test_a_store_held_by_another_program_can_still_be_looked_at(used: Settings) -> None:
    with closing(sqlite3.connect(used.home / "jartest.sqlite", isolation_level=None)) as c:
        c.execute("BEGIN IMMEDIATE")
        assert found(used, "Record store").grade == "well"
        c.execute("ROLLBACK")


def test_a_clock_set_back_behind_the_records_is_a_fault(used: Settings) -> None:
    recorder = open_recorder(used)
    from jartest.records.model import Product, TestPlan

    plan = TestPlan(title="Clock", products=(Product(name="Bineguard Copper 20"),))
    test: JarTest = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    recorder.finish_mixing(test.id, by="Wren")
    mixed = recorder.case(test.id).mixed_at
    recorder.store.close()
    assert mixed is not None
    assert found(used, "Clock", now=max(mixed, doctor.BUILT) + timedelta(minutes=1)).grade == "well"
    said = found(used, "Clock", now=mixed - timedelta(hours=1))
    assert said.grade == "fault"
    assert "time zone" in said.do


def test_a_port_that_is_taken_is_a_note(settings: Settings) -> None:
    with socket.create_server(("127.0.0.1", 0)) as s:
        assert found(settings, "Port", port=s.getsockname()[1]).grade == "note"


def test_a_camera_is_tried_only_when_asked(settings: Settings) -> None:
    assert [f for f in examine(settings, now=NOW, port=free_port()) if f.what == "Camera"] == []
    assert found(settings, "Camera", camera=lambda: b"x" * 2_000_000).says == "it gives a picture of 2.0 MB"

    def gone() -> bytes:
        raise CameraFault("Camera 0 is not there or in use; check its cable, or give another number.")

    said = found(settings, "Camera", camera=gone)
    assert (said.grade, "check its cable" in said.says) == ("fault", True)


def test_a_machine_without_a_camera_is_told_so_by_opencv_itself() -> None:
    if sys.platform == "linux" and Path("/dev/video63").exists():
        pytest.skip("this machine has 64 cameras")
    from jartest.imaging.camera import UsbCamera

    with pytest.raises(CameraFault, match="Camera 63 is not there"):
        UsbCamera(63).shoot()


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    monkeypatch.setenv("JARTEST_HOME", str(tmp_path / "home"))
    return lambda *words: CliRunner().invoke(cli.commands, words)


def test_the_command_ends_with_1_where_something_is_wrong(run: Callable[..., Any], tmp_path: Path) -> None:
    assert run("doctor", "--port", str(free_port())).exit_code == 0
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "access.json").write_text("{")
    said = run("doctor", "--port", str(free_port()))
    assert said.exit_code == 1
    assert "✕ fault  Access code" in said.output


def test_the_code_command_makes_a_code_that_fits(run: Callable[..., Any], tmp_path: Path) -> None:
    from jartest.field.access import Access

    said = run("code").output
    code = said.split("now ")[1].split(":")[0]
    access = Access(tmp_path / "home")
    assert access.code_fits(code)
    token = access.link_token("a" * 32)
    run("code", "--links")
    assert access.link_token("a" * 32) != token
    assert not access.code_fits(code)


def test_watch_wants_one_source_and_an_existing_test(run: Callable[..., Any], tmp_path: Path) -> None:
    assert run("watch", "--test", "1", "--camera", "0").exit_code == 1
    assert run("watch", "--test", "1").exit_code != 0
    assert run("watch", "--camera", "0").exit_code == 2


def test_a_certificate_is_for_the_shop_s_address_and_its_key_for_its_owner(
    run: Callable[..., Any], tmp_path: Path
) -> None:
    from cryptography import x509

    said = run("certificate", "--address", "192.0.2.20")
    assert said.exit_code == 0, said.output
    folder = tmp_path / "home" / "tls"
    made = x509.load_pem_x509_certificate((folder / "jartest-cert.pem").read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.0.2.20" in [str(a) for a in names.get_values_for_type(x509.IPAddress)]
    assert "localhost" in names.get_values_for_type(x509.DNSName)
    made.verify_directly_issued_by(made)
    assert (made.not_valid_after_utc - made.not_valid_before_utc).days <= 825
    if os.name != "nt":
        assert (folder / "jartest-key.pem").stat().st_mode & 0o077 == 0


def test_a_client_that_trusts_the_certificate_can_talk_by_the_shop_s_address(
    run: Callable[..., Any], tmp_path: Path
) -> None:
    import ssl
    import threading

    run("certificate", "--address", "127.0.0.1")
    folder = tmp_path / "home" / "tls"
    here = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    here.load_cert_chain(folder / "jartest-cert.pem", folder / "jartest-key.pem")
    listener = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        with listener.accept()[0] as raw, here.wrap_socket(raw, server_side=True) as s:
            s.sendall(b"hello")

    thread = threading.Thread(target=answer)
    thread.start()
    there = ssl.create_default_context(cafile=folder / "jartest-cert.pem")
    with (
        socket.create_connection(listener.getsockname(), timeout=10) as raw,
        there.wrap_socket(raw, server_hostname="127.0.0.1") as s,
    ):
        assert s.recv(5) == b"hello"
    thread.join()
    listener.close()


def test_the_secrets_are_not_in_the_doctor_s_words(run: Callable[..., Any], tmp_path: Path) -> None:
    code = run("code").output.split("now ")[1].split(":")[0]
    kept = json.loads((tmp_path / "home" / "access.json").read_text())
    said = run("doctor", "--port", str(free_port())).output
    for secret in (code, kept["key"], kept["code"]["hash"], kept["code"]["salt"]):
        assert secret not in said


def test_photos_elsewhere_are_tried_out_and_nothing_is_left_there(used: Settings, tmp_path: Path) -> None:
    share = tmp_path / "share"
    elsewhere = dataclasses.replace(used, photos_url=str(share))
    gone = found(elsewhere, "Photos")
    assert (gone.grade, "mount or make it" in gone.says, bool(gone.do)) == ("fault", True, True)
    share.mkdir()
    assert found(elsewhere, "Photos").grade == "well"
    assert [p for p in share.rglob("*") if p.is_file()] == []
    unknown = found(dataclasses.replace(used, photos_url="gopher://x/y"), "Photos")
    assert unknown.grade == "fault"
    assert "gopher" in unknown.says


def test_photos_that_are_kept_in_memory_are_a_fault(used: Settings) -> None:
    pytest.importorskip("fsspec", reason="fsspec of the test extra is not installed here")
    said = found(dataclasses.replace(used, photos_url="memory://shop/photos"), "Photos")
    assert said.grade == "fault"
    assert "gone when the app stops" in said.says
