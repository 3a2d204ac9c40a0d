"""The command line.  Heavy libraries are imported only inside the commands that need them."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from jartest import __version__
from jartest.errors import BadEntry, BadPhoto, JartestError, NotFound, StoreFault

if TYPE_CHECKING:
    from jartest.imaging.values import Marks, Reading
    from jartest.recorder import Recorder
    from jartest.records.saved_looks import LookScreen
    from jartest.verdict.values import Verdict

__all__ = ["main"]

_WORTH_A_POOL = 8  # fewer photos are read sooner than a second process has started


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="jartest")
def commands() -> None:
    """Record jar tests of spray mixtures: photos, measurements, observations and verdicts."""


def main() -> None:
    """Run the command line; an error that the package means ends in one sentence and exit 1."""
    try:
        commands()
    except JartestError as e:
        click.echo(f"jartest: {e}", err=True)
        sys.exit(1)


def _recorder() -> Recorder:
    from jartest.settings import open_recorder, read_settings

    return open_recorder(read_settings())


# ------------------------------------------------------------------------ app
@commands.command()
@click.option("--port", default=8501, show_default=True, help="Port to serve on.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option("--lan", is_flag=True, help="Serve phones and people on the shop's network too.")
@click.option("--address", default="", help="This machine's address or name there, where it is not found.")
@click.option("--cert", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="TLS certificate.")
@click.option("--key", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Its private key.")
def app(port: int, no_browser: bool, lan: bool, address: str, cert: Path | None, key: Path | None) -> None:
    """Start the app on this machine and open it in the browser."""
    from jartest.settings import read_settings

    if (cert is None) != (key is None):
        raise click.UsageError("Give both --cert and --key, or neither.")
    hosts = _open_to_the_network(port, address, tls=cert is not None) if lan else ()
    from jartest.screens.launch import serve

    here = Path(__file__).resolve().parent
    script = next(p for p in (here / "app.py", here.parent / "app.py") if p.exists())
    tls = None if cert is None or key is None else (cert, key)
    serve(script, read_settings(), port=port, open_browser=not no_browser, hosts=hosts, tls=tls)


def _open_to_the_network(port: int, address: str, *, tls: bool) -> tuple[str, ...]:
    """The names to be called by there; says address and code on this screen."""
    from jartest.field.access import Access
    from jartest.field.network import base_url, known_names, lan_address, qr_lines
    from jartest.settings import PHONE_URL, read_settings

    address = address or lan_address()
    url = base_url(address, port, tls=tls)
    os.environ[PHONE_URL] = url
    access = Access(read_settings().home)
    click.echo(f"{qr_lines(url)}\nOn the network jartest is at {url}")
    if access.has_code():
        click.echo("People there need the access code; “jartest code” makes a new one.")
    else:
        click.echo(
            f"The access code for people there is {access.make_code()}: write it down, it is kept nowhere."
        )
    return known_names(address)


@commands.command()
@click.option("--links", is_flag=True, help="Make every capture link void too, and new ones in their place.")
def code(links: bool) -> None:
    """Make a new access code for people on the network; whoever came in with the old one has to give it again."""
    from jartest.field.access import Access
    from jartest.settings import read_settings

    access = Access(read_settings().home)
    if links:
        access.renew_links()
    click.echo(f"The access code is now {access.make_code()}: write it down, it is kept nowhere.")


@commands.command()
@click.option(
    "--address", default="", help="This machine's address or name on the network, where it is not found."
)
def certificate(address: str) -> None:
    """Make a TLS certificate for the shop's address, signed by this machine itself."""
    from datetime import UTC, datetime

    from jartest.field.gate import THIS_MACHINE
    from jartest.field.network import known_names, lan_address
    from jartest.field.tls import make_certificate
    from jartest.settings import read_settings

    names = (*known_names(address or lan_address()), *THIS_MACHINE)
    cert, key = make_certificate(read_settings().home / "tls", names, now=datetime.now(UTC))
    click.echo(f"Serve with it:\n  jartest app --lan --cert {cert} --key {key}")
    click.echo("Each phone warns of it once, until it is told to trust it; keep the key file to yourself.")


