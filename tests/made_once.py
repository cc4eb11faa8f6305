"""What is dear is made by one process and kept on disk for all of them, until the tests end.

`conftest` brings these fixtures to all tests, the examples in docstrings included.
"""

import hashlib
import os
import pickle
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from matchkit.book import lessons
from matchkit.correcting import shares
from matchkit.matching import match, prints
from matchkit.matching.solve import count_subsets
from matchkit.report import html
from matchkit.workflows import (
    correcting_batch,
    finding,
    finishing_batch,
    using_up,
    weighing_out,
)

Once = Callable[[str, Callable[[], Any]], Any]


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory) -> Once:
    """`once(name, make)`: what `make` gives; the first process that asks makes it for all."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent

    def kept(name: str, make: Callable[[], Any]) -> Any:
        place, lock = shared / f"once {name}.pickle", shared / f"once {name}.lock"
        while not place.exists():
            try:
                lock.touch(exist_ok=False)
                break
            except FileExistsError:  # another process is at it; it takes its lock away if it fails
                time.sleep(0.05)
        else:
            return pickle.loads(place.read_bytes())
        try:
            made = make()
        except BaseException:
            lock.unlink()
            raise
        half = place.with_suffix(".half")
        half.write_bytes(pickle.dumps(made))
        half.replace(place)
        return made

    return kept


@pytest.fixture(scope="session", autouse=True)
def asked_once(once: Once) -> Iterator[None]:
    """The same drawdowns are fitted once, the same formulas sought once, whichever door asks.

    What takes seconds is kept for all processes, what takes less for the one that asked.
    """

    def kept(make: Callable[..., Any]) -> Callable[..., Any]:
        def made(*given: Any, progress: Any = None, **more: Any) -> Any:
            told = {} if progress is None else {"progress": progress}
            name = f"{make.__name__} {key(given, more)}"
            found = once(name, lambda: make(*given, **more, **told))
            if progress:  # also where it was found before: here a person may stop it
                every = count_subsets(len(given[0].inks), more.get("max_inks", 4))
                progress(every, every)
            return found

        return made

    with pytest.MonkeyPatch.context() as patch:
        for module, names in ((match, "fit solve"), (prints, "fit"), (shares, "solve")):
            for name in names.split():
                patch.setattr(module, name, kept(getattr(module, name)))
        for module, names in (
            (lessons, "infer learn"),
            (correcting_batch, "infer corrections solve"),
            (finding, "use"),
            (finishing_batch, "over_pour"),
            (using_up, "use"),
            (weighing_out, "hold_back"),
        ):
            for name in names.split():
                patch.setattr(module, name, remembered(getattr(module, name)))
        yield


def remembered(make: Callable[..., Any]) -> Callable[..., Any]:
    """The function, which answers from memory what it was asked before in this process."""
    known: dict[str, bytes] = {}

    def made(*given: Any, **more: Any) -> Any:
        asked = key(given, more)
        if asked not in known:
            known[asked] = pickle.dumps(make(*given, **more))
        return pickle.loads(known[asked])

    return made


def key(given: tuple[Any, ...], more: dict[str, Any]) -> str:
    """What stands for the arguments of a call."""
    return hashlib.sha256(pickle.dumps((given, sorted(more.items())))).hexdigest()[:16]


@pytest.fixture(scope="session", autouse=True)
def pictures_left_blank() -> Iterator[None]:
    """Forms get a blank for each picture: `test_plots` and the notebooks draw them."""

    def blank(picture: html.Picture, most_in: float = 0) -> bytes:
        return html.flat("#ffffff", "", 4, 4).png if picture.draw else picture.png

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(html, "png_of", blank)
        yield
