"""Take kept weights back for fitting on:  python -m jartest.imaging.fit.recover picture|crop WEIGHTS.onnx OUT.pt.

The batch norms were folded into the convolutions on export.  They come back as norms that change nothing
but carry the folded shift, so the network in evaluation says what the file says (to half precision).
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from jartest.imaging.fit.nets import CROP_COLS, CROP_ROWS, SIDE, CropNet, PictureNet

__all__ = ["main", "recover"]


def recover(kind: str, path: Path) -> Any:
    """The network whose weights the file holds, in evaluation mode."""
    net: Any = PictureNet() if kind == "picture" else CropNet()
    net.eval()
    convs = _called(net, kind)
    held = _held(path)
    if len(held) != len(convs):
        raise ValueError(
            f"{len(held)} convolutions in the file, {len(convs)} in the network: another network"
        )
    for (conv, norm), (weight, bias) in zip(convs, held, strict=True):
        with torch.no_grad():
            conv.weight.copy_(torch.from_numpy(weight))
            shift = conv.bias if norm is None else norm.bias
            shift.copy_(torch.from_numpy(bias))
            if norm is not None:
                norm.weight.fill_(1.0)
                norm.running_mean.zero_()
                norm.running_var.fill_(1.0 - norm.eps)
    return net


def _called(net: Any, kind: str) -> list[tuple[Any, Any]]:
    """Every convolution with the norm behind it (None without), in the order in which they are called."""
    seen: list[tuple[Any, Any]] = []

    def conv(m: Any, _in: Any, _out: Any) -> None:
        seen.append((m, None))

    def norm(m: Any, _in: Any, _out: Any) -> None:
        seen[-1] = (seen[-1][0], m)

    hooks = [
        m.register_forward_hook(conv if isinstance(m, nn.Conv2d) else norm)
        for m in net.modules()
        if isinstance(m, nn.Conv2d | nn.BatchNorm2d)
    ]
    with torch.no_grad():
        net(torch.zeros((1, 3, SIDE, SIDE) if kind == "picture" else (1, 3, CROP_ROWS, CROP_COLS)))
    for h in hooks:
        h.remove()
    return seen


def _held(path: Path) -> list[tuple[Any, Any]]:
    """Weight and bias of every convolution in the file, in order, in single precision."""
    graph = onnx.load(path).graph
    arrays = {t.name: numpy_helper.to_array(t).astype(np.float32) for t in graph.initializer}
    arrays |= {
        n.output[0]: arrays[n.input[0]] for n in graph.node if n.op_type == "Cast" and n.input[0] in arrays
    }
    return [(arrays[n.input[1]], arrays[n.input[2]]) for n in graph.node if n.op_type == "Conv"]


def main(argv: list[str] | None = None) -> None:
    """Write the recovered weights for `train --start`."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("kind", choices=["picture", "crop"])
    p.add_argument("weights")
    p.add_argument("out")
    a = p.parse_args(argv)
    torch.save(recover(a.kind, Path(a.weights)).state_dict(), a.out)


if __name__ == "__main__":
    main()
