"""Ink formulas for a screen-printing shop: from measured drawdowns to a weigh-out ticket.

Everything that a program needs stands here, and is imported where it is first used, so that
``import matchkit`` costs nothing:

    read_shop(folder)             a shop: its files, fits and record book, each read once
    read_spectra(path)            the named spectra of a file, and what was assumed
    fit(shop)                     the inks from their drawdowns, and how good the fit is
    Target.from_spectrum(R)       a colour to hit; Target.from_lab where only Lab is known
    match(shop, target)           formulas for it, best first
    linear_fractions(palette, R)  amounts by linear theory alone, by non-negative least squares
    predict(shop, formula)        the colour that a formula will have
    compare(shop, target, ...)    formulas side by side under the lights
    check(shop, target, R)        is a drawdown near enough
    correct(shop, target, ...)    what to add to a batch
    ticket(shop, formula)         what to weigh
    plan_drawdowns(shop)          which drawdowns to make
    open_book(folder)             the record book
    demo_shop()                   the invented shop that comes along
    InputError                    what is wrong with an input, every fault at once

    colorimetry                   a package: CIE colorimetry, from spectra to CIEDE2000
    optics                        a package: Kubelka-Munk optics of hiding films and of thin ones
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.1.0"

# Where each name stands.
_PLACES = {
    "InputError": "errors",
    "Target": "colorimetry.difference",
    "check": "api",
    "compare": "api",
    "correct": "api",
    "demo_shop": "api",
    "fit": "api",
    "linear_fractions": "matching.linear",
    "match": "api",
    "open_book": "book.store",
    "plan_drawdowns": "workflows.planning",
    "predict": "api",
    "read_shop": "api",
    "read_spectra": "files.spectrum",
    "ticket": "api",
}
_PACKAGES = ("colorimetry", "optics")

__all__ = [*_PLACES, *_PACKAGES]


def __getattr__(name: str) -> "Any":
    """Import a name where it is first asked for (PEP 562)."""
    from importlib import import_module

    if name in _PACKAGES:
        return import_module(f"matchkit.{name}")
    if name not in _PLACES:
        raise AttributeError(f"module 'matchkit' has no attribute {name!r}")
    value = getattr(import_module(f"matchkit.{_PLACES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """What there is, for help and completion."""
    return sorted({*globals(), *__all__})
