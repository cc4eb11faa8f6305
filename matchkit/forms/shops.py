"""The shop that a form works in, and how forms look."""

import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.files.recipe import WrittenRecipe, read_recipe
from matchkit.files.write import data_folder, write_file
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.workflows.planning import open_folder
from matchkit.workflows.session import BOOK, Session

STYLE = (Path(__file__).parent / "forms.css").read_text(encoding="utf-8").rstrip()


DEMO = "demo-shop"
STAYS = "The demo shop stays as it is: nothing is written to it. This is for your own shop."
TICKETS = "tickets"  # the folder, beside the notebook, where forms keep what they save
COPIES = "book-copies"  # the folder beside it for copies of record books
_KEPT = [Path()]  # where that folder is
FIRST_POUR = "-first-pour"  # in the name of weights that leave out what is held back
EXAMPLE_BATCH = "example batch"  # of the demo shop, as the forms list it
AGAIN = "Then press ▶▶ in the bar above once more; on the job page, load the page again."
CHOSEN = "shop-chosen.txt"  # beside the notebooks: the folder of the shop that they work with


@dataclass(frozen=True, kw_only=True)
class OpenShop:
    """A shop folder that was read, and its fitted inks by series.

    Where a folder can't be read, or nothing is measured yet, `fits` is empty and `lacks`
    says what to do; `shop` then holds what could be read, which may be no ink at all.
    """

    folder: Path
    shop: Shop
    fits: Mapping[str, Fit]
    notes: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    first: Session | None = None  # the session in which it was read
    clock: Callable[[], datetime] | None = None  # of an invented book; else the present time

    def session(
        self, *, use_lots: bool = True, who: str = "", scale: str = "", repeats: bool = False
    ) -> Session:
        """A new session for one press of a button: what others wrote meanwhile is seen.

        The fits are kept as long as the folder's measurements have not changed.
        """
        return Session(
            self.folder,
            use_lots=use_lots,
            who=who,
            scale=scale,
            repeats=repeats,
            clock=self.clock,
            earlier=self.first,
        )

    @property
    def has_book(self) -> bool:
        """Whether the shop keeps a record book now; it begins with the first record."""
        return (self.folder / BOOK).is_file()

    def __repr__(self) -> str:
        """What a person wants to know at once."""
        if not self.fits:
            inks = f"{self.shop.name}: {len(self.shop.inks)} inks."
            head = inks if self.shop.inks else "No shop is open."
            return "\n".join([head, *self.notes, *self.lacks, AGAIN])
        unseen = np.concatenate([found.de00_held_out for found in self.fits.values()])
        hiding = len(self.shop.hiding)
        films = len(self.shop.drawdowns) - hiding
        drawn = [f"{hiding} drawdowns"] if hiding or not films else []
        drawn += [f"{films} films over a card"] if films else []
        lines = [
            f"{self.shop.name}: {len(self.shop.inks)} inks, {' and '.join(drawn)}",
            f"predicts unseen drawdowns: median dE00 {np.nanmedian(unseen):.2f}, "
            f"95 % within {np.nanpercentile(unseen, 95):.2f}",
            *_outliers(self.fits),
            *self.notes,
        ]
        return "\n".join(lines)


def _outliers(fits: Mapping[str, Fit]) -> list[str]:
    """Drawdowns to look at before the fit is believed."""
    told = [line for found in fits.values() for line in found.outliers]
    more = f"(and {len(told) - 3} more, see notebook 2)" if len(told) > 3 else ""
    return list(filter(None, [*(f"look at this drawdown: {line}" for line in told[:3]), more]))


def chosen_shop() -> str:
    """The folder of the shop that was chosen for the notebooks here; else the demo shop."""
    try:
        return Path(CHOSEN).read_text(encoding="utf-8").strip() or DEMO
    except (OSError, UnicodeDecodeError):
        return DEMO


def choose_shop(folder: str) -> None:
    """From now on the notebooks here work with this shop."""
    write_file(CHOSEN, f"{folder}\n")