# ----------------------------------------------------------------------- watch
@commands.command()
@click.option("--test", "which", required=True, help="Number or id of the test.")
@click.option("--camera", type=click.IntRange(0), help="Number of the camera; 0 is the first.")
@click.option(
    "--folder", type=click.Path(exists=True, file_okay=False, path_type=Path), help="Folder to look into."
)
@click.option("--by", default="", help="Name under the photos; the camera or the folder by default.")
def watch(which: str, camera: int | None, folder: Path | None, by: str) -> None:
    """Photograph a test at its set times, or take in the photos that another device drops into a folder.

    Goes on until the last look is taken or missed, or the test is signed or stopped.  Stopped and started
    again, it goes on where the test stands.
    """
    import time

    from jartest.field.unread import read_unread
    from jartest.field.watch import CameraWatch, FolderWatch, account, run_watch
    from jartest.imaging.camera import UsbCamera

    recorder = _recorder()
    test_id = _test_id(recorder, which)
    case = recorder.case(test_id)

    def say(text: str) -> None:
        click.echo(f"{recorder.now().astimezone():%Y-%m-%d %H:%M:%S}  {text}")

    if (camera is None) == (folder is None):
        raise click.UsageError("Give either --camera or --folder.")
    one: CameraWatch | FolderWatch
    if folder is not None:
        one = FolderWatch(recorder, folder, test_id, by=by or "dropped photo", say=say)
    else:
        one = CameraWatch(recorder, UsbCamera(camera or 0), test_id, by=by or f"camera {camera}", say=say)
    say(f"Watching jar {case.test.number}, {case.test.plan.title}; stop with Ctrl+C.")
    read_unread(recorder, test_id=test_id, say=say)
    try:
        run_watch(one, time.sleep)
    except KeyboardInterrupt:
        say("Stopped; start it again to go on.")
    stands = account(recorder, recorder.case(test_id))
    for word, slots in (("Taken", stands.taken), ("Missed", stands.missed), ("Open", stands.open)):
        say(f"{word}: {', '.join(slots) or 'none'}.")


# ---------------------------------------------------------------------- doctor
@commands.command()
@click.option("--port", default=8501, show_default=True, help="Port to look at.")
@click.option("--camera", type=click.IntRange(0), help="Number of a camera to try.")
def doctor(port: int, camera: int | None) -> None:
    """Say what is wrong with this installation and how to mend it; exit 1 where anything is."""
    from datetime import UTC, datetime

    from jartest.field.doctor import examine
    from jartest.settings import read_settings

    shoot = None
    if camera is not None:
        from jartest.imaging.camera import UsbCamera

        shoot = UsbCamera(camera).shoot
    shapes = {"well": "●", "note": "◐", "fault": "✕"}
    faults = 0
    for found in examine(read_settings(), now=datetime.now(UTC), port=port, camera=shoot):
        faults += found.grade == "fault"
        click.echo(
            f"{shapes[found.grade]} {found.grade:5}  {found.what}: {found.says}"
            + (f"\n         {found.do}" if found.do else "")
        )
    sys.exit(1 if faults else 0)


# -------------------------------------------------------------------- measure
@commands.command()
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option(
    "--marks",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="JSON file: photo name to what was set by hand (left_px, right_px, floor_px, surface_px, boundaries_px, kinds, lumps).",
)
@click.option(
    "--overlay", type=click.Path(file_okay=False, path_type=Path), help="Folder for the marked pictures."
)
@click.option(
    "--diameter",
    "diameter_mm",
    type=click.FloatRange(min=5, max=1000),
    metavar="MM",
    help="Inner diameter of the jar, for sizes in mm and the strainers that lumps stop at.",
)
def measure(
    photos: tuple[str, ...],
    as_json: bool,
    marks: Path | None,
    overlay: Path | None,
    diameter_mm: float | None,
) -> None:
    """Read photos of jars: layers, lumps and a careful verdict of each.

    Exit 0 when every photo could be read as a picture, 1 when any could not, 2 for wrong usage.
    """
    from jartest.settings import read_limits, read_settings

    limits = read_limits(read_settings())
    by_name = {} if marks is None else _read_marks(marks)
    if overlay is not None:
        overlay.mkdir(parents=True, exist_ok=True)
    failed = 0
    rows = []
    one = partial(_measure_one, marks=by_name, overlay=overlay, diameter_mm=diameter_mm, limits=limits)
    quiet = len(photos) < 3 or not sys.stderr.isatty()
    with (
        _readers(len(photos)) as map_all,
        click.progressbar(
            map_all(one, photos), length=len(photos), label="Reading", file=sys.stderr, hidden=quiet
        ) as bar,
    ):
        for row in bar:
            failed += "error" in row
            if as_json:
                click.echo(json.dumps(row, ensure_ascii=False, allow_nan=False))
            else:
                rows.append(row)
    if not as_json:
        click.echo(_table(rows))
    sys.exit(1 if failed else 0)


