"""The two small networks: one looks at the whole picture, one at the jar it proposes.

Plain convolutions only, so that OpenCV's own reader runs them.  Batch norms fold into them on export.
"""

from __future__ import annotations

from typing import Any

import torch
from torch import nn

__all__ = [
    "CLASSES",
    "CROP_COLS",
    "CROP_ROWS",
    "LINES",
    "ROW_CLASSES",
    "SIDE",
    "CropNet",
    "PictureNet",
    "folded",
]

SIDE = 256  # the whole picture, letterboxed
CROP_ROWS, CROP_COLS = 256, 96  # the jar, upright, stretched to fill
CLASSES = ("background", "glass", "face", "foam", "floating", "liquid", "settled")
# near arc of the surface, inner floor, far arc, top of the foam, far edge of the floor
LINES = ("surface", "floor", "far", "top", "far floor")
ROW_CLASSES = ("glass", "foam", "floating", "liquid", "settled", "outside")


def conv(i: int, o: int, k: int | tuple[int, int] = 3, stride: int = 1, groups: int = 1) -> Any:
    """Convolution, batch norm, ReLU."""
    pad = k // 2 if isinstance(k, int) else (k[0] // 2, k[1] // 2)
    return nn.Sequential(
        nn.Conv2d(i, o, k, stride, pad, groups=groups, bias=False), nn.BatchNorm2d(o), nn.ReLU(True)
    )


class Block(nn.Module):
    """Depthwise 5 x 5, then twice as wide and back, added to what came in."""

    def __init__(self, c: int, k: int | tuple[int, int] = 5) -> None:
        super().__init__()
        pad = k // 2 if isinstance(k, int) else (k[0] // 2, k[1] // 2)
        self.f = nn.Sequential(
            nn.Conv2d(c, c, k, 1, pad, groups=c, bias=False), nn.BatchNorm2d(c),
            nn.Conv2d(c, 2 * c, 1, bias=False), nn.BatchNorm2d(2 * c), nn.ReLU(True),
            nn.Conv2d(2 * c, c, 1, bias=False), nn.BatchNorm2d(c),
        )  # fmt: skip

    def forward(self, x: Any) -> Any:
        return x + self.f(x)


def _stage(i: int, o: int, n: int) -> Any:
    return nn.Sequential(conv(i, i, 3, 2, groups=i), conv(i, o, 1), *[Block(o) for _ in range(n)])


class _Up(nn.Module):
    def __init__(self, deep: int, skip: int, o: int) -> None:
        super().__init__()
        self.join, self.block = conv(deep + skip, o, 1), Block(o)

    def forward(self, x: Any, skip: Any) -> Any:
        x = nn.functional.interpolate(x, scale_factor=2.0, mode="nearest")
        return self.block(self.join(torch.cat([x, skip], 1)))


class PictureNet(nn.Module):
    """(n, 3, 256, 256) in 0 to 1 -> (n, 15, 64, 64): 7 class logits, column logit, 7 lengths.

    The lengths, in units of 16 cells from each cell's centre: surface x y, floor x y, rim x y, and
    the half-width.
    """

    def __init__(self) -> None:
        super().__init__()
        self.s2 = nn.Sequential(conv(3, 16, 3, 2), conv(16, 16, 3))
        self.s4 = _stage(16, 32, 2)
        self.s8 = _stage(32, 64, 2)
        self.s16 = _stage(64, 96, 3)
        self.s32 = _stage(96, 128, 2)
        self.u16, self.u8, self.u4 = _Up(128, 96, 96), _Up(96, 64, 64), _Up(64, 32, 48)
        self.head = nn.Conv2d(48, 15, 1)

    def forward(self, x: Any) -> Any:
        a = self.s4(self.s2(x * 4 - 2))
        b = self.s8(a)
        c = self.s16(b)
        return self.head(self.u4(self.u8(self.u16(self.s32(c), c), b), a))


class CropNet(nn.Module):
    """(n, 3, 256, 96) in 0 to 1 -> rows (n, 12, 256), columns (n, 2, 96), presence (n, 7).

    Rows: 5 lines, 6 row classes, boundary.  Presence: logit that a jar with contents fills the crop,
    then for each of the 5 lines the logit of "not here", then one spare.
    """

    def __init__(self) -> None:
        super().__init__()
        self.s2 = nn.Sequential(conv(3, 16, 3, 2), conv(16, 24, 3))  # 128 x 48
        self.s4 = _stage(24, 48, 2)
        self.s8 = _stage(48, 96, 3)
        self.s16 = _stage(96, 160, 4)  # 16 x 6
        self.u8, self.u4, self.u2 = _Up(160, 96, 96), _Up(96, 48, 48), _Up(48, 24, 24)
        self.flat = nn.Sequential(
            nn.Conv2d(24, 48, (1, 12), (1, 12), bias=False), nn.BatchNorm2d(48), nn.ReLU(True)
        )
        self.rows = nn.Sequential(
            conv(192, 96, 1), Block(96, (9, 1)), Block(96, (15, 1)), Block(96, (15, 1)), Block(96, (9, 1))
        )
        self.rows_out = nn.Conv2d(96, 24, 1)
        self.cols = nn.Sequential(conv(96, 32, 1), Block(32, (1, 9)), nn.Conv2d(32, 4, 1))
        self.whole = nn.Sequential(conv(160, 64, 1), nn.Conv2d(64, 7, 1))

    def forward(self, x: Any) -> Any:
        a = self.s2(x * 4 - 2)
        b = self.s4(a)
        c = self.s8(b)
        d = self.s16(c)
        u = self.u2(self.u4(self.u8(d, c), b), a)  # 24 x 128 x 48
        f = self.flat(u)  # 48 x 128 x 4
        f = torch.cat([f[..., i : i + 1] for i in range(4)], 1)
        r = self.rows_out(self.rows(f))  # 24 x 128 x 1
        rows = r.reshape(-1, 12, 2, 128).transpose(2, 3).reshape(-1, 12, 256)
        bands = nn.functional.avg_pool2d(u, (32, 1), (32, 1))  # 24 x 4 x 48
        bands = torch.cat([bands[:, :, i : i + 1] for i in range(4)], 1)
        k = self.cols(bands)  # 4 x 1 x 48
        cols = k.reshape(-1, 2, 2, 48).transpose(2, 3).reshape(-1, 2, 96)
        whole = nn.functional.avg_pool2d(d, (16, 6))
        return rows, cols, self.whole(whole).reshape(-1, 7)


def folded(net: Any) -> Any:
    """The same network with its norms folded into the convolutions: four times as fast to fit on a CPU."""
    for name, part in net.named_children():
        folded(part)
        if isinstance(part, nn.Sequential):
            kept: list[Any] = []
            for m in part:
                if isinstance(m, nn.BatchNorm2d) and kept and isinstance(kept[-1], nn.Conv2d):
                    kept[-1] = nn.utils.fusion.fuse_conv_bn_eval(kept[-1].eval(), m.eval())
                else:
                    kept.append(m)
            setattr(net, name, nn.Sequential(*kept))
    return net