def open_shop(folder: str | Path | None = None) -> OpenShop:
    """Read a shop folder and fit its inks, or use the fit that is kept there.

    Without a folder it is the one that was chosen for the notebooks.  "demo-shop" is the
    invented shop that comes with matchkit, unless a folder of that name lies beside the
    notebook.  What is wrong with a folder is told by what is given
    back, see `OpenShop`: the cells below then say so too, and none works on an older shop.
    """
    path = Path(folder or chosen_shop())
    if str(path) == DEMO and not path.exists():
        path = data_folder() / DEMO
    session = Session(path)
    found = open_folder(session)
    return OpenShop(
        folder=path,
        shop=found.shop,
        fits=found.fits,
        notes=found.notes,
        lacks=found.lacks,
        first=session,
    )


def is_demo(opened: OpenShop) -> bool:
    """Whether it is the demo shop, of which the notebooks and their pictures tell.

    No form writes to it, under whatever name its folder was opened.
    """
    return opened.folder.resolve().name == DEMO


def listed_targets(opened: OpenShop) -> dict[str, Array]:
    """The colours in the shop's `targets.csv` by name; none if there is no such file."""
    return opened.session().targets


def fit_of(opened: OpenShop, ink: str) -> Fit:
    """The fit of the series that an ink belongs to."""
    for found in opened.fits.values():
        if ink in found.palette.names:
            return found
    raise InputError(f"{ink!r}: no drawdown of this ink was fitted")


@contextmanager
def handed_in(value: Any) -> Iterator[Path]:
    """A file that was handed to the browser, as a file of its own name for a while."""
    with tempfile.TemporaryDirectory(prefix="matchkit-") as folder:
        path = Path(folder) / (Path(str(value["name"])).name or "file")
        path.write_bytes(bytes(value["content"]))
        yield path


def kept_in(folder: Path) -> None:
    """From now on forms keep what they save in this folder, and find it there again."""
    _KEPT[:] = [folder]


def keep(name: str, suffix: str, content: str) -> Path:
    """Save under a name that is free, in the folder `tickets` beside the notebook."""
    folder = _KEPT[0] / TICKETS
    folder.mkdir(exist_ok=True)
    stem = re.sub(r"[^\w-]+", "-", name).strip("-")[:60] or "ticket"
    path = folder / f"{stem}{suffix}"
    k = 2
    while path.exists():
        path, k = folder / f"{stem}-{k}{suffix}", k + 1
    write_file(path, content)
    return path


def copies_folder() -> Path:
    """The folder where forms keep copies of record books; it is made if it is not there."""
    folder = _KEPT[0] / COPIES
    folder.mkdir(exist_ok=True)
    return folder


def saved_recipes(opened: OpenShop, *, poured: bool = False) -> dict[str, Path]:
    """Batches that were weighed: the shop's example, and what forms saved, newest first.

    With `poured` also what was in the bucket while some of the formula was held back.
    The folder of what was saved serves every shop that is worked on beside it, so only
    what this shop has the inks for is listed.
    """
    own = sorted((_KEPT[0] / TICKETS).glob("*.csv"), key=lambda path: -path.stat().st_mtime)
    found = {path.stem: path for path in own if poured or FIRST_POUR not in path.stem}
    found[EXAMPLE_BATCH] = opened.folder / "example" / "weighed.csv"
    return {name: path for name, path in found.items() if _is_of(opened, path)}


def saved_recipe(opened: OpenShop, path: Path) -> WrittenRecipe:
    """A saved recipe; a mix of the shelf counts as the fitted inks that went into it."""
    fitted = [name for found in opened.fits.values() for name in found.palette.names]
    return read_recipe(path, fitted, mixes=opened.shop.mixes)


def _is_of(opened: OpenShop, path: Path) -> bool:
    if not path.is_file():
        return False
    try:
        saved_recipe(opened, path)
    except InputError:
        return False
    return True
