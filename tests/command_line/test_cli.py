"""The command line, as a person or a script would call it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from jartest import cli

KEYS = (
    "photo", "photo_sha256", "method", "jar_found", "flags", "jar", "mm_per_px", "mm_per_px_sigma", "layers",
    "settled_fraction", "settled_sigma_fraction", "clear_fraction", "clear_sigma_fraction", "top_layer_fraction",
    "top_layer_sigma_fraction", "foam_fraction", "foam_sigma_fraction", "floc_index", "floc_count",
    "floc_area_fraction", "floc_diameter_mm", "floc_diameter_p90_mm", "texture", "verdict", "score", "reasons",
)  # fmt: skip


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("JARTEST_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(cli.commands, [str(w) for w in words])


def test_measure_prints_one_object_a_line_in_the_order_given(repo: Path) -> None:
    photos = [repo / "samples/settler/settler-0060min.jpg", repo / "samples/stable/stable-0000min.jpg"]
    result = run("measure", "--json", *photos)
    assert result.exit_code == 0
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert [r["photo"] for r in rows] == [str(p) for p in photos]
    assert all(set(KEYS) <= set(r) for r in rows)


def test_a_bad_file_has_its_line_and_the_others_are_still_read(repo: Path, tmp_path: Path) -> None:
    bad = tmp_path / "notes.jpg"
    bad.write_text("not a picture")
    result = run(
        "measure", "--json", bad, tmp_path / "missing.jpg", repo / "samples/stable/stable-0000min.jpg"
    )
    assert result.exit_code == 1
    first, second, third = (json.loads(line) for line in result.stdout.splitlines())
    assert "error" in first
    assert "error" in second
    assert third["jar_found"] is True


def test_marks_are_taken_and_flagged(repo: Path, tmp_path: Path) -> None:
    photo = repo / "samples/settler/settler-0060min.jpg"
    truth = json.loads(photo.with_suffix(".json").read_text("utf-8"))
    lines = {
        "left_px": truth["jar_px"]["left"][0],
        "right_px": truth["jar_px"]["right"][0],
        "floor_px": truth["layers"][0]["front_bottom_px"][1],
        "surface_px": truth["layers"][-1]["front_top_px"][1],
    }
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({photo.name: lines}))
    row = json.loads(run("measure", "--json", "--marks", marks, photo).stdout)
    assert "set by hand" in row["flags"]
    assert {k: row["jar"][k] for k in lines} == pytest.approx(lines)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not valid JSON"),
        ("[]", "the name of each photo"),
        ('{"a.jpg": 3}', "must be an object"),
        ('{"a.jpg": {"top_px": 3}}', "top_px"),
        ('{"a.jpg": {"left_px": "wide"}}', "number of pixels"),
        ('{"a.jpg": {"left_px": NaN}}', "number of pixels"),
        ('{"a.jpg": {"boundaries_px": 4}}', "must be a list"),
        ('{"a.jpg": {"kinds": ["settled", "body"]}}', "0 boundaries make 1 layers"),
        ('{"a.jpg": {"boundaries_px": [9], "kinds": ["settled", "mud"]}}', "not 'mud'"),
        ('{"a.jpg": {"lumps": [{"row_px": 4}]}}', "row_px, col_px, diameter_px"),
    ],
)
def test_marks_that_make_no_sense_are_wrong_usage(text: str, says: str, repo: Path, tmp_path: Path) -> None:
    marks = tmp_path / "marks.json"
    marks.write_text(text)
    result = run("measure", "--marks", marks, repo / "samples/stable/stable-0000min.jpg")
    assert result.exit_code == 2
    assert says in result.stderr


def test_layers_and_lumps_can_be_set_in_the_marks_file(repo: Path, tmp_path: Path) -> None:
    photo = repo / "samples/settler/settler-0060min.jpg"
    truth = json.loads(photo.with_suffix(".json").read_text())
    rows = [x["front_top_px"][1] for x in truth["layers"]]
    lump = {"row_px": rows[-1] + 40.0, "col_px": truth["layers"][0]["front_bottom_px"][0], "diameter_px": 9.0}
    lines = {
        "left_px": truth["jar_px"]["left"][0],
        "right_px": truth["jar_px"]["right"][0],
        "floor_px": truth["layers"][0]["front_bottom_px"][1],
        "surface_px": rows[-1],
        "boundaries_px": rows[:-1],
        "kinds": ["settled", "clear"],
        "lumps": [lump],
    }
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({photo.name: lines}))
    row = json.loads(run("measure", "--json", "--marks", marks, photo).stdout)
    assert [x["kind"] for x in row["layers"]] == ["settled", "clear"]
    true = truth["layers"][0]["top_mm"] / truth["layers"][-1]["top_mm"]
    assert row["settled_fraction"] == pytest.approx(true, abs=2 * row["settled_sigma_fraction"])
    assert lump in row["lumps"]
    assert "marked lumps" in {r["rule"] for r in row["reasons"]}
    lines["boundaries_px"] = [lines["floor_px"] + 50]
    marks.write_text(json.dumps({photo.name: lines}))
    result = run("measure", "--json", "--marks", marks, photo)
    assert result.exit_code == 1
    assert "under the floor" in json.loads(result.stdout)["error"]


def test_with_a_diameter_lumps_are_set_against_the_strainers(repo: Path, tmp_path: Path) -> None:
    photo = repo / "samples/stable/stable-0000min.jpg"
    truth = json.loads(photo.with_suffix(".json").read_text())
    x, y = truth["layers"][0]["front_bottom_px"]
    left, right = truth["jar_px"]["left"][0], truth["jar_px"]["right"][0]
    px = (right - left) / truth["inner_diameter_mm"] * 1.1  # near the wall that is nearer, about
    lump = {"row_px": y - 100.0, "col_px": x, "diameter_px": 3.0 * px}
    lines = {"left_px": left, "right_px": right, "floor_px": y, "lumps": [lump]}
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({photo.name: lines}))
    told = ["--marks", marks, "--diameter", f"{truth['inner_diameter_mm']}", photo]
    row = json.loads(run("measure", "--json", *told).stdout)
    assert row["strainers"]["lump_mm"] == pytest.approx(3.0, abs=2 * row["strainers"]["lump_sigma_mm"])
    assert row["strainers"]["mesh"]["16"] == "stops"
    assert row["strainers"]["sprayer"]["nozzle"] == "stops"
    line = run("measure", *told).stdout.splitlines()[-1]
    assert "It would stop at 16 mesh (1.2 mm) and finer." in line
    assert "can't be seen in this photo" in line
    without = json.loads(run("measure", "--json", "--marks", marks, photo).stdout)
    assert without["strainers"] is None
    assert "give the jar's inner diameter" in without["lumps_say"]


def test_without_json_it_prints_a_table_with_the_doubts(repo: Path) -> None:
    result = run("measure", repo / "samples/settler/settler-0030min.jpg")
    assert result.exit_code == 0
    head, line = result.stdout.splitlines()
    assert head.split()[:4] == ["photo", "verdict", "score", "settled"]
    assert "±" in line


def test_overlay_writes_a_marked_picture(repo: Path, tmp_path: Path) -> None:
    photo = repo / "samples/settler/settler-0060min.jpg"
    result = run("measure", "--overlay", tmp_path / "marked", photo)
    assert result.exit_code == 0
    written = tmp_path / "marked" / "settler-0060min-marked.jpg"
    assert written.read_bytes()[:2] == b"\xff\xd8"


def test_many_photos_on_all_cores_read_as_each_alone(repo: Path) -> None:
    photos = sorted(str(p) for p in (repo / "samples").glob("s*/*.jpg"))[:8]
    command = [sys.executable, "-m", "jartest", "measure", "--json"]
    together = subprocess.run(
        [*command, *photos], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert together == [run("measure", "--json", p).stdout.strip() for p in photos]


def test_no_photo_is_wrong_usage() -> None:
    assert run("measure").exit_code == 2


def test_help_needs_no_heavy_library() -> None:
    code = (
        "import sys\nfrom jartest.cli import commands\n"
        "commands(['--help'], standalone_mode=False)\n"
        "print(sorted({'cv2', 'skimage', 'numpy', 'streamlit', 'pandas', 'sqlalchemy'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.splitlines()[-1] == "[]"


def test_samples_load_once_are_listed_and_go_without_a_trace(home: Path) -> None:
    assert run("samples").stdout.startswith("4 sample tests loaded")
    assert run("samples").stdout.startswith("0 sample tests loaded")
    assert "sulfur" in run("tests", "sulfur").stdout
    assert len(run("tests", "--json").stdout.splitlines()) == 4
    assert run("samples", "--remove").stdout.startswith("4 sample tests removed")
    assert run("tests").stdout == ""
    assert [p for p in (home / "photos").rglob("*") if p.is_file()] == []


def test_an_error_of_ours_ends_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file where the folder should be")
    result = subprocess.run(
        [sys.executable, "-m", "jartest", "tests"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 1
    assert result.stderr.startswith("jartest: ")
    assert "Traceback" not in result.stderr


def test_recipe_prints_one_object_with_the_jar_s_amounts(repo: Path) -> None:
    result = run("recipe", "--json", repo / "samples/recipe.toml")
    assert result.exit_code == 0
    said = json.loads(result.stdout)
    assert set(said) == {"products", "area_treated_m2", "jar_carrier_ml", "warnings"}
    sulphur, copper, oil = said["products"]
    assert [p["formulation"] for p in said["products"]] == ["WG", "SC", "EC"]
    # 2 lb in 100 gal is 2.3965 g/L (NIST Handbook 44: 453.59237 g, 3.785411784 L); a quart of it.
    assert sulphur["jar_g"] == pytest.approx(2 * 453.59237 / 100 / 4)
    # 1.5 qt in 40 gal: 1.5/160 of the jar's 946.352946 mL.
    assert copper["jar_ml"] == pytest.approx(946.352946 * 1.5 / 160)
    assert oil["jar_ml"] == pytest.approx(946.352946 * 0.0025)


def test_a_recipe_that_cannot_be_taken_ends_in_one_sentence_that_names_the_line(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(
        'tank_volume = "200 gal"\ncarrier_rate = "40 gal/acre"\n[[product]]\nname = "x"\nrate = "3 blobs/acre"\n'
    )
    result = run("recipe", bad)
    assert result.exit_code == 2
    assert "Line 5" in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_reference_card_is_written_in_either_paper_size(tmp_path: Path, paper: str) -> None:
    result = run("card", "-o", tmp_path / "card.pdf", "--paper", paper)
    assert result.exit_code == 0
    assert "check its rule of 120 mm" in result.stdout
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")
    assert run("card", "-o", tmp_path / "card.pdf", "--paper", "a5").exit_code == 2
    nowhere = run("card", "-o", tmp_path / "no" / "card.pdf")
    assert nowhere.exit_code == 1
    assert "cannot be written" in str(nowhere.exception)
