"""One invented series, and the demo shop, fitted once for all the tests that need them.

Tests run in several processes.  A file's tests stay in one of them, since they share what
is dear to make; what several files need is made once and kept on disk for all.
"""

import contextlib
import csv
import gc
import io
import os
import shutil
import sys
from pathlib import Path
from typing import Any

# Tests run a process for each core already: threads of one for sums so small cost and win nothing.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import made_once
import numpy as np
import pytest
from bench_inks import drawn
from hypothesis import settings
from made_once import Once

from matchkit.cli import main
from matchkit.files.write import data_folder
from matchkit.fitting.fit import Fit, fit
from matchkit.inks.palette import Palette, subset
from matchkit.inks.shop import Drawdown, Ink
from matchkit.simulator.pigments import Bench, make_bench

# The many processes that tests start would else compile the package, each for itself.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# The same cases every time, however slow the machine.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

SEVEN = ("Quay White", "Bollard Black", "Ebb Clear", "Sharp Lemon", "Buoy Scarlet",
         "Slipway Blue", "Kelp Green")  # fmt: skip
OUT_OF_USE = ("Foxglove", "Dusk", "Lamp", "Deckhand", "Straw", "Dock", "Tar")

Series = tuple[tuple[Ink, ...], list[Drawdown]]
# The longest first, so that no process is left with one of them while the others are done.
LONG = (
    "browser", "test_notebooks", "test_same_answer", "test_library", "test_cli", "test_film_fit",
    "test_pins", "test_rehearse", "test_forms_book", "test_speed", "test_plots", "test_forms",
    "test_book_cli", "test_leftovers", "test_solve", "test_film_shop", "test_day", "test_fit",
    "test_book_lessons", "test_cli_mixes", "test_match", "test_judge", "test_demo_films",
    "test_diagnose", "test_correct",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(made_once)


def group(nodeid: str) -> str:
    """Which tests stay together in one process: those of a file, all that use the browser."""
    path = Path(nodeid.split("::")[0])
    return "browser" if path.parent.name == "browser" else path.stem


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    from xdist.scheduler import LoadFileScheduling

    scheduler = LoadFileScheduling(config, log)
    scheduler._split_scope = group
    return scheduler


@pytest.hookimpl(trylast=True)  # the order within a file stays as it was shuffled
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    rank = {name: place for place, name in enumerate(LONG)}

    def place(item: pytest.Item) -> tuple[object, ...]:
        name = group(item.nodeid)
        # In the browser one test goes on where the last one left the page and its files.
        written = (str(item.path), item.location[1] or 0) if name == "browser" else ("", 0)
        return rank.get(name, len(LONG)), *written

    items.sort(key=place)


def pytest_collection_finish() -> None:
    gc.freeze()  # thousands of tests stay to the end: looking through them for rubbish is dear


@pytest.fixture(scope="session")
def bench() -> Bench:
    """Sixteen invented inks: white, black, clear and thirteen colours."""
    return make_bench(2024)


@pytest.fixture(scope="session")
def series(bench: Bench) -> Series:
    """Their ten drawdowns each."""
    return drawn(bench, seed=1)


@pytest.fixture(scope="session")
def fitted(series: Series, once: Once) -> Fit:
    inks, drawdowns = series
    return once("series", lambda: fit(drawdowns, inks, geometry="d/8 specular excluded"))


@pytest.fixture(scope="session")
def palette(fitted: Fit) -> Palette:
    return fitted.palette


@pytest.fixture(scope="session")
def few(palette: Palette) -> Palette:
    """White, black, clear and the first three colours: small enough to search by brute force."""
    return subset(palette, [0, 1, 2, 3, 4, 5])


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20)


@pytest.fixture(scope="session")
def fitted_demo(tmp_path_factory: pytest.TempPathFactory, once: Once) -> Path:
    """The demo shop with its `fit.json`: copy it, never write in it."""

    def make() -> Path:
        folder = tmp_path_factory.mktemp("fitted") / "shop"
        shutil.copytree(data_folder() / "demo-shop", folder)
        with contextlib.redirect_stdout(io.StringIO()):
            assert main(["fit", str(folder)]) == 0
        return folder

    return once("demo shop", make)


@pytest.fixture(scope="session")
def seven_inks(tmp_path_factory: pytest.TempPathFactory, once: Once) -> Path:
    """The demo shop with seven of its inks, which are quicker to search, and its `fit.json`."""

    def make() -> Path:
        demo, folder = data_folder() / "demo-shop", tmp_path_factory.mktemp("seven") / "shop"
        folder.mkdir()
        for name in ("shop.toml", "targets.csv"):
            shutil.copy(demo / name, folder)

        def rows(name: str) -> list[list[str]]:
            with (demo / name).open(encoding="utf-8", newline="") as file:
                return list(csv.reader(file))

        drawn = rows("drawdowns.csv")[1:]
        others = {row[0] for row in drawn if row[1] not in SEVEN}
        others |= {row[0] for row in rows("mixes.csv")[1:]}
        for name in ("inks.csv", "drawdowns.csv", "spectra.csv"):
            head, *body = rows(name)
            kept = [
                r for r in body if (r[0] in SEVEN if name == "inks.csv" else r[0] not in others)
            ]
            with (folder / name).open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows([head, *kept])
        with contextlib.redirect_stdout(io.StringIO()):
            assert main(["fit", str(folder)]) == 0
        return folder

    return once("seven inks", make)


@pytest.fixture(scope="session")
def demo_of_few(fitted_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with seven inks out of use, so that a search is soon done: copy it as well."""
    folder = tmp_path_factory.mktemp("few") / "shop"
    shutil.copytree(fitted_demo, folder)
    head, *rows = (folder / "inks.csv").read_text(encoding="utf-8").splitlines()
    kept = [f"{row},{'no' if row.startswith(OUT_OF_USE) else 'yes'}" for row in rows]
    (folder / "inks.csv").write_text("\n".join([f"{head},active", *kept, ""]), encoding="utf-8")
    return folder
