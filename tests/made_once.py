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

from matchkit.correcting import shares
from matchkit.matching import match, prints
from matchkit.matching.solve import count_subsets

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
