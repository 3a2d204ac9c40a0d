"""A test with two photos, and ways to spoil its parcel."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from jartest.exchange.parcel import Parcel, pack_question
from jartest.plan.products import ShelfProduct
from jartest.plan.scaling import RecipeProduct, RecipeRequest
from jartest.plan.schedule import default_schedule
from jartest.plan.water import MixWater
from jartest.recorder import Recorder
from jartest.records.model import Case, JarUsed, Product, TestPlan, Water
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.units import read_carrier_rate, read_quantity, read_rate
from jartest.verdict.limits import load_limits

AT = datetime(2026, 3, 14, 14, 0, tzinfo=UTC)


def plan() -> TestPlan:
    """A mixture of two invented products."""
    products = (
        Product(
            name="Bineguard Copper 20",
            maker="Hollow Oak",
            formulation="SC",
            lot="LOT-7731",
            amount_text="5 mL",
            amount_ml=5.0,
        ),
        Product(
            name="Nettlesap Boron 10", maker="Hollow Oak", formulation="SL", amount_text="3 g", amount_g=3.0
        ),
    )
    return TestPlan(
        title="Copper and boron for Mr Quill",
        products=products,
        water=Water(source="Quill's well", hardness_mg_l=180.0, ph=7.4),
        jar=JarUsed(),
        schedule=default_schedule(2, (0.0, 900.0)),
        notes="For the upper yard (<4 ha>) of Quill & sons",
    )


def jpeg_with_place(pixels: np.ndarray) -> bytes:
    """A JPEG that says where and with what it was taken."""
    exif = Image.Exif()
    exif[0x0110] = "Invented Phone 3"  # Model
    exif[0x8825] = {1: "N", 2: (51.0, 12.0, 3.0), 3: "E", 4: (10.0, 2.0, 1.0)}  # GPS: EXIF 2.32, 4.6.6
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=92, exif=exif, comment=b"at the upper yard")
    return out.getvalue()


def sample_photo(n: int) -> bytes:
    """A sample photo as a phone would send it, by its number."""
    name = ("settler-0000min.jpg", "settler-0030min.jpg")[n]
    with Image.open(Path(__file__).parents[2] / "samples" / "settler" / name) as picture:
        return jpeg_with_place(np.asarray(picture.convert("RGB")))


@pytest.fixture
def photo_bytes() -> Callable[[int], bytes]:
    """Sample photos as a phone would send them."""
    return sample_photo


def fill(recorder: Recorder, clock: Callable[[], datetime], photo: Callable[[int], bytes]) -> str:
    """The id of a test with two looks, an observation and an opinion, kept through `recorder`."""
    test = recorder.start_test(plan(), by="Wren", utc_offset_min=120)
    recorder.add_product(test.id, 1, by="Wren")
    recorder.add_product(test.id, 2, by="Wren", out_of_order=True)
    recorder.finish_mixing(test.id, by="Wren")
    recorder.take_look(test.id, slot="age-0", data=photo(0), name="quill-1.jpg", by="Wren")
    clock.go_on(minutes=15)  # type: ignore[attr-defined]
    recorder.take_look(test.id, slot="age-900", data=photo(1), name="quill-2.jpg", by="Wren")
    said = "lumpy after the boron, <1 min> stirs out"
    recorder.observe(test.id, by="Wren", signs=("lumps",), remix="fully", text=said)
    recorder.give_opinion(test.id, word="fail", reason="SENDERSAYSFAIL", by="Wren")
    return test.id


def open_home(home: Path, clock: Callable[[], datetime]) -> Recorder:
    """A recorder over this folder."""
    store = Store.open(f"sqlite:///{home / 'jartest.sqlite'}")
    return Recorder(store=store, photos=PhotoFiles(home / "photos"), limits=load_limits(), clock=clock)


@pytest.fixture(scope="session")
def filled_home(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A home with one test, filled once because reading photos takes time; and the test's id."""
    home = tmp_path_factory.mktemp("filled")

    class Clock:
        now = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)

        def __call__(self) -> datetime:
            return self.now

        def go_on(self, **delta: float) -> None:
            self.now += timedelta(**delta)

    recorder = open_home(home, clock := Clock())
    test_id = fill(recorder, clock, sample_photo)
    recorder.store.close()
    return home, test_id


@pytest.fixture
def home(tmp_path: Path, filled_home: tuple[Path, str]) -> Path:
    """A copy of the filled home."""
    return Path(shutil.copytree(filled_home[0], tmp_path / "home"))


@pytest.fixture
def recorder(home: Path, clock) -> Iterator[Recorder]:
    """A recorder over the copy, a quarter of an hour after mixing."""
    clock.go_on(minutes=15)
    recorder = open_home(home, clock)
    yield recorder
    recorder.store.close()


@pytest.fixture
def case(recorder: Recorder, filled_home: tuple[Path, str]) -> Case:
    """The test in the filled home."""
    return recorder.case(filled_home[1])


@pytest.fixture
def ask(recorder: Recorder) -> Callable[..., Parcel]:
    """A parcel that asks about a case."""

    def pack(case: Case, **how: object) -> Parcel:
        said = {
            "parcel_id": "a" * 32,
            "at": AT,
            "by": "Wren",
            "asked_of": "Teasel",
            "words": "Can this go in?",
        }
        return pack_question(case, recorder.photos.get, **(said | how))  # type: ignore[arg-type]

    return pack


@pytest.fixture
def parcel(case: Case, ask: Callable[..., Parcel]) -> Parcel:
    """The parcel of that test."""
    return ask(case)


@pytest.fixture(scope="session")
def lasting_parcel(filled_home: tuple[Path, str]) -> Parcel:
    """The parcel of the test in the filled home, for tests that need no store."""
    recorder = open_home(filled_home[0], lambda: AT)
    case = recorder.case(filled_home[1])
    made = pack_question(
        case,
        recorder.photos.get,
        parcel_id="a" * 32,
        at=AT,
        by="Wren",
        asked_of="Teasel",
        words="Can this go in?",
    )
    recorder.store.close()
    return made


@pytest.fixture
def other_home(tmp_path: Path, clock) -> Iterator[Recorder]:
    """Another shop, with an empty store."""
    folder = tmp_path / "other"
    folder.mkdir()
    recorder = open_home(folder, clock)
    yield recorder
    recorder.store.close()


@pytest.fixture
def tank_case(case: Case) -> Case:
    """The case as one of a tank recipe, mixed in another order than advised."""
    recipe = RecipeRequest(
        tank_volume=read_quantity("200 gal", "volume"),
        carrier_rate=read_carrier_rate("40 gal/acre"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=(
            RecipeProduct(
                product=ShelfProduct(name="Bineguard Copper 20", maker="Hollow Oak", formulation="SC"),
                rate=read_rate("1.5 qt/acre"),
            ),
            RecipeProduct(
                product=ShelfProduct(name="Nettlesap Boron 10", maker="Hollow Oak", formulation="SL"),
                rate=read_rate("2 lb/100 gal"),
            ),
        ),
        water=MixWater(conditioner="citric acid"),
    )
    plan = replace(case.test.plan, recipe=recipe)
    ticked = [e for e in case.events if e.kind == "added"]
    rest = [e for e in case.events if e.kind != "added"]
    return replace(case, test=replace(case.test, plan=plan), events=(*reversed(ticked), *rest))
