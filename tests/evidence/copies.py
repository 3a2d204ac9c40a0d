"""How readings bear copies of the pictures with known truth: mirrored, in other light, turned, cropped, noised.

    python tests/evidence/copies.py [FOLDER...] [--json]

Without a folder the 45 single pictures and the four series.  Prints two tables, the true lines given
(carried along with the copy) and nothing given, each figure beside its loss against the picture itself;
the tests print the same over half of the pictures (tests/imaging/test_copies.py).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

import cv2
from known import COPIES, Tally, all_71, copy_of, loss_line, pictures, truth_of

from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo


def tally(kind: str, paths: Sequence[Path], *, given: bool) -> Tally:
    """All figures of one kind of copy of these pictures, the true lines given or not."""
    out = Tally()
    for path in paths:
        data, truth = copy_of(kind, truth_of(path))
        out.add(truth, read_photo(open_photo(data), marks=truth.marks if given else None))
    return out


def main(argv: Sequence[str] | None = None) -> int:
    """Print the tables, or one JSON object a line."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("folders", nargs="*", type=Path)
    p.add_argument("--json", action="store_true")
    a = p.parse_args(argv)
    cv2.setNumThreads(1)
    paths = pictures(*a.folders) if a.folders else all_71()
    for given in (True, False):
        way = "true lines given" if given else "nothing given"
        plain = tally("plain", paths, given=given)
        for kind in ("plain", *COPIES):
            got = plain if kind == "plain" else tally(kind, paths, given=given)
            if a.json:
                figures = {"way": way, "copy": kind, "pictures": got.seen, **got.figures()}
                figures |= {"unsafe": got.unsafe, "uniform": got.not_passed}
                print(json.dumps(figures, ensure_ascii=False), flush=True)
            else:
                print(f"{way}, {kind}: {loss_line(got, plain)}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
