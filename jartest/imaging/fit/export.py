"""Write fitted networks for OpenCV:  python -m jartest.imaging.fit.export both picture.pt crop.pt OUT_FOLDER.

Or weights between two fits:  ... export between crop start.pt end.pt 0.5 OUT.pt.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from onnx import helper, numpy_helper

from jartest.imaging.fit.nets import CROP_COLS, CROP_ROWS, SIDE, CropNet, PictureNet, folded

__all__ = ["between", "load", "main", "write"]


def write(kind: str, net: Any, path: Path) -> None:
    """One network as ONNX, its weights stored in half precision and computed with in single."""
    net.eval()
    shape = (1, 3, SIDE, SIDE) if kind == "picture" else (1, 3, CROP_ROWS, CROP_COLS)
    outputs = ["maps"] if kind == "picture" else ["rows", "cols", "whole"]
    torch.onnx.export(
        net,
        (torch.rand(*shape),),
        str(path),
        input_names=["x"],
        output_names=outputs,
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(path)
    for t in list(model.graph.initializer):
        if t.data_type == onnx.TensorProto.FLOAT and np.prod(t.dims) > 200:
            half = numpy_helper.to_array(t).astype(np.float16)
            name = t.name
            t.CopyFrom(numpy_helper.from_array(half, name + "_half"))
            cast = helper.make_node("Cast", [name + "_half"], [name], to=onnx.TensorProto.FLOAT)
            model.graph.node.insert(0, cast)
    onnx.save(model, path)


def load(kind: str, file: str, *, fold: bool = False) -> Any:
    """The network with the weights of a file; folded where they are, or where asked to."""
    net: Any = PictureNet() if kind == "picture" else CropNet()
    held = torch.load(file, map_location="cpu", weights_only=True)
    if any(k.endswith("running_var") for k in held):
        net.load_state_dict(held)
        return folded(net.eval()) if fold else net
    net = folded(net.eval())
    net.load_state_dict(held)
    return net


def between(kind: str, start: str, end: str, share: float) -> Any:
    """The network whose weights lie between two fits of one descent: `share` of the way to the second.

    References
    ----------
    Wortsman et al. (2022), Robust fine-tuning of zero-shot models, CVPR: such a network loses less of what
    the first knew than the second does.
    """
    net, other = load(kind, start, fold=True), load(kind, end, fold=True)
    there = other.state_dict()
    net.load_state_dict({k: torch.lerp(v, there[k], share) for k, v in net.state_dict().items()})
    return net


def main(argv: list[str] | None = None) -> None:
    """Write both networks, or weights between two fits."""
    p = argparse.ArgumentParser(description=main.__doc__)
    commands = p.add_subparsers(dest="what", required=True)
    both = commands.add_parser("both")
    for name in ("picture", "crop", "out"):
        both.add_argument(name)
    mid = commands.add_parser("between")
    mid.add_argument("kind", choices=["picture", "crop"])
    for name in ("start", "end"):
        mid.add_argument(name)
    mid.add_argument("share", type=float)
    mid.add_argument("out")
    a = p.parse_args(argv)
    if a.what == "between":
        torch.save(between(a.kind, a.start, a.end, a.share).state_dict(), a.out)
        return
    for kind, file in (("picture", a.picture), ("crop", a.crop)):
        write(kind, load(kind, file), Path(a.out) / f"{kind}.onnx")


if __name__ == "__main__":
    main()
