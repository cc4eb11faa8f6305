"""What is dear is made by one process and kept on disk for all of them, until the tests end.

`conftest` brings these fixtures to all tests, the examples in docstrings included.
"""

import hashlib
import os
import pickle
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from matchkit.correcting import shares
from matchkit.files.shop import read_shop
from matchkit.inks.shop import Shop
from matchkit.matching import match, prints
from matchkit.matching.solve import count_subsets
from matchkit.workflows import session

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
    """The same drawdowns are fitted once, the same formulas sought once, whichever door asks."""

    def kept(make: Callable[..., Any]) -> Callable[..., Any]:
        def made(*given: Any, progress: Any = None, **more: Any) -> Any:
            key = hashlib.sha256(pickle.dumps((given, sorted(more.items())))).hexdigest()[:16]
            told = {} if progress is None else {"progress": progress}
            found = once(f"{make.__name__} {key}", lambda: make(*given, **more, **told))
            if progress:  # also where it was found before: here a person may stop it
                every = count_subsets(len(given[0].inks), more.get("max_inks", 4))
                progress(every, every)
            return found

        return made

    with pytest.MonkeyPatch.context() as patch:
        for module, names in ((match, "fit solve"), (prints, "fit"), (shares, "solve")):
            for name in names.split():
                patch.setattr(module, name, kept(getattr(module, name)))
        yield


@pytest.fixture(scope="session", autouse=True)
def shops_read_once() -> Iterator[None]:
    """A shop is read again when any of its files has changed, not for each command on it."""
    known: dict[tuple[object, ...], Shop] = {}

    def read(folder: str | Path, settings: Shop | None = None) -> Shop:
        try:
            files = sorted(
                (each.name, told.st_ino, told.st_size, told.st_mtime_ns, told.st_ctime_ns)
                for each in os.scandir(folder)
                if not each.name.startswith("book.db")
                for told in (each.stat(),)
            )
        except OSError:
            return read_shop(folder, settings)
        key = (str(folder), settings is None, *files)
        if key not in known:
            found = read_shop(folder, settings)
            if len(known) > 20:
                known.clear()
            known[key] = found
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session, "read_shop", read)
        yield
