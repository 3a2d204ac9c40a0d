"""The house in one file: written while others write, read back, restored elsewhere, and checked."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import stat
import threading
import uuid
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from jartest.errors import BadParcel, Conflict, StoreFault
from jartest.exchange.backup import back_up, restore
from jartest.exchange.check import check_home
from jartest.jars import save_jar
from jartest.plan.jars import Filling, make_jar
from jartest.records.photofiles import PhotoFiles
from jartest.records.photoplaces import place_at
from jartest.records.store import Store
from jartest.settings import open_recorder, read_settings


def photo_file(home: Path, n: int = 0) -> Path:
    return sorted((home / "photos").glob("*/*.jpg"))[n]


def left_in(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


# ----------------------------------------------------------------- there, back
def test_what_was_backed_up_comes_back_in_an_empty_home(recorder, case, home, tmp_path) -> None:
    (home / "limits.toml").write_text("[settled]\npass_max = 0.01\n")
    file = tmp_path / "house.zip"
    done = back_up(recorder.store, recorder.photos, file, at=recorder.now(), shop_limits=home / "limits.toml")
    assert (done.photos, done.lost_photos) == (2, ())
    assert done.size_bytes == file.stat().st_size
    again = restore(file, tmp_path / "new")
    assert again.photos == 2
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'jartest.sqlite'}") as store:
        assert repr(store.case(case.test.id)) == repr(case)
        photos = PhotoFiles(tmp_path / "new" / "photos")
        for look in case.looks:
            assert photos.get(look.photo.sha256) == recorder.photos.get(look.photo.sha256)
        assert check_home(store, photos).clean
    assert (tmp_path / "new" / "limits.toml").read_text() == "[settled]\npass_max = 0.01\n"
    assert not [n for n in left_in(tmp_path / "new") if n.startswith(".")]


def test_the_shop_s_jars_come_back_with_the_records(recorder, case, tmp_path) -> None:
    fillings = (Filling(height_mm=40.0, volume_ml=150.0), Filling(height_mm=90.0, volume_ml=400.0))
    jar = make_jar(name="Old taper", inner_diameter_mm=79.5, wall_mm=1.2, volume_ml=500, fillings=fillings)
    kept = save_jar(recorder, jar, by="Wren")
    back_up(recorder.store, recorder.photos, tmp_path / "house.zip", at=recorder.now())
    restore(tmp_path / "house.zip", tmp_path / "new")
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'jartest.sqlite'}") as store:
        assert store.jars() == (kept,)


def test_the_backup_holds_one_moment_while_another_thread_writes(recorder, case, tmp_path) -> None:
    stop = threading.Event()
    written: list[str] = []

    def write() -> None:
        while not stop.is_set():
            written.append(recorder.add_product(case.test.id, 1, by="Wren").id)
            test = recorder.start_test(case.test.plan, by="Wren", utc_offset_min=0)
            recorder.finish_mixing(test.id, by="Wren")
            written.append(test.id)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for n in range(3):
            before = recorder.count()
            back_up(recorder.store, recorder.photos, tmp_path / f"{n}.zip", at=recorder.now())
            after = recorder.count()
            restore(tmp_path / f"{n}.zip", tmp_path / f"home{n}")
            with Store.open(f"sqlite:///{tmp_path / f'home{n}' / 'jartest.sqlite'}") as store:
                assert before <= store.count() <= after
                assert check_home(store, PhotoFiles(tmp_path / f"home{n}" / "photos")).clean
    finally:
        stop.set()
        thread.join()
    assert len(written) > 4


def test_a_backup_overwrites_no_file(recorder, tmp_path) -> None:
    file = tmp_path / "house.zip"
    file.write_bytes(b"something else")
    with pytest.raises(Conflict, match="already"):
        back_up(recorder.store, recorder.photos, file, at=recorder.now())
    assert file.read_bytes() == b"something else"


def test_a_backup_into_no_folder_says_so(recorder, tmp_path) -> None:
    with pytest.raises(StoreFault, match="The backup failed"):
        back_up(recorder.store, recorder.photos, tmp_path / "none" / "house.zip", at=recorder.now())


def test_a_lost_photo_stops_no_backup_and_is_named(recorder, case, home, tmp_path) -> None:
    gone, damaged = photo_file(home, 0), photo_file(home, 1)
    gone.unlink()
    damaged.write_bytes(b"no photo")
    done = back_up(recorder.store, recorder.photos, tmp_path / "house.zip", at=recorder.now())
    assert set(done.lost_photos) == {gone.stem, damaged.stem}
    assert restore(tmp_path / "house.zip", tmp_path / "new").lost_photos == done.lost_photos


def test_a_backup_that_cannot_be_read_back_is_thrown_away(recorder, tmp_path, monkeypatch) -> None:
    from jartest.exchange import backup

    def spoil(part: Path) -> None:
        part.write_bytes(part.read_bytes().replace(b"JFIF", b"JFIX", 1))
        real(part)

    real = backup._read_back
    monkeypatch.setattr(backup, "_read_back", spoil)
    with pytest.raises(StoreFault, match="reads back otherwise"):
        back_up(recorder.store, recorder.photos, tmp_path / "house.zip", at=recorder.now())
    assert not (tmp_path / "house.zip").exists()
    assert not [n for n in left_in(tmp_path) if n.startswith(".")]


def test_a_home_with_records_is_left_alone(recorder, home, tmp_path) -> None:
    back_up(recorder.store, recorder.photos, tmp_path / "house.zip", at=recorder.now())
    before = (home / "jartest.sqlite").read_bytes()
    with pytest.raises(Conflict, match="already"):
        restore(tmp_path / "house.zip", home)
    assert (home / "jartest.sqlite").read_bytes() == before


def test_a_restoring_that_was_cut_off_goes_on(recorder, case, tmp_path) -> None:
    back_up(recorder.store, recorder.photos, tmp_path / "house.zip", at=recorder.now())
    new = tmp_path / "new"
    PhotoFiles(new / "photos").put(recorder.photos.get(case.looks[0].photo.sha256), "image/jpeg")
    restore(tmp_path / "house.zip", new)
    with Store.open(f"sqlite:///{new / 'jartest.sqlite'}") as store:
        assert check_home(store, PhotoFiles(new / "photos")).clean


# --------------------------------------------------------------------- refused
@pytest.fixture
def good(recorder, tmp_path) -> Path:
    """A backup that can be spoiled."""
    back_up(recorder.store, recorder.photos, tmp_path / "good.zip", at=recorder.now())
    return tmp_path / "good.zip"


def remade(
    good: Path, change: Callable[[dict[str, bytes], dict], None], method: int = zipfile.ZIP_STORED
) -> bytes:
    with zipfile.ZipFile(good) as z:
        files = {n: z.read(n) for n in z.namelist()}
    manifest = json.loads(files.pop("manifest.json"))
    change(files, manifest)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as z:
        for name, data in files.items():
            z.writestr(name, data)
        z.writestr("manifest.json", json.dumps(manifest))
    return out.getvalue()


def climb(files: dict[str, bytes], manifest: dict) -> None:
    part = manifest["parts"][-1]
    files["photos/../../evil.jpg"] = files.pop(part["name"])
    part["name"] = "photos/../../evil.jpg"


def rename_photo(files: dict[str, bytes], manifest: dict) -> None:
    part = manifest["parts"][-1]
    name = f"photos/{'0' * 64}.jpg"
    files[name] = files.pop(part["name"])
    part["name"] = name


def no_records(files: dict[str, bytes], manifest: dict) -> None:
    import hashlib

    data = b"SQLite format 3\0" + bytes(4096)
    files["records.sqlite"] = data
    manifest["parts"][0] |= {"sha256": hashlib.sha256(data).hexdigest(), "size_bytes": len(data)}


SPOILED = {
    "nothing": (lambda good: b"", "not a complete backup|not a jartest backup"),
    "a text": (lambda good: b"hello" * 100, "not a complete backup|not a jartest backup"),
    "half of it": (lambda good: good.read_bytes()[:-200], "not a complete backup|not a jartest backup"),
    "a changed photo": (lambda good: good.read_bytes().replace(b"JFIF", b"JFIX", 1), "damaged|not a complete backup"),
    "a climbing name": (lambda good: remade(good, climb), "no place in it"),
    "a photo of another name": (lambda good: remade(good, rename_photo), "no place in it"),
    "a missing part": (lambda good: remade(good, lambda f, m: f.pop(m["parts"][-1]["name"]) and None), "exactly the parts"),
    "an extra part": (lambda good: remade(good, lambda f, m: f.update(evil=b"x")), "exactly the parts"),
    "no records": (lambda good: remade(good, no_records), "damaged"),
    "a newer version": (lambda good: remade(good, lambda f, m: m.update(version=2)), "newer version"),
    "an unknown field": (lambda good: remade(good, lambda f, m: m.update(more=2)), "manifest"),
    "packed": (lambda good: remade(good, lambda f, m: None, zipfile.ZIP_DEFLATED), "packed"),
}  # fmt: skip


@pytest.mark.parametrize("what", SPOILED)
def test_a_spoiled_backup_is_refused_and_makes_no_records(good: Path, tmp_path: Path, what: str) -> None:
    spoil, says = SPOILED[what]
    bad = tmp_path / "bad.zip"
    bad.write_bytes(spoil(good))
    with pytest.raises(BadParcel, match=says) as refused:
        restore(bad, tmp_path / "new")
    assert str(refused.value).endswith(".")
    assert not (tmp_path / "new" / "jartest.sqlite").exists()
    assert not (tmp_path / "evil.jpg").exists()
    assert not list((tmp_path / "new").glob("photos/*/*.jpg"))


FOREIGN = {
    "a trigger": "CREATE TRIGGER evil AFTER INSERT ON looks BEGIN DELETE FROM verdicts; END",
    "a view": "CREATE VIEW evil AS SELECT * FROM photos",
    "a table": "CREATE TABLE evil (x)",
    "an index that calls a function": "CREATE INDEX evil ON photos (abs(size_bytes))",
    "a column": "ALTER TABLE photos ADD COLUMN evil TEXT DEFAULT 'x'",
    "an index less": "DROP INDEX {index}",
}


@pytest.mark.parametrize("what", FOREIGN)
def test_a_backup_whose_schema_is_not_ours_is_refused(
    good: Path, tmp_path: Path, figures: Callable[[str], None], what: str
) -> None:
    import hashlib

    def spoil(files: dict[str, bytes], manifest: dict) -> None:
        work = tmp_path / "work.sqlite"
        work.write_bytes(files["records.sqlite"])
        with closing(sqlite3.connect(work)) as c:
            (index,) = c.execute("SELECT name FROM sqlite_master WHERE type='index' AND sql != ''").fetchone()
            c.execute(FOREIGN[what].format(index=index))
            c.commit()
        data = work.read_bytes()
        files["records.sqlite"] = data
        manifest["parts"][0] |= {"sha256": hashlib.sha256(data).hexdigest(), "size_bytes": len(data)}

    bad = tmp_path / "bad.zip"
    bad.write_bytes(remade(good, spoil))
    with pytest.raises(BadParcel, match="does not write"):
        restore(bad, tmp_path / "new")
    assert not (tmp_path / "new" / "jartest.sqlite").exists()
    figures(f"attack: backup with {what} in its schema: refused, nothing written")


def test_a_backup_of_an_older_version_is_still_taken(good: Path, tmp_path: Path) -> None:
    import hashlib

    from sqlalchemy import make_url

    from jartest.records.engine import make_engine
    from jartest.records.migrate import bring_up_to_date

    def older(files: dict[str, bytes], manifest: dict) -> None:
        work = tmp_path / "old.sqlite"
        url = make_url(f"sqlite:///{work}")
        engine = make_engine(url, keep_open=False)
        bring_up_to_date(url, engine, head="0003")
        engine.dispose()
        with closing(sqlite3.connect(work)) as c:
            c.execute("PRAGMA journal_mode=DELETE")
        data = work.read_bytes()
        files.clear()
        files["records.sqlite"] = data
        part = {"name": "records.sqlite", "sha256": hashlib.sha256(data).hexdigest(), "size_bytes": len(data)}
        manifest["parts"] = [part]

    old = tmp_path / "old.zip"
    old.write_bytes(remade(good, older))
    assert restore(old, tmp_path / "new").photos == 0
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'jartest.sqlite'}") as store:
        assert store.own_faults() == ()


def test_what_is_kept_is_its_owner_s_alone(good: Path, tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("Windows keeps no such mode")
    restore(good, tmp_path / "new")
    recorder = open_recorder(read_settings({"JARTEST_HOME": str(tmp_path / "new")}))
    modes = {p: stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "new").rglob("*") if p.is_file()}
    recorder.store.close()
    assert len(modes) >= 3
    assert {oct(m) for m in modes.values()} == {"0o600"}
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o700
    assert stat.S_IMODE(good.stat().st_mode) == 0o600


def test_the_store_trusts_no_function_that_its_schema_names(recorder, home) -> None:
    with recorder.store._reading() as c:
        assert c.exec_driver_sql("PRAGMA trusted_schema").scalar_one() == 0


# ----------------------------------------------------------------------- check
def test_a_sound_home_is_clean(recorder) -> None:
    shares: list[float] = []
    found = check_home(recorder.store, recorder.photos, shares.append)
    assert (found.tests, found.photos, found.parcels, found.findings) == (1, 2, 0, ())
    assert shares[-1] == 1
    assert found.clean


def test_a_damaged_photo_is_found_with_its_test(recorder, home) -> None:
    photo_file(home).write_bytes(b"x")
    found = check_home(recorder.store, recorder.photos)
    assert not found.clean
    assert [f.weight for f in found.findings] == ["fault"]
    assert "of test #1 is damaged" in found.findings[0].says


def test_a_missing_photo_is_found(recorder, home) -> None:
    photo_file(home).unlink()
    (finding,) = check_home(recorder.store, recorder.photos).findings
    assert "is missing" in finding.says


def test_an_orphan_row_is_found(recorder, case, home) -> None:
    with closing(sqlite3.connect(home / "jartest.sqlite")) as c, c:
        c.execute("PRAGMA foreign_keys=OFF")
        c.execute("DELETE FROM looks WHERE id = ?", (case.looks[0].id,))
    found = check_home(recorder.store, recorder.photos)
    assert not found.clean
    assert any("'readings' belong" in f.says for f in found.findings)


def test_a_damaged_parcel_is_found(recorder, case, ask, home) -> None:
    from jartest.exchange.answer import ask_about_test

    ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id="a" * 32, at=recorder.now(), by="Wren"
    )
    assert check_home(recorder.store, recorder.photos).clean
    with closing(sqlite3.connect(home / "jartest.sqlite")) as c, c:
        c.execute("UPDATE parcels SET content = substr(content, 1, 1000)")
    (finding,) = check_home(recorder.store, recorder.photos).findings
    assert finding.says.startswith("The parcel aaaaaaaaaaaa")


def test_what_a_cut_off_save_leaves_is_only_a_note(recorder, home, photo_bytes) -> None:
    recorder.photos.put(photo_bytes(0) + b"more", "image/jpeg")
    (photo_file(home).parent / ".part-abc").write_bytes(b"half")
    found = check_home(recorder.store, recorder.photos)
    assert [f.weight for f in found.findings] == ["note", "note"]
    assert found.clean


def test_a_damaged_database_is_found(recorder, home) -> None:
    recorder.store.close()
    file = home / "jartest.sqlite"
    data = bytearray(file.read_bytes())
    with closing(sqlite3.connect(file)) as c:
        (page,) = c.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'ix_looks_photo_sha256'"
        ).fetchone()
        (size,) = c.execute("PRAGMA page_size").fetchone()
    at = (page - 1) * size
    data[at + size - 60 : at + size] = bytes(60)
    file.write_bytes(bytes(data))
    with Store.open(f"sqlite:///{file}") as store:
        assert any("damaged" in says for says in store.own_faults())


@pytest.mark.parametrize("kind", ["shared folder", "object store"])
def test_photos_kept_elsewhere_are_backed_up_checked_and_restored_to_there(
    recorder, case, tmp_path: Path, kind: str
) -> None:
    def somewhere(name: str) -> PhotoFiles:
        if kind == "object store":
            pytest.importorskip("fsspec", reason="fsspec of the test extra is not installed here")
            return PhotoFiles(place_at(f"memory://{uuid.uuid4().hex}/{name}"))
        (tmp_path / name).mkdir()
        return PhotoFiles(place_at(str(tmp_path / name)))

    share = somewhere("share")
    for look in case.looks:
        share.put(recorder.photos.get(look.photo.sha256), look.photo.media_type)
    assert check_home(recorder.store, share).clean
    done = back_up(recorder.store, share, tmp_path / "house.zip", at=recorder.now())
    assert (done.photos, done.lost_photos) == (2, ())
    back = somewhere("other-share")
    restore(tmp_path / "house.zip", tmp_path / "new", photos=back)
    assert not (tmp_path / "new" / "photos").exists()
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'jartest.sqlite'}") as store:
        assert check_home(store, back).clean
    back.remove(case.looks[0].photo.sha256)
    with Store.open(f"sqlite:///{tmp_path / 'new' / 'jartest.sqlite'}") as store:
        (finding,) = check_home(store, back).findings
    assert "missing" in finding.says