@contextmanager
def _readers(count: int) -> Iterator[Callable[..., Iterator[dict[str, Any]]]]:
    """A `map` over all cores when there is enough to do to pay for starting them, else the plain one."""
    cores = os.cpu_count() or 1
    if count < _WORTH_A_POOL or cores < 2:
        yield map
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(
        min(cores, count), mp_context=get_context("spawn"), initializer=_make_ready
    ) as pool:
        yield pool.map


def _make_ready() -> None:
    """In each process that reads: what is needed is imported there only, while the others do so too."""
    from jartest.imaging.photo import use_one_thread

    use_one_thread()


def _read_marks(path: Path) -> dict[str, Marks]:
    from jartest.imaging.marks_file import read_marks

    try:
        return read_marks(path.read_text("utf-8"))
    except (BadEntry, UnicodeDecodeError) as e:
        raise click.BadParameter(str(e), param_hint="--marks") from e


def _measure_one(
    name: str, *, marks: dict[str, Marks], overlay: Path | None, diameter_mm: float | None, limits: Any
) -> dict[str, Any]:
    from jartest.imaging.overlay import draw_overlay
    from jartest.imaging.photo import open_to_read
    from jartest.imaging.reading import read_photo
    from jartest.verdict.photo import judge_photo

    path = Path(name)
    try:
        photo = open_to_read(path.read_bytes(), path.name)
    except BadPhoto as e:
        return {"photo": name, "error": str(e)}
    except OSError as e:
        return {"photo": name, "error": f"The file cannot be read: {e.strerror}."}
    try:
        set_by_hand = marks.get(name) or marks.get(path.name)
        reading = read_photo(photo, marks=set_by_hand, inner_diameter_mm=diameter_mm)
    except BadEntry as e:
        return {"photo": name, "error": str(e)}
    if overlay is not None:
        (overlay / f"{path.stem}-marked.jpg").write_bytes(draw_overlay(photo, reading))
    return _row(name, reading, judge_photo(reading, limits)) | _strainers(reading, limits.strainers)


def _row(name: str, reading: Reading, verdict: Verdict) -> dict[str, Any]:
    said = verdict.to_json()
    of_photo = {k: said[k] for k in ("verdict", "score", "reasons")}
    return {"photo": name} | reading.to_json() | of_photo


def _strainers(reading: Reading, fitted: dict[str, int]) -> dict[str, Any]:
    """Where the larger lumps would stop, by mesh and in the sprayer; null without a size."""
    from jartest.imaging.lump_size import lump_sizes, say_lumps
    from jartest.plan.strainers import in_sprayer, strainers_that_stop

    sizes = lump_sizes(reading)
    if sizes is None:
        return {"strainers": None, "lumps_say": say_lumps(reading, fitted)}
    size = sizes.p90_mm, sizes.sigma_mm
    return {
        "strainers": {
            "lump_mm": sizes.p90_mm,
            "lump_sigma_mm": sizes.sigma_mm,
            "mesh": {str(s.mesh): s.stops for s in strainers_that_stop(*size)},
            "sprayer": {x.position.key: x.stops for x in in_sprayer(*size, fitted)},
        },
        "lumps_say": say_lumps(reading, fitted),
    }


def _table(rows: list[dict[str, Any]]) -> str:
    heads = ("photo", "verdict", "score", "settled", "clear", "floating", "foam", "lumps", "flags")
    lines = [heads, *(_cells(r) for r in rows)]
    widths = [max(len(x[i]) for x in lines) for i in range(len(heads))]
    table = ["  ".join(c.ljust(w) for c, w in zip(x, widths, strict=True)).rstrip() for x in lines]
    lumps = [f"{Path(r['photo']).name}: {r['lumps_say']}" for r in rows if r.get("lumps_say")]
    return "\n".join(table + lumps)


