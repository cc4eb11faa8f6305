"""What every command does first: read the shop, have its inks, read a target."""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.asked import name_option
from matchkit.cli.terminal import number_of, say
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.errors import InputError
from matchkit.files.fitted import fitted
from matchkit.files.recipe import WrittenRecipe, read_recipe
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import NamedSpectrum, read_spectrum
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.solve import Target, lab_target, spectral_target

if TYPE_CHECKING:
    from matchkit.book.lessons import Learned

__all__ = [
    "by_light",
    "by_the_book",
    "decimals",
    "lab_of",
    "lab_options",
    "lab_target_in",
    "name_option",
    "one_spectrum",
    "one_target",
    "one_target_of",
    "open_shop",
    "palettes_of",
    "reference_lots_option",
    "say_learned",
    "written_in",
]

Array = NDArray[np.float64]


def open_shop(folder: str) -> tuple[Shop, dict[str, Fit]]:
    """A shop and its fits; notes and a new fit are said on standard error."""
    shop = read_shop(folder)
    for note in shop.notes:
        say(note)
    return shop, _fits(folder, shop)


def by_the_book(
    args: argparse.Namespace, shop: Shop, fits: Mapping[str, Fit], measured: Array | None = None
) -> tuple[Shop, "Learned | None"]:
    """The shop as its record book has it today, and what that knows of the lots.

    The shop as it is and None where there is no book, or with ``--reference-lots``.
    `measured` (n_wl,) is of a batch that is to be corrected: if the book has this reading,
    that batch is not heard a second time.
    """
    if args.reference_lots or not (Path(args.shop) / "book.db").is_file():
        return shop, None
    # The book is no part of most shops: imported where it is used.
    from matchkit.book.find import batch_read
    from matchkit.book.lessons import learned
    from matchkit.book.stock import today
    from matchkit.book.store import open_book

    book = open_book(args.shop, create=False)
    shop = today(book, shop)
    heard = None if measured is None else batch_read(book, measured)
    told = learned(book, shop, fits, without=heard)
    for note in book.notes:
        say(note)
    say_learned(args, told.words)
    return shop, told


def say_learned(args: argparse.Namespace, words: Sequence[str]) -> None:
    """What the record book told of today's lots, and how to do without it."""
    for line in words:
        say(line)
    if words and "reference_lots" in args:
        say("this is counted on here; --reference-lots does without it")


def reference_lots_option(parser: argparse.ArgumentParser) -> None:
    """The way to do without what the record book has learned."""
    parser.add_argument(
        "--reference-lots", action="store_true",
        help="take every lot as the one that was fitted, whatever the record book says",
    )  # fmt: skip


def _fits(folder: str, shop: Shop) -> dict[str, Fit]:
    fits, why = fitted(folder, shop)
    if why:
        say(why)
    return fits


def palettes_of(fits: Mapping[str, Fit]) -> dict[str, Palette]:
    """The palettes of the fits, by series."""
    return {series: found.palette for series, found in fits.items()}


def written_in(
    path: str, shop: Shop, palettes: Mapping[str, Palette], *, grams_only: bool = False
) -> WrittenRecipe:
    """A recipe file; which mixes of the shelf were taken apart is said."""
    inks = {name: series for series, palette in palettes.items() for name in palette.names}
    written = read_recipe(path, inks, mixes=shop.mixes, grams_only=grams_only)
    for note in written.notes:
        say(note)
    return written


def one_spectrum(path: str, name: str | None, shop: Shop, option: str = "--name") -> NamedSpectrum:
    """One spectrum of a file, measured as the shop measures; what was assumed is said.

    `option` is that of the `name`.
    """
    spectrum, notes = read_spectrum(path, name, shop=shop, option=option)
    for note in notes:
        say(note)
    return spectrum


def lab_of(text: str, option: str) -> Array:
    """L*, a*, b* from the command line, with decimal points."""
    parts = text.split(",")
    if len(parts) != 3:
        raise InputError(
            f"{option}: found {text!r}, need L,a,b with decimal points, as 62.5,10,-4.2"
        )
    lab = np.array([number_of(part, option) for part in parts])
    if not 0 <= lab[0] <= 100 or np.abs(lab[1:]).max() > 200:
        raise InputError(f"{option}: found {text!r}; L* is 0 to 100, a* and b* about -130 to 130")
    return lab


def lab_options(parser: argparse.ArgumentParser) -> None:
    """``--lab`` with its light and observer, in place of a spectrum file of the target."""
    parser.add_argument("--lab", metavar="L,a,b", help="the target where there is no spectrum")
    parser.add_argument("--light", help="with --lab: the light it is for (the shop's first)")
    parser.add_argument("--observer", help="with --lab: 2 or 10 (the shop's)")


def one_target_of(args: argparse.Namespace, command: str, file: str | None) -> None:
    """A spectrum file or a Lab, one of the two: else `InputError`."""
    if (file is None) == (args.lab is None):
        raise InputError(
            f"{command}: give the target as a spectrum file or as --lab L,a,b, one of the two"
        )
    if args.lab is None and (args.light or args.observer):
        raise InputError(
            "--light and --observer go with --lab; a spectrum is judged as shop.toml says"
        )


def lab_target_in(args: argparse.Namespace, shop: Shop) -> Target:
    """The target of `lab_options`; under which light and observer is for the caller to say."""
    lab = lab_of(args.lab, "--lab")
    observer = shop.observer
    if args.observer is not None:
        if args.observer not in ("2", "10"):
            raise InputError(f"--observer: found {args.observer!r}, need 2 or 10")
        observer = int(args.observer)
    return lab_target(lab.tolist(), args.light or shop.lights[0], observer)


def one_target(args: argparse.Namespace, shop: Shop, command: str) -> tuple[str, Target]:
    """Name and target of a command that takes one: of ``TARGET``, or of `lab_options`."""
    one_target_of(args, command, args.target)
    if args.lab is None:
        spectrum = one_spectrum(args.target, args.name, shop)
        return spectrum.name, spectral_target(spectrum.R, shop.lights, shop.observer)
    if args.name:
        raise InputError("--name: names a spectrum of TARGET; with --lab there is none")
    if args.picture:
        raise InputError("--picture: a Lab has no spectrum to show; leave one of the two out")
    target = lab_target_in(args, shop)
    say(
        f"Lab only, under {target.light_names[0]} and {target.observer} degrees: other lights"
        " can't be judged; measure the sample if there is one"
    )
    return f"Lab {args.lab}", target


def decimals(resolution_g: float) -> int:
    """Decimals that a balance of that resolution shows."""
    return len(f"{resolution_g:.6f}".rstrip("0").split(".")[1])


def by_light(lights: Sequence[Light], values: Sequence[Array] | Array) -> dict[str, list[float]]:
    """Values (n_light, ...) by the name of the light, rounded for reading."""
    names = map(light_name, lights)
    return {name: np.round(value, 4).tolist() for name, value in zip(names, values, strict=True)}
