"""The code that fitted the finder still runs: truth and drawn jars always, a toy fit where PyTorch is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from jartest.imaging import finder
from jartest.imaging.fit import bait, drawn, facts, rooms, series, shots, textures, unlike
from jartest.imaging.fit.truth import Truth

WEIGHTS = Path(finder.__file__).parent / "weights"


def test_a_drawn_picture_is_the_same_twice() -> None:
    a, b = drawn.draw(4), drawn.draw(4)
    assert np.array_equal(a[0], b[0])
    assert a[1] == b[1]


def test_the_list_of_shots_is_fixed() -> None:
    assert shots.looks(17, 2) == shots.looks(17, 2)
    assert shots.looks(17, 1) != shots.looks(18, 1)


def test_about_one_shot_in_six_has_no_jar_and_some_have_two() -> None:
    jars = [len(shots.looks(i, 1)[0].jars) for i in range(300)]
    assert 0.08 < np.mean(np.array(jars) == 0) < 0.26
    assert np.mean(np.array(jars) == 2) > 0.05


def test_the_true_lines_lie_on_the_drawn_contents() -> None:
    checked = 0
    for i in range(40):
        image, truth = drawn.draw(i)
        f = facts.facts(f"d{i}", image, truth)
        if len(Truth.from_json(truth).vessels) != 1 or np.isnan(f.points[0, 0, 0]):
            continue
        surface, floor = f.points[0, 0], f.points[0, 1]
        middle = np.round((surface + floor) / 2).astype(int)
        w, h = f.size
        if 0 <= middle[0] < w and 0 <= middle[1] < h:
            assert f.mask[middle[1], middle[0]] >= 2  # contents, neither glass nor backdrop
            checked += 1
    assert checked >= 15


def test_left_out_pictures_are_one_set_in_eight() -> None:
    out = [facts.held_out(f"r{i:06d}-0") for i in range(800)]
    assert sum(out) == 100
    assert facts.held_out("r000011-0") == facts.held_out("r000011-7")  # a set of vessels stays together


def test_grain_is_taken_out_of_two_in_three_of_the_renderers_pictures_and_of_no_others() -> None:
    grainy = np.random.default_rng(3).normal(128, 6, (64, 48, 3)).clip(0, 255).astype(np.uint8)
    spread = [float(facts.ungrained(f"p{i:06d}-0", grainy).std()) for i in range(60)]
    assert 30 <= sum(x < 0.7 * grainy.std() for x in spread) <= 50
    assert sum(x == grainy.std() for x in spread) >= 10
    assert all(facts.ungrained(f"{kind}00001", grainy) is grainy for kind in "tdu")


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # the older exporter, which OpenCV reads
@pytest.mark.filterwarnings("ignore:Constant folding:UserWarning")  # it leaves two small slices as they are
@pytest.mark.parametrize("kind", ["picture", "crop"])
def test_a_toy_fit_runs_and_its_weights_open(kind: str, tmp_path: Path) -> None:
    pytest.importorskip("torch", reason="PyTorch is only in the extra `fit`")
    pytest.importorskip("onnx", reason="ONNX is only in the extra `fit`")
    import cv2
    import torch

    from jartest.imaging.fit import export, train

    options = ["--drawn", "24", "--batch", "4", "--steps", "3", "--seconds", "50", "--workers", "1"]
    net = train.main([kind, str(tmp_path / "net.pt"), *options])
    export.write(kind, net, tmp_path / "net.onnx")
    reader = cv2.dnn.readNetFromONNX(str(tmp_path / "net.onnx"))
    shape = (1, 3, 256, 256) if kind == "picture" else (1, 3, 256, 96)
    x = np.random.default_rng(0).random(shape, np.float32)
    reader.setInput(x)
    names = ["maps"] if kind == "picture" else ["rows", "cols", "whole"]
    with torch.no_grad():
        want = net(torch.from_numpy(x))
    want = [want] if kind == "picture" else want
    for got, w in zip(reader.forward(names), want, strict=True):
        assert np.abs(np.asarray(got) - w.numpy()).max() < 0.05  # weights are kept in half precision


def test_where_layers_end_is_asked_of_jars_with_fewer_bands_than_there_are_places_for() -> None:
    """Was wrong: places of bands that are not there are no numbers, and swept those that are there away."""
    torch = pytest.importorskip("torch", reason="PyTorch is only in the extra `fit`")
    from jartest.imaging.fit import train

    some = [f for f in train.load([], range(24), 1) if np.isfinite(f.points[0, 0, 0])]
    layers = [int(((f.band_kinds[0] > 1) & np.isfinite(f.band_tops[0, :, 1])).sum()) for f in some]
    d = train.Data("cpu")
    d.add(some)
    idx = torch.arange(len(some))
    which = torch.zeros_like(idx)
    m = train.crop_maps(d, idx, which, torch.Generator().manual_seed(1), 1.0)
    edge = train.crop_targets(d, idx, which, m, torch.ones(len(idx), dtype=torch.bool))["edge"]
    several = torch.tensor([n > 1 for n in layers])
    assert several.any()
    assert (edge.amax(1)[several] > 0.8).float().mean() > 0.8  # a crop may leave a boundary out
    assert (edge.amax(1)[~several] == 0).all()


@pytest.mark.parametrize("kind", ["picture", "crop"])
def test_the_kept_weights_can_be_fitted_on(kind: str, tmp_path: Path) -> None:
    pytest.importorskip("torch", reason="PyTorch is only in the extra `fit`")
    pytest.importorskip("onnx", reason="ONNX is only in the extra `fit`")
    import cv2
    import torch

    from jartest.imaging.fit import export, nets, recover, train

    kept = WEIGHTS / f"{kind}.onnx"
    recover.main([kind, str(kept), str(tmp_path / "start.pt")])
    reader = cv2.dnn.readNetFromONNX(str(kept))
    shape = (1, 3, 256, 256) if kind == "picture" else (1, 3, 256, 96)
    x = np.random.default_rng(0).random(shape, np.float32)
    reader.setInput(x)
    said = reader.forward(["maps"] if kind == "picture" else ["rows", "cols", "whole"])
    for net in (recover.recover(kind, kept), nets.folded(recover.recover(kind, kept))):
        with torch.no_grad():
            out = net(torch.from_numpy(x))
        for got, w in zip(said, [out] if kind == "picture" else out, strict=True):
            assert np.abs(np.asarray(got) - w.numpy()).max() < 1e-3
    options = [
        "--drawn",
        "24",
        "--batch",
        "4",
        "--steps",
        "2",
        "--seconds",
        "50",
        "--workers",
        "1",
        "--folded",
    ]
    train.main([kind, str(tmp_path / "net.pt"), "--start", str(tmp_path / "start.pt"), *options])
    start, end, out_file = (str(tmp_path / n) for n in ("start.pt", "net.pt", "between.pt"))
    export.main(["between", kind, start, end, "0.5", out_file])
    assert Path(out_file).exists()


def test_the_light_of_a_room_comes_back_as_it_was_packed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = np.linspace(-6, 4, 256)[:, None, None]
    light = np.broadcast_to(2.0**rows, (256, 512, 3)).astype(np.float32)
    np.savez(tmp_path / "rooms.npz", a=rooms.packed(light))
    monkeypatch.setenv("JARTEST_FIT_ROOMS", str(tmp_path / "rooms.npz"))
    textures._rooms.cache_clear()
    seen = textures.room(np.random.default_rng(3))
    textures._rooms.cache_clear()
    tint = np.median(seen / light, axis=(0, 1))  # another white in every picture
    assert np.all((tint > 0.84) & (tint < 1.16))
    # a value is a sixteenth of a stop; WebP costs some
    assert np.abs(np.log2(seen / tint / light)).max() < 0.15


@pytest.mark.parametrize("kind", sorted(unlike.KINDS))
def test_a_picture_without_a_vessel_is_the_same_twice(kind: str) -> None:
    a = unlike.unlike(5, kind)
    assert np.array_equal(a, unlike.unlike(5, kind))
    assert not np.array_equal(a, unlike.unlike(6, kind))
    assert a.std() > 1  # something is drawn


def test_where_the_finder_is_taken_in_lies_off_the_vessels() -> None:
    seen = 0
    for i in range(12):
        image, truth = drawn.draw(i)
        known = Truth.from_json(truth)
        for points in bait.baits(image, known):
            seen += 1
            middle = (np.array(points[0]) + np.array(points[1])) / 2
            assert not any(bait._on(middle, known, v) for v in known.vessels)
    assert seen >= 3


def test_a_drawn_series_shows_the_same_jar_with_the_same_amount_of_liquid() -> None:
    looks = series.frames(6, 3)
    vessels = [Truth.from_json(t).vessels[0] for _, t in looks]
    assert len({v.height_mm for v in vessels}) == 1
    assert np.ptp([v.surface_mm for v in vessels]) < 1e-6
    assert not np.array_equal(looks[0][0], looks[1][0])


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # the older exporter, which OpenCV reads
def test_the_network_of_rows_is_fitted_and_its_weights_open(tmp_path: Path) -> None:
    pytest.importorskip("torch", reason="PyTorch is only in the extra `fit`")
    pytest.importorskip("onnx", reason="ONNX is only in the extra `fit`")
    import cv2

    from jartest.imaging.fit import layers_fit, pictures

    zipped, out = tmp_path / "d.zip", tmp_path / "layers.onnx"
    pictures.main([str(zipped), "--drawn", "--count", "40"])
    options = ["--steps", "3", "--seconds", "50", "--batch", "4", "--workers", "1"]
    layers_fit.main([str(zipped), *options, "--out", str(out)])
    reader = cv2.dnn.readNetFromONNX(str(out))
    reader.setInput(np.random.default_rng(0).random((1, 3, 256, 40), np.float32))
    rows, whole = (np.asarray(o) for o in reader.forward(["rows", "whole"]))
    assert rows.shape == (1, 9, 256)
    assert whole.shape == (1, 4)
    assert np.ptp(rows) > 0
