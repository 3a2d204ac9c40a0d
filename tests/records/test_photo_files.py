"""Photo files are kept whole, once, under their digest."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jartest.errors import BadPhoto, NotFound, StoreFault
from jartest.records.photofiles import PhotoFiles


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "photos"


@pytest.fixture
def photos(folder: Path) -> PhotoFiles:
    return PhotoFiles(folder)


def files(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


# The digest of "abc": FIPS 180-4's worked example (SHA-256, one-block message).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize(("kind", "ending"), [("jpeg", "jpg"), ("png", "png"), ("heic", "heic")])
def test_a_photo_is_kept_under_its_sha256(photos: PhotoFiles, folder: Path, kind: str, ending: str) -> None:
    assert photos.put(b"abc", f"image/{kind}") == ABC
    assert files(folder) == [f"ba/{ABC}.{ending}"]
    assert photos.get(ABC) == b"abc"
    assert photos.has(ABC)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=5000))
def test_any_bytes_come_back_as_they_were(photos: PhotoFiles, data: bytes) -> None:
    sha256 = photos.put(data, "image/jpeg")
    assert sha256 == hashlib.sha256(data).hexdigest()
    assert photos.get(sha256) == data


def test_a_photo_put_twice_is_kept_once(photos: PhotoFiles, folder: Path) -> None:
    assert photos.put(b"abc", "image/jpeg") == photos.put(b"abc", "image/png") == ABC
    assert files(folder) == [f"ba/{ABC}.jpg"]


def test_eight_threads_that_put_the_same_photos_leave_each_once_and_whole(
    photos: PhotoFiles, folder: Path
) -> None:
    shots = [bytes([i]) * 300_000 for i in range(5)]
    with ThreadPoolExecutor(8) as threads:
        kept = list(threads.map(lambda data: photos.put(data, "image/jpeg"), shots * 8))
    assert len(files(folder)) == len(set(kept)) == 5
    assert [photos.get(sha256) for sha256 in kept[:5]] == shots


def test_a_missing_photo_is_said_to_be_missing(photos: PhotoFiles) -> None:
    assert not photos.has(ABC)
    with pytest.raises(NotFound, match=r"no photo 'ba7816bf8f01'"):
        photos.get(ABC)


@pytest.mark.parametrize("name", ["../secret", "", "ba", ABC.upper(), f"{ABC}\n", f"../{ABC}", "\x00" * 64])
def test_what_is_no_digest_leads_nowhere(photos: PhotoFiles, folder: Path, name: str) -> None:
    photos.put(b"abc", "image/jpeg")
    (folder.parent / "secret.jpg").write_bytes(b"private")
    assert not photos.has(name)
    photos.remove(name)
    with pytest.raises(NotFound):
        photos.get(name)
    assert photos.has(ABC)


def test_a_removed_photo_is_gone_and_may_be_removed_again(photos: PhotoFiles, folder: Path) -> None:
    photos.put(b"abc", "image/png")
    photos.remove(ABC)
    photos.remove(ABC)
    assert not photos.has(ABC)
    assert files(folder) == []


def test_a_photo_whose_bytes_changed_is_refused_and_mended_when_sent_again(
    photos: PhotoFiles, folder: Path
) -> None:
    photos.put(b"abc", "image/jpeg")
    (folder / "ba" / f"{ABC}.jpg").write_bytes(b"abd")
    with pytest.raises(StoreFault, match="damaged"):
        photos.get(ABC)
    photos.put(b"abc", "image/jpeg")
    assert photos.get(ABC) == b"abc"


def test_a_kind_of_file_that_is_not_kept_is_refused(photos: PhotoFiles, folder: Path) -> None:
    with pytest.raises(BadPhoto, match="not 'image/gif'"):
        photos.put(b"GIF89a", "image/gif")
    assert not folder.exists()


def test_a_folder_that_cannot_be_made_is_a_fault_in_words(tmp_path: Path) -> None:
    (tmp_path / "photos").write_text("in the way")
    with pytest.raises(StoreFault, match="folder of photos failed"):
        PhotoFiles(tmp_path / "photos").put(b"abc", "image/jpeg")


# A child whose files may not grow past 100 kB: the write breaks off in the middle, as on a full disk.
NO_ROOM = """
import resource, sys
from pathlib import Path
from jartest.errors import StoreFault
from jartest.records.photofiles import PhotoFiles

resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
photos = PhotoFiles(Path(sys.argv[1]))
photos.put(b"small", "image/jpeg")
try:
    photos.put(b"large" * 100_000, "image/jpeg")
except StoreFault as e:
    print(e)
"""


@pytest.mark.skipif(os.name == "nt", reason="file size limits are of POSIX")
def test_a_disk_without_room_is_said_so_and_leaves_nothing_half_written(
    photos: PhotoFiles, folder: Path
) -> None:
    child = subprocess.run(
        [sys.executable, "-c", NO_ROOM, str(folder)], capture_output=True, text=True, check=True
    )
    assert child.stdout == "The disk is full; the photo was not kept, make room and send it again.\n"
    small = hashlib.sha256(b"small").hexdigest()
    assert files(folder) == [f"{small[:2]}/{small}.jpg"]
    assert photos.get(small) == b"small"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="permissions do not bind this user")
def test_a_folder_that_may_not_be_written_to_is_a_fault_in_words(photos: PhotoFiles, folder: Path) -> None:
    folder.mkdir()
    folder.chmod(0o555)
    with pytest.raises(StoreFault, match="may not be written to"):
        photos.put(b"abc", "image/jpeg")
