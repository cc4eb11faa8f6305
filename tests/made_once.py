"""What is dear is made by one process and kept on disk for all of them, until the tests end.

`conftest` brings these fixtures to all tests, the examples in docstrings included.
"""

import hashlib
import os
import pickle
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from matchkit.book import lessons, store
from matchkit.correcting import mixes, shares
from matchkit.errors import InputError
from matchkit.files.shop import FILES, OPTIONAL_FILES, read_shop
from matchkit.files.write import settled
from matchkit.inks.shop import Shop
from matchkit.matching import match, prints
from matchkit.matching.solve import count_subsets
from matchkit.report import html
from matchkit.workflows import (
    correcting_batch,
    finding,
    finishing_batch,
    session,
    using_up,
    weighing_out,
)

Once = Callable[[str, Callable[[], Any]], Any]
SHOPS = 30  # shops held at once; each is read in a twentieth of a second


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
            (mixes, "infer"),
            (correcting_batch, "infer corrections solve"),
            (finding, "use match with_more_stock"),
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

    def made(*given: Any, progress: Any = None, **more: Any) -> Any:
        told = {} if progress is None else {"progress": progress}
        asked = key(given, more)
        if asked not in known:
            known[asked] = pickle.dumps(make(*given, **more, **told))
        elif progress:
            progress(1, 1)
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


@pytest.fixture(scope="session", autouse=True)
def shops_read_once() -> Iterator[None]:
    """Folders of one name and the same files hold the same shop, which is read once."""
    known: dict[str, Shop] = {}

    def content(folder: str | Path, name: str) -> bytes | None:
        path = settled(folder, name)
        return path.read_bytes() if path.is_file() else None

    def read(folder: str | Path, settings: Shop | None = None) -> Shop:
        try:
            held = {name: content(folder, name) for name in (*FILES, *OPTIONAL_FILES)}
        except (OSError, InputError):
            return read_shop(folder, settings)
        asked = key((Path(folder).name, settings), held)
        if asked not in known:
            found = read_shop(folder, settings)
            if len(known) == SHOPS:
                known.clear()
            known[asked] = found
        return known[asked]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session, "read_shop", read)
        yield


@pytest.fixture(scope="session", autouse=True)
def disks_not_waited_for() -> Iterator[None]:
    """No test of this process pulls the plug: what is written need not be on the disk at once."""
    hurried = [each.replace("synchronous = FULL", "synchronous = OFF") for each in store.PRAGMAS]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "PRAGMAS", hurried)
        patch.setattr(os, "fsync", lambda file: None)
        yield


@pytest.fixture(scope="session", autouse=True)
def forms_on_no_screen() -> Iterator[None]:
    """Forms in tests tell no browser how each of their parts looks: none is there to be told."""
    try:
        from ipywidgets import Widget
    except ImportError:
        yield
        return

    class Nowhere:
        kernel = None  # nothing is sent

        def __init__(self) -> None:
            self.comm_id = uuid4().hex

        def on_msg(self, heard: object) -> None:
            pass

        def close(self) -> None:
            pass

    def opened(form: Widget) -> None:
        if form.comm is None:
            form.comm = Nowhere()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Widget, "open", opened)
        yield
        Widget.close_all()


@pytest.fixture(autouse=True)
def forms_keep_beside_the_notebook() -> None:
    """A page keeps what it saves with its shop: no test after it does."""
    if (shops := sys.modules.get("matchkit.forms.shops")) is not None:
        shops.kept_in(Path())
