"""One reading beside one plain decode of the same photo: `pytest tests/benchmarks --benchmark-only`."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

sys.path.insert(0, str(Path(__file__).resolve().parent))
from reading import one_reading, photo_of_12_megapixels

DATA = photo_of_12_megapixels()


@pytest.fixture(autouse=True)
def one_core() -> None:
    cv2.setNumThreads(1)


def test_one_full_decode_of_12_megapixels(benchmark: BenchmarkFixture) -> None:
    buffer = np.frombuffer(DATA, np.uint8)
    assert benchmark(cv2.imdecode, buffer, cv2.IMREAD_COLOR).shape == (4000, 3000, 3)


def test_one_whole_reading_of_12_megapixels(benchmark: BenchmarkFixture) -> None:
    assert benchmark(one_reading, DATA).height_px == 4000
