"""What reading a 12-megapixel photo costs, as ratios on this machine.

    python tests/benchmarks/reading.py [--json]

`full_decode_ms`: one `cv2.imdecode` of the file at full size, on one core.  `reading_ms`: bytes to
reading, decode and finder included, on one core.  `carried_ms`: the same with the lines carried over from
an earlier photo of that size, which is decoded too.  `peak_mb`: most memory over that of the imports.
`two_core_speedup`: `jartest measure` over a folder of 48 such photos with two cores against one.
"""

from __future__ import annotations

import argparse
import functools
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from jartest.imaging.photo import open_to_read
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Reading

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0030min.jpg"


def photo_of_12_megapixels() -> bytes:
    """A sample photo at 3000 x 4000 with fresh sensor noise, as a phone would write it."""
    small = cv2.imread(str(SAMPLE))
    large = cv2.resize(small, (3000, 4000), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    large += np.random.default_rng(12).normal(0, 4, large.shape).astype(np.float32)
    done, data = cv2.imencode(".jpg", large.clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 90])
    if not done:
        raise SystemExit("The photo could not be encoded.")
    return data.tobytes()


def medians_ms(*acts: Callable[[], object], times: int = 9) -> list[float]:
    """Median time of each, taken in turns, so that a machine that changes its pace does so for all alike."""
    took: list[list[float]] = [[] for _ in acts]
    for turn in range(times + 1):
        for act, some in zip(acts, took, strict=True):
            start = time.perf_counter()
            act()
            if turn:  # the first loads what is loaded lazily
                some.append(1e3 * (time.perf_counter() - start))
    return [statistics.median(some) for some in took]


def one_reading(data: bytes) -> Reading:
    return read_photo(open_to_read(data, "jar.jpg"))


def one_carried(data: bytes) -> Reading:
    """The same photo with the lines of an earlier one, here of itself, carried over."""
    earlier = open_to_read(data, "jar.jpg")
    return read_photo(open_to_read(data, "jar.jpg"), earlier=(earlier, _frame(data)))


@functools.cache
def _frame(data: bytes) -> Frame:
    frame = one_reading(data).jar
    if frame is None:
        raise SystemExit("No jar was found in the photo.")
    return frame


def memory_mb(name: str) -> float:
    """A memory figure of this process by its name in Linux's /proc: VmRSS (now) or VmHWM (most so far)."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(x.split()[1]) for x in lines if x.startswith(name)) / 1024


def peak_mb(data: bytes) -> float:
    """Peak over the imports, in a fresh process; a first small reading loads what is loaded lazily."""
    code = (
        "import sys\nsys.path.insert(0, sys.argv[2])\n"
        "import reading\nfrom pathlib import Path\n"
        "reading.one_reading(reading.SAMPLE.read_bytes())\n"
        "before = reading.memory_mb('VmRSS')\n"
        "reading.one_reading(Path(sys.argv[1]).read_bytes())\n"
        "print(reading.memory_mb('VmHWM') - before)"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jar.jpg"
        path.write_bytes(data)
        here = str(Path(__file__).resolve().parent)
        out = subprocess.run(
            [sys.executable, "-c", code, str(path), here], capture_output=True, text=True, check=True
        )
    return float(out.stdout)


def two_core_speedup(data: bytes, count: int = 48) -> float:
    """`measure` over a folder: time on one core over the time on two that follows it, the median of five."""
    if len(os.sched_getaffinity(0)) < 2:
        return float("nan")
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"jar{i:02d}.jpg" for i in range(count)]
        for p in paths:
            p.write_bytes(data)
        command = [sys.executable, "-m", "jartest", "measure", "--json", *map(str, paths)]
        ratios = []
        for _ in range(5):
            took = []
            for cores in ("0", "0,1"):
                start = time.perf_counter()
                subprocess.run(["taskset", "-c", cores, *command], capture_output=True, check=True)
                took.append(time.perf_counter() - start)
            ratios.append(took[0] / took[1])
    return statistics.median(ratios)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    cv2.setNumThreads(1)
    data = photo_of_12_megapixels()
    buffer = np.frombuffer(data, np.uint8)
    decode, reading, carried = medians_ms(
        lambda: cv2.imdecode(buffer, cv2.IMREAD_COLOR), lambda: one_reading(data), lambda: one_carried(data)
    )
    figures = {
        "full_decode_ms": round(decode, 1),
        "reading_ms": round(reading, 1),
        "ratio": round(reading / decode, 2),
        "carried_ms": round(carried, 1),
        "peak_mb": round(peak_mb(data), 1),
        "two_core_speedup": round(two_core_speedup(data), 2),
    }
    if said.json:
        print(json.dumps(figures))
    else:
        for name, value in figures.items():
            print(f"{name:18} {value}")


if __name__ == "__main__":
    main()
