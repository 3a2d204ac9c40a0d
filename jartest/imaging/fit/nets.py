"""The two small networks: one looks at the whole picture, one at the jar it proposes.

Both stand on a trunk whose weights were first fitted on everyday photographs (EfficientNet-Lite0 without its last
stage).  Plain convolutions only, so that OpenCV's own reader runs them.  Batch norms fold into them on export.
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
    "Trunk",
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


class _Up(nn.Module):
    def __init__(self, deep: int, skip: int, o: int) -> None:
        super().__init__()
        self.join, self.block = conv(deep + skip, o, 1), Block(o)

    def forward(self, x: Any, skip: Any) -> Any:
        x = nn.functional.interpolate(x, scale_factor=2.0, mode="nearest")
        return self.block(self.join(torch.cat([x, skip], 1)))


class _Inverted(nn.Module):
    """Wider, depthwise, back: an inverted bottleneck."""

    def __init__(self, i: int, o: int, k: int, stride: int, wider: int) -> None:
        super().__init__()
        c = i * wider
        norm = lambda n: nn.BatchNorm2d(n, eps=1e-3)  # noqa: E731
        before = (k - stride) // 2  # where a step is two, one more after than before, as the weights have it
        self.wide = nn.Sequential()
        if wider > 1:
            self.wide = nn.Sequential(nn.Conv2d(i, c, 1, bias=False), norm(c), nn.ReLU6(True))
        self.pad = nn.ZeroPad2d((before, k - stride - before, before, k - stride - before))
        self.deep = nn.Sequential(nn.Conv2d(c, c, k, stride, groups=c, bias=False), norm(c), nn.ReLU6(True))
        self.back = nn.Sequential(nn.Conv2d(c, o, 1, bias=False), norm(o))
        self.same = stride == 1 and i == o

    def forward(self, x: Any) -> Any:
        y = self.back(self.deep(self.pad(self.wide(x))))
        return x + y if self.same else y


# EfficientNet-Lite0 (Tan and Le 2019, arXiv:1905.11946): kernel, stride, times wider, channels, repeats
_TRUNK = (
    (3, 1, 1, 16, 1),
    (3, 2, 6, 24, 2),
    (5, 2, 6, 40, 2),
    (3, 2, 6, 80, 3),
    (5, 1, 6, 112, 3),
    (5, 2, 6, 192, 4),
)


class Trunk(nn.Module):
    """(n, 3, h, w) in 0 to 1 -> features at a half, a 4th, an 8th, a 16th and a 32nd of the size."""

    def __init__(self) -> None:
        super().__init__()
        self.pad = nn.ZeroPad2d((0, 1, 0, 1))
        self.stem = nn.Sequential(
            nn.Conv2d(3, 32, 3, 2, bias=False), nn.BatchNorm2d(32, eps=1e-3), nn.ReLU6(True)
        )
        stages, i = [], 32
        for k, s, wider, o, n in _TRUNK:
            first = _Inverted(i, o, k, s, wider)
            stages.append(nn.Sequential(first, *(_Inverted(o, o, k, 1, wider) for _ in range(n - 1))))
            i = o
        self.stages = nn.ModuleList(stages)

    def forward(self, x: Any) -> list[Any]:
        x = self.stem(self.pad(x * (255 / 128) - 127 / 128))
        out = []
        for k, stage in enumerate(self.stages):
            x = stage(x)
            if k != 3:  # the fourth stage and the fifth have one size
                out.append(x)
        return out

    def take(self, weights: dict[str, Any]) -> None:
        """Published weights of the whole network, by their names there."""
        blocks = [b for s in self.stages for b in s]
        mine = [(self.stem[0], "_conv_stem"), (self.stem[1], "_bn0")]
        for k, b in enumerate(blocks):
            p = f"_blocks.{k}."
            if len(b.wide):
                mine += [(b.wide[0], p + "_expand_conv"), (b.wide[1], p + "_bn0")]
            mine += [
                (b.deep[0], p + "_depthwise_conv"), (b.deep[1], p + "_bn1"), (b.back[0], p + "_project_conv"), (b.back[1], p + "_bn2"),
            ]  # fmt: skip
        for part, name in mine:
            part.load_state_dict({k: weights[f"{name}.{k}"] for k in part.state_dict()})


class PictureNet(nn.Module):
    """(n, 3, 256, 256) in 0 to 1 -> (n, 15, 64, 64): 7 class logits, column logit, 7 lengths.

    The lengths, in units of 16 cells from each cell's centre: surface x y, floor x y, rim x y, and
    the half-width.
    """

    def __init__(self) -> None:
        super().__init__()
        self.trunk = Trunk()
        self.u16, self.u8, self.u4 = _Up(192, 112, 96), _Up(96, 40, 64), _Up(64, 24, 48)
        self.head = nn.Conv2d(48, 15, 1)

    def forward(self, x: Any) -> Any:
        _, a, b, c, d = self.trunk(x)
        return self.head(self.u4(self.u8(self.u16(d, c), b), a))


class CropNet(nn.Module):
    """(n, 3, 256, 96) in 0 to 1 -> rows (n, 12, 256), columns (n, 2, 96), presence (n, 7).

    Rows: 5 lines, 6 row classes, boundary.  Presence: logit that a jar with contents fills the crop,
    then for each of the 5 lines the logit of "not here", then one spare.
    """

    def __init__(self) -> None:
        super().__init__()
        self.trunk = Trunk()
        self.u16, self.u8 = _Up(192, 112, 112), _Up(112, 40, 96)
        self.u4, self.u2 = _Up(96, 24, 48), _Up(48, 16, 24)
        self.flat = nn.Sequential(
            nn.Conv2d(24, 48, (1, 12), (1, 12), bias=False), nn.BatchNorm2d(48), nn.ReLU(True)
        )
        self.rows = nn.Sequential(
            conv(192, 96, 1), Block(96, (9, 1)), Block(96, (15, 1)), Block(96, (15, 1)), Block(96, (9, 1))
        )
        self.rows_out = nn.Conv2d(96, 24, 1)
        self.cols = nn.Sequential(conv(96, 32, 1), Block(32, (1, 9)), nn.Conv2d(32, 4, 1))
        self.whole = nn.Sequential(conv(192, 64, 1), nn.Conv2d(64, 7, 1))

    def forward(self, x: Any) -> Any:
        a, b, c, d, e = self.trunk(x)
        u = self.u2(self.u4(self.u8(self.u16(e, d), c), b), a)  # 24 x 128 x 48
        f = self.flat(u)  # 48 x 128 x 4
        f = torch.cat([f[..., i : i + 1] for i in range(4)], 1)
        r = self.rows_out(self.rows(f))  # 24 x 128 x 1
        rows = r.reshape(-1, 12, 2, 128).transpose(2, 3).reshape(-1, 12, 256)
        bands = nn.functional.avg_pool2d(u, (32, 1), (32, 1))  # 24 x 4 x 48
        bands = torch.cat([bands[:, :, i : i + 1] for i in range(4)], 1)
        k = self.cols(bands)  # 4 x 1 x 48
        cols = k.reshape(-1, 2, 2, 48).transpose(2, 3).reshape(-1, 2, 96)
        whole = nn.functional.avg_pool2d(e, (8, 3))
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
