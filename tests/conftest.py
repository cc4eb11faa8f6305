"""One invented series, and the demo shop, fitted once for all the tests that need them."""

import contextlib
import io
import shutil
from pathlib import Path

import numpy as np
import pytest
from bench_inks import drawn
from hypothesis import settings

from matchkit.cli import main
from matchkit.files.places import data_folder
from matchkit.fit import Fit, fit
from matchkit.inks import Drawdown, Ink
from matchkit.palette import Palette, subset
from matchkit.simulate import Bench, make_bench

# The same cases every time, however slow the machine.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

Series = tuple[tuple[Ink, ...], list[Drawdown]]


@pytest.fixture(scope="session")
def bench() -> Bench:
    """Sixteen invented inks: white, black, clear and thirteen colours."""
    return make_bench(2024)


@pytest.fixture(scope="session")
def series(bench: Bench) -> Series:
    """Their ten drawdowns each."""
    return drawn(bench, seed=1)


@pytest.fixture(scope="session")
def fitted(series: Series) -> Fit:
    inks, drawdowns = series
    return fit(drawdowns, inks, geometry="d/8 specular excluded")


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
def fitted_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shop with its `fit.json`: copy it, never write in it."""
    folder = tmp_path_factory.mktemp("fitted") / "shop"
    shutil.copytree(data_folder() / "demo-shop", folder)
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["fit", str(folder)]) == 0
    return folder
