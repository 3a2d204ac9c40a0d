"""Jars put together from pieces: what is drawn stands where the truth says."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch, of the extra `fit`, is not installed")

from jartest.imaging.fit.pieced import Pieces  # noqa: E402
from jartest.imaging.fit.pieced_fit import Pool, far_floor  # noqa: E402
from jartest.imaging.fit.train import crop_maps  # noqa: E402

SIZE = 192


@pytest.fixture(scope="module")
def pieces() -> Pieces:
    torch.manual_seed(4)
    return Pieces(torch.rand(6, 3, 64, 64), SIZE)


@pytest.fixture(scope="module")
def made(pieces: Pieces):
    torch.manual_seed(5)
    return pieces.batch(24)


def test_surface_lies_over_floor_and_layers_between_them(made) -> None:
    assert len(made.image) >= 8  # most of 24 have boundaries that can be told
    surface, floor = made.points[:, 0, 0], made.points[:, 0, 1]
    assert (surface[:, 1] < floor[:, 1]).all()
    for tops, kinds, s, f in zip(made.tops[:, 0], made.kinds[:, 0], surface, floor, strict=True):
        liquid = tops[(kinds > 1)][:, 1]
        assert (liquid >= s[1] - 1e-3).all()
        assert (liquid <= f[1] + 1e-3).all()
        assert (liquid[1:] <= liquid[:-1] + 1e-3).all()  # from the floor up


def test_geometry_and_points_tell_the_same_lines(made) -> None:
    """Two ways to the same rows: the geometry's floor and surface, and the points' rows."""
    assert torch.allclose(made.geometry[:, 2], made.points[:, 0, 1, 1])
    assert torch.allclose(made.geometry[:, 3], made.points[:, 0, 0, 1])
    wide = (made.points[:, 0, 4] - made.points[:, 0, 3]).norm(dim=1) / 2
    lean = made.geometry[:, 4].atan()
    assert torch.allclose(wide, made.geometry[:, 1] * lean.cos(), atol=0.5)


def test_the_liquid_of_the_mask_ends_at_the_surface(made) -> None:
    """On the jar's axis the mask turns from liquid at the row of the near surface."""
    right = 0
    for mask, points in zip(made.mask, made.points[:, 0], strict=True):
        (sx, sy), (fx, fy) = points[0].tolist(), points[1].tolist()
        rows = np.arange(int(min(sy, fy)) + 2, int(max(sy, fy)) - 2)
        cols = np.round(sx + (rows - sy) / (fy - sy) * (fx - sx)).astype(int)
        inside = mask.numpy()[rows, np.clip(cols, 0, SIZE - 1)]
        right += float(np.isin(inside, (4, 5, 6)).mean()) > 0.9
    assert right >= 0.9 * len(made.mask)


def test_the_same_seed_makes_the_same_picture(pieces: Pieces) -> None:
    torch.manual_seed(9)
    one = pieces.batch(3)
    torch.manual_seed(9)
    other = pieces.batch(3)
    assert torch.equal(one.image, other.image)


def test_the_floor_s_far_edge_lies_above_its_near_one_where_the_camera_looks_down() -> None:
    torch.manual_seed(6)
    d = Pool("cpu", Pieces(torch.rand(4, 3, 64, 64), 512), 4)
    idx = torch.arange(4)
    which = torch.zeros_like(idx)
    g = torch.Generator().manual_seed(1)
    m = crop_maps(d, idx, which, g, 0.0)
    row, asked = far_floor(d, idx, which, m, torch.ones(4, dtype=torch.bool))
    near = ((d.t["points"][:, 0, 1, 1] - m[:, 1, 2]) / m[:, 1, 1]).round()  # upright maps: y = c + e row
    down = d.t["shape"][:, 5] > 0.05
    assert (row[asked & down] < near[asked & down] + 1).all()
    assert bool((asked & down).any())
