"""Write fitted networks for OpenCV:  python -m jartest.imaging.fit.export picture.pt crop.pt OUT_FOLDER."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from onnx import helper, numpy_helper

from jartest.imaging.fit.nets import CROP_COLS, CROP_ROWS, SIDE, CropNet, PictureNet

__all__ = ["main", "write"]


def write(kind: str, net: Any, path: Path) -> None:
    """One network as ONNX, its weights stored in half precision and computed with in single."""
    net.eval()
    shape = (1, 3, SIDE, SIDE) if kind == "picture" else (2, 3, CROP_ROWS, CROP_COLS)
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


def main(argv: list[str] | None = None) -> None:
    """Write both networks."""
    p = argparse.ArgumentParser(description=main.__doc__)
    p.add_argument("picture")
    p.add_argument("crop")
    p.add_argument("out")
    a = p.parse_args(argv)
    for kind, net, file in (("picture", PictureNet(), a.picture), ("crop", CropNet(), a.crop)):
        net.load_state_dict(torch.load(file, map_location="cpu", weights_only=True))
        write(kind, net, Path(a.out) / f"{kind}.onnx")


if __name__ == "__main__":
    main()