def _cells(r: dict[str, Any]) -> tuple[str, ...]:
    name = Path(r["photo"]).name
    if "error" in r:
        return (name, *"-------", r["error"])
    if not r["jar_found"]:
        return (name, "none", *"------", "no jar found")
    percent = [
        _percent(r[f"{k}_fraction"], r[f"{k}_sigma_fraction"])
        for k in ("settled", "clear", "top_layer", "foam")
    ]
    index = "not measurable" if r["floc_index"] is None else f"{r['floc_index']:.2f}"
    score = "-" if r["score"] is None else str(r["score"])
    return (name, r["verdict"] or "none", score, *percent, index, ", ".join(r["flags"]))


def _percent(value: float | None, sigma: float | None) -> str:
    if value is None:
        return "not measurable"
    return f"{100 * value:.1f} %" if sigma is None else f"{100 * value:.1f} ± {100 * sigma:.1f} %"


@commands.command()
@click.option("--by", default="jartest", show_default=True, help="Name under the new readings.")
def remeasure(by: str) -> None:
    """Read every kept photo again with the present method, beside the old readings; goes on after a stop."""
    recorder = _recorder()
    with click.progressbar(length=1, label="Reading again", file=sys.stderr) as bar:

        def progress(done: int, total: int) -> None:
            bar.length = max(total, 1)
            bar.update(done - bar.pos)

        count = recorder.remeasure(by=by, progress=progress)
    click.echo(f"{count} looks read again.")


# --------------------------------------------------------------------- recipe
@commands.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE.toml")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def recipe(file: Path, as_json: bool) -> None:
    """Scale a tank recipe to the jar: amounts, order of addition and warnings.

    Exit 2, with one sentence naming the line, for a file that cannot be taken.
    """
    from jartest.plan.recipe import make_recipe, say_recipe
    from jartest.plan.recipe_file import read_recipe_file

    try:
        made = make_recipe(read_recipe_file(file))
    except BadEntry as e:
        click.echo(f"jartest: {e}", err=True)
        sys.exit(2)
    click.echo(
        json.dumps(made.to_json(), ensure_ascii=False, allow_nan=False) if as_json else say_recipe(made)
    )


# --------------------------------------------------------------------- samples
@commands.command()
@click.option("--remove", is_flag=True, help="Remove the sample tests and their photos.")
def samples(remove: bool) -> None:
    """Load the sample tests (invented, with rendered photos), or remove them."""
    from jartest.samples import load_samples

    recorder = _recorder()
    if remove:
        click.echo(f"{recorder.remove_samples()} sample tests removed.")
    else:
        click.echo(f"{load_samples(recorder)} sample tests loaded; “jartest app” shows them.")


# ----------------------------------------------------------------------- tests
@commands.command(name="tests")
@click.argument("words", nargs=-1)
@click.option("--look", default="", help="Run this saved search.")
@click.option("--save", default="", help="Save this search under a name.")
@click.option("--by", default="", help="Who saves it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def list_tests(words: tuple[str, ...], look: str, save: str, by: str, as_json: bool) -> None:
    """List the kept tests that hold all the given words, newest first.

    Also verdict:fail, since:2026-03-01, until:2026-03-31, and #12 for test 12.
    """
    from jartest.verdict.words import say_aged, say_signed

    recorder = _recorder()
    wanted = " ".join([*words, *([_words_of_look(recorder, look)] if look else [])])
    found = recorder.find(wanted)
    if save:
        recorder.save_look(save, "tests", {"words": wanted}, by=by)
    for row in found:
        if as_json:
            click.echo(
                json.dumps(
                    {
                        "number": row.number,
                        "id": row.id,
                        "title": row.title,
                        "products": row.products,
                        "opened_at": row.opened_at.isoformat(),
                        "looks": row.looks,
                        "verdict": row.machine_word,
                        "score": row.machine_score,
                        "age_s": row.machine_age_s,
                        "opinion": row.person_word,
                        "signed_word": row.signed_word,
                        "signed_age_s": row.signed_age_s,
                        "signed_over": row.signed_over,
                        "signed_by": row.signed_by,
                    },
                    ensure_ascii=False,
                )
            )
        else:
            word = row.signed_word or row.person_word or row.machine_word
            scored = word == row.machine_word and row.machine_score is not None
            score = f"{row.machine_score:3}" if scored else ""  # the machine's, beside no other word
            said = say_aged(word, row.machine_age_s)
            if row.signed_word:
                said = say_signed(word, row.signed_age_s, row.signed_over)
            signed = f"signed {row.signed_word} by {row.signed_by}" if row.signed_by else "not signed"
            click.echo(
                f"#{row.number}  {row.opened_at:%Y-%m-%d}  {said:15}  {score:3}  {row.title}  ({signed})"
            )


def _words_of_look(recorder: Recorder, look: str) -> str:
    key = " ".join(look.split()).casefold()
    found = [x for x in recorder.saved_looks("tests") if x.key == key]
    if not found:
        raise NotFound(f"There is no saved search named “{look[:60]}”; “jartest looks” lists them.")
    return str(found[0].choices.get("words", ""))


@commands.command(name="looks")
@click.option("--remove", default="", help="Remove the saved search of this name.")
@click.option(
    "--of", "screen", type=click.Choice(["tests", "history"]), default="tests", help="Of which screen."
)
@click.option("--by", default="", help="Who removes it.")
def list_looks(remove: str, screen: LookScreen, by: str) -> None:
    """List the saved searches; “jartest tests --look NAME” runs one."""
    recorder = _recorder()
    if remove:
        recorder.remove_look(remove, screen, by=by)
    for look in recorder.saved_looks():
        said = ", ".join(f"{k}: {v}" if k != "words" else str(v) for k, v in look.choices.items())
        click.echo(f"{look.screen:8} {look.name}  ({said or 'all'})  saved by {look.by}, {look.at:%Y-%m-%d}")


# ------------------------------------------------------- what leaves and comes back
_TO_FILE = click.Path(dir_okay=False, path_type=Path)
_FROM_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_PAPER = click.Choice(["letter", "a4"])


def _test_id(recorder: Recorder, said: str) -> str:
    """The id of a test that was named by its number or its id."""
    number = said.removeprefix("#")
    return recorder.store.test_id_of(int(number)) if number.isdecimal() and len(number) < 10 else said


def _write(file: Path, data: bytes) -> None:
    try:
        file.write_bytes(data)
    except OSError as e:
        raise StoreFault(
            f"The file “{file.name}” cannot be written ({e.strerror}); name another place."
        ) from e
    size = f"{len(data) / 1e6:.1f} MB" if len(data) >= 1e6 else f"{len(data) / 1e3:.0f} kB"
    click.echo(f"{file.name} written, {size}.")


@commands.command()
@click.argument("test")
@click.option("-o", "out", type=_TO_FILE, required=True, help="The question's file, a .html.")
@click.option("--by", required=True, help="Who asks.")
@click.option("--to", "asked_of", default="", help="Who is asked.")
@click.option("--ask", "words", default="", help="The question.")
@click.option("--whole", is_flag=True, help="Photos in full size, not made small for mail.")
@click.option("--nameless", is_flag=True, help="Leave out names of people, customers and places.")
def parcel(test: str, out: Path, by: str, asked_of: str, words: str, whole: bool, nameless: bool) -> None:
    """Write a test (number or id) into one page that asks for a second opinion; any browser opens it."""
    from jartest.exchange.answer import ask_about_test, question_file

    recorder = _recorder()
    made = ask_about_test(
        recorder.store,
        recorder.photos,
        _test_id(recorder, test),
        parcel_id=recorder.fresh_id(),
        at=recorder.now(),
        by=by,
        asked_of=asked_of,
        words=words,
        whole=whole,
        nameless=nameless,
    )
    _write(out, question_file(recorder.store, made.said.id))


@commands.command()
@click.argument("file", type=_FROM_FILE)
def receive(file: Path) -> None:
    """Take in a question to answer, or the answer to one; exit 1, and nothing kept, if refused."""
    from jartest.exchange.answer import receive as take_in
    from jartest.exchange.parcel import MAX_BYTES

    recorder = _recorder()
    with file.open("rb") as f:
        data = f.read(MAX_BYTES + 1)
    click.echo(take_in(recorder.store, data, at=recorder.now()).says)


@commands.command()
@click.argument("test")
@click.option("-o", "out", type=_TO_FILE, required=True, help="The PDF file.")
@click.option("--paper", type=_PAPER, default="letter", show_default=True)
def sheet(test: str, out: Path, paper: Literal["letter", "a4"]) -> None:
    """Print a test (number or id) on one or two pages, as PDF."""
    from jartest.exchange.sheet import sheet_of
    from jartest.tank import cautions_of_plan

    recorder = _recorder()
    case, fitted = recorder.case(_test_id(recorder, test)), recorder.limits.strainers
    told = cautions_of_plan(recorder, case.test.plan)
    _write(out, sheet_of(case, recorder.photos.get, paper=paper, strainers=fitted, cautions=told))


@commands.command()
@click.argument("tests", nargs=-1, required=True, metavar="TEST...")
@click.option("-o", "out", type=_TO_FILE, required=True, help="The PDF file.")
@click.option(
    "--address", default="", help="Where phones reach the app: the codes then open a test's camera page."
)
@click.option("--paper", type=_PAPER, default="letter", show_default=True)
def labels(tests: tuple[str, ...], out: Path, address: str, paper: Literal["letter", "a4"]) -> None:
    """Print labels for the jars of these tests (numbers or ids), as PDF."""
    from jartest.exchange.labels import label_sheet
    from jartest.field.access import Access
    from jartest.field.links import link_path
    from jartest.settings import read_settings

    recorder = _recorder()
    cases = [recorder.case(_test_id(recorder, said)) for said in tests]
    access = Access(read_settings().home)

    def link(test_id: str) -> str:
        (test,) = {c.test for c in cases if c.test.id == test_id}
        return f"{address.rstrip('/')}{link_path(access, test)}" if address else f"jartest:{test_id}"

    _write(out, label_sheet(cases, link, paper=paper))


@commands.command(name="csv")
@click.argument("what", type=click.Choice(["tests", "readings"]))
@click.option("-o", "out", type=_TO_FILE, required=True, help="The CSV file.")
def csv_table(what: str, out: Path) -> None:
    """Write all tests, or all readings, as a table for a spreadsheet."""
    from jartest.exchange.tables import csv_of_readings, csv_of_tests

    recorder = _recorder()
    rows = recorder.find(limit=recorder.count())
    if what == "tests":
        _write(out, csv_of_tests(rows))
    else:
        _write(out, csv_of_readings(recorder.case(row.id) for row in rows))


@commands.command()
@click.option("-o", "out", type=_TO_FILE, required=True, help="The PDF file.")
@click.option("--paper", type=_PAPER, default="letter", show_default=True)
def card(out: Path, paper: Literal["letter", "a4"]) -> None:
    """Print the reference card to stand behind the jar: it gives photos their scale and their true color."""
    from jartest.exchange.reference_card_pdf import reference_card_pdf

    _write(out, reference_card_pdf(paper=paper))
    click.echo("Print it at 100 %, check its rule of 120 mm, and stand it upright behind the jar.")


@commands.command()
@click.argument("file", type=_TO_FILE)
def backup(file: Path) -> None:
    """Write everything kept into one new file, also while the app runs, and read it back.

    Exit 1 when a photo was lost already and could not be put in; the file then holds all others.
    """
    from jartest.exchange.backup import back_up
    from jartest.settings import read_settings

    recorder = _recorder()
    limits = read_settings().shop_limits
    with click.progressbar(length=100, label="Backing up", file=sys.stderr) as bar:
        done = back_up(
            recorder.store,
            recorder.photos,
            file,
            at=recorder.now(),
            shop_limits=limits,
            progress=lambda share: bar.update(int(100 * share) - bar.pos),
        )
    click.echo(
        f"{file.name} written and read back: records and {done.photos} photos, {done.size_bytes / 1e6:.1f} MB."
    )
    if done.lost_photos:
        click.echo(
            f"{len(done.lost_photos)} photos are missing or damaged here; “jartest check” names them.",
            err=True,
        )
        sys.exit(1)


@commands.command()
@click.argument("file", type=_FROM_FILE)
@click.option(
    "--into", type=click.Path(file_okay=False, path_type=Path), help="Another folder than the data folder."
)
def restore(file: Path, into: Path | None) -> None:
    """Put a backup into a data folder that holds no records yet."""
    from jartest.exchange.backup import restore as put_back
    from jartest.settings import open_photos, read_settings

    settings = read_settings()
    elsewhere = bool(settings.photos_url)
    with click.progressbar(length=100, label="Restoring", file=sys.stderr) as bar:
        done = put_back(
            file,
            into or settings.home,
            photos=open_photos(settings) if elsewhere and not into else None,
            progress=lambda share: bar.update(int(100 * share) - bar.pos),
        )
    photos_too = " and unset JARTEST_PHOTOS_URL" if elsewhere else ""
    where = f" Set JARTEST_HOME to “{into}”{photos_too} to work with it." if into else ""
    click.echo(f"Records and {done.photos} photos restored.{where}")


@commands.command()
def check() -> None:
    """Check the records, every photo's digest, and what belongs to what; exit 1 when somebody must act."""
    from jartest.exchange.check import check_home

    recorder = _recorder()
    with click.progressbar(length=100, label="Checking", file=sys.stderr) as bar:
        found = check_home(
            recorder.store, recorder.photos, lambda share: bar.update(int(100 * share) - bar.pos)
        )
    for finding in found.findings:
        click.echo(f"{finding.weight}: {finding.says}")
    word = "all sound" if found.clean else "something needs you"
    click.echo(f"{found.tests} tests, {found.photos} photos, {found.parcels} parcels: {word}.")
    sys.exit(0 if found.clean else 1)


# --------------------------------------------------------------------- history
@commands.group(name="history")
def shop_history() -> None:
    """What all signed tests say together: pairs, suspects, what to know before mixing."""


@shop_history.command(name="pairs")
@click.option("--csv", "as_csv", is_flag=True, help="CSV on standard output.")
@click.option("--parquet", type=click.Path(dir_okay=False, path_type=Path), help="Write a Parquet file.")
def history_pairs(as_csv: bool, parquet: Path | None) -> None:
    """Every pair of products that was tried, trouble first."""
    from jartest.exchange.history_tables import pairs_csv, pairs_parquet

    table = _recorder().history().pair_table()
    if parquet is not None:
        parquet.write_bytes(pairs_parquet(table))
    elif as_csv:
        click.echo(pairs_csv(table).decode("utf-8-sig"), nl=False)
    else:
        click.echo(table.says)
        for cell in table.cells:
            click.echo(f"{cell.state:11}  {cell.says}")


@shop_history.command(name="tests")
@click.argument("words", nargs=-1)
@click.option(
    "--parquet", required=True, type=click.Path(dir_okay=False, path_type=Path), help="File to write."
)
def history_tests(words: tuple[str, ...], parquet: Path) -> None:
    """Write the tests that hold all the given words (also since:2026-03-01, until:2026-03-31) as Parquet."""
    from jartest.exchange.history_tables import tests_parquet

    recorder = _recorder()
    said = " ".join(words)
    rows = recorder.find(said, limit=max(recorder.count(said), 1))
    parquet.write_bytes(tests_parquet(rows))
    click.echo(f"{len(rows)} tests written.")


@shop_history.command(name="suspects")
@click.argument("number", type=int)
def history_suspects(number: int) -> None:
    """Who is to blame for the failure of test NUMBER, and which jar to mix next."""
    recorder = _recorder()
    test = recorder.case(recorder.store.test_id_of(number)).test
    blame = recorder.blame(test)
    click.echo(blame.says)
    for suspect, chance in blame.suspects[:8]:
        click.echo(f"{chance:6.1%}  {suspect.says}")
    jar = blame.next_jar()
    click.echo("No jar would tell more." if jar is None else f"Next jar: {' + '.join(jar.products)}")


@shop_history.command(name="move")
@click.argument("source_url")
@click.argument("target_url")
def history_move(source_url: str, target_url: str) -> None:
    """Copy the store at SOURCE_URL to the empty one at TARGET_URL, and compare them row by row.

    An address is sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE.  Photos stay in their folder.
    """
    from jartest.records.move import copy_store

    moved = copy_store(source_url, target_url)
    click.echo(
        f"{moved.rows['tests']} tests, {moved.total} rows copied and compared; the old store is as it was."
    )
