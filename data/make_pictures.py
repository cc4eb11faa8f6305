"""Draw every picture of README again:  python data/make_pictures.py

The formulas and inks in them are those of the demo shop, invented (see README.md beside this
file); how the time grows is what `tests/studies/speed.py` measured.  The form is a screenshot,
and so is the ticket, which needs Chromium and playwright: where one is missing, their old
pictures are kept, and the script says so.

`pictures/sources.json` holds the words and numbers that each picture shows.  A test makes them
anew, without a browser, and fails where a picture is out of date.  Another version of the drawing
library may give other bytes of the same picture.
"""

import io
import json
import re
import sys
import tempfile
from collections.abc import Iterator, Sequence
from html import unescape
from pathlib import Path
from typing import Any

import ipywidgets as w
from matplotlib.colors import to_hex
from matplotlib.text import Text
from PIL import Image

from matchkit.colorimetry.difference import Target
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import write_files
from matchkit.fitting.fit import Fit
from matchkit.forms import open_shop
from matchkit.forms.match import MatchForm
from matchkit.forms.shops import OpenShop
from matchkit.inks.shop import Shop
from matchkit.matching.compare import Comparison, compare
from matchkit.matching.match import fractions_for, match
from matchkit.matching.rank import Candidate, Choices
from matchkit.paper.ticket import ticket
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.report import charts as plots
from matchkit.report import ink_plots as ink_plots

HERE, DAY = Path(__file__).parent, "2026-03-02"
sys.path.append(str(HERE.parent))  # for `tests`, which is not installed

from tests.browser import driving  # noqa: E402
from tests.studies import speed  # noqa: E402

SHOP, PICTURES, SOURCES = HERE / "demo-shop", HERE / "pictures", "sources.json"
SERIES = "plastisol"
FORM, TICKET = "form_match.png", "ticket.png"
A5_PIXELS = {"width": 559, "height": 794}  # at 96 to the inch
FORM_TARGET = "Dusty rose"  # with which the form of the first notebook begins
ONE_CELL = {
    "cells": [
        {
            "cell_type": "code",
            "id": "form",
            "metadata": {},
            "outputs": [],
            "execution_count": None,
            "source": "from matchkit import forms\n"
            f"forms.match(forms.open_shop('demo-shop'), {FORM_TARGET!r})",
        }
    ],
    "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3"}},
    "nbformat": 4,
    "nbformat_minor": 5,
}
MARGIN = 10  # pixels around the form's picture
COLOURED = ("compare.png", "growth.png")

# Two formulas for one target that match under the first light; under another only one does.
CREAM = "Clotted cream"
WITH_BLUE = ("Quay White", "Lamp Orange", "Straw Gold", "Deckhand Blue")
WITH_GREEN = ("Quay White", "Straw Gold", "Foxglove Magenta", "Kelp Green")
ROSE = "Dusty rose"
ROSE_INKS = ("Quay White", "Sand Ochre", "Foxglove Magenta", "Dusk Violet")
LADDER = "Kelp Green"


def make_pictures(folder: Path = PICTURES) -> None:
    """Write the pictures, and what they show, into a folder that exists."""
    opened = open_shop(SHOP)
    figures = drawn(opened)
    files: dict[str, str | bytes] = {
        name: plots.picture(figure) if name in COLOURED else _greys(plots.picture(figure))
        for name, figure in figures.items()
    }
    shown = {name: shown_in(figure) for name, figure in figures.items()}
    missing = driving.lacking()
    if missing:
        sys.stderr.write(f"{FORM} and {TICKET} are kept as they are: {missing}\n")
        old = folder / SOURCES
        kept = json.loads(old.read_text(encoding="utf-8")) if old.exists() else {}
        shown |= {name: kept[name] for name in (FORM, TICKET) if name in kept}
    else:
        files[FORM], shown[FORM] = screenshot(), form_words(opened)
        html = ticket_page(opened)
        files[TICKET], shown[TICKET] = printed(html), lines_of(html)
    files[SOURCES] = json.dumps(shown, indent=1, ensure_ascii=False) + "\n"
    write_files(folder, files)


def sources() -> dict[str, list[str]]:
    """What each picture would show if it were made now."""
    opened = open_shop(SHOP)
    shown = {name: shown_in(figure) for name, figure in drawn(opened).items()}
    return shown | {FORM: form_words(opened), TICKET: lines_of(ticket_page(opened))}


# ---- figures ------------------------------------------------------------------------------


def drawn(opened: OpenShop) -> dict[str, plots.Figure]:
    """Every picture that is a figure."""
    shop, found = opened.shop, opened.fits[SERIES]
    return {
        "compare.png": _compare(shop, found),
        "moves.png": _moves(shop, found),
        "ladder.png": _ladder(shop, found),
        "growth.png": _growth(json.loads(speed.STORED.read_text(encoding="utf-8"))["growth"]),
    }


def shown_in(figure: plots.Figure) -> list[str]:
    """The words of a figure, its colours, and where its lines begin and end."""
    words, colours, lines = [], [], []
    for ax in figure.axes:
        legend = ax.get_legend()
        texts: list[Text] = [ax.title, ax._left_title, ax.xaxis.label, ax.yaxis.label, *ax.texts]
        texts += legend.get_texts() if legend else []
        words += [" ".join(each.get_text().split()) for each in texts]
        colours += [to_hex(patch.get_facecolor()) for patch in ax.patches]
        for line in ax.lines:
            x, y = line.get_data()
            lines.append(f"{x[0]:.3g} {y[0]:.2g} to {x[-1]:.3g} {y[-1]:.2g}")
    return [*filter(None, words), *colours, *lines]


def _greys(png: bytes) -> bytes:
    """The same in sixteen greys: pictures that hold no colour need no more, and stay small."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("L").quantize(16).save(out, "png", optimize=True)
    return out.getvalue()


def _compare(shop: Shop, found: Fit) -> plots.Figure:
    figure, ax = plots.new_axes(4.6, 3.1)
    plots.swatches(ax, _cream(shop, found))
    return figure


def _cream(shop: Shop, found: Fit) -> Comparison:
    target = _target(shop, CREAM)
    recipes = (("with blue", WITH_BLUE), ("with green", WITH_GREEN))
    return compare(
        target.R,
        [(name, _formula(shop, found, target, inks).R) for name, inks in recipes],
        lights=shop.lights,
        observer=shop.observer,
    )


def _moves(shop: Shop, found: Fit) -> plots.Figure:
    target = _target(shop, ROSE)
    formula = _formula(shop, found, target, ROSE_INKS)
    figure, ax = plots.new_axes(4.6, 3.4)
    ink_plots.ink_moves(
        ax,
        found.palette,
        fractions_for(found.palette, formula.inks, formula.grams),
        light=shop.lights[0],
        observer=shop.observer,
        tolerance_de00=shop.tolerance_de00,
    )
    return figure


def _ladder(shop: Shop, found: Fit) -> plots.Figure:
    figure, ax = plots.new_axes(4.6, 3.4)
    ink_plots.K_over_S(ax, found.palette, LADDER, shop.drawdowns)
    return figure


def _growth(found: dict[str, list[list[float]]]) -> plots.Figure:
    """Time for one target against each size, both on log scales."""
    figure, ax = plots.new_axes(4.6, 3.1)
    names = ("inks in the shop", "inks in a formula, at most", "lights")
    for name, (key, points), mark in zip(names, found.items(), "os^", strict=True):
        x, y = zip(*points, strict=True)
        ms = [1e3 * each for each in y]
        label = f"{name} ({speed.grows(key, points)})"
        ax.loglog(x, ms, f"-{mark}", label=label, markersize=4)
    ax.set_xlabel("how many (the other two are 16 inks, 4 at most, 3 lights)")
    ax.set_ylabel("time for one target, ms")
    sizes = (1, 2, 3, 5, 10, 16, 24, 40)
    ax.set_xticks(sizes, [str(x) for x in sizes], minor=False)
    times = (20, 50, 100, 200, 500, 1000)
    ax.set_yticks(times, [str(y) for y in times], minor=False)
    ax.minorticks_off()
    ax.legend(frameon=False, fontsize=8)
    return figure


def _target(shop: Shop, name: str) -> Target:
    spectrum, _ = read_spectrum(SHOP / "targets.csv", name)
    return Target.from_spectrum(spectrum.R, shop.lights, shop.observer)


def _formula(shop: Shop, found: Fit, target: Target, inks: Sequence[str]) -> Candidate:
    """The best formula of these inks and no other."""
    others = [ink.name for ink in shop.inks if ink.name not in inks]
    return match(shop, {SERIES: found}, target, Choices(without=tuple(others), top=1)).formulas[0]


# ---- the form -----------------------------------------------------------------------------


def form_words(opened: OpenShop) -> list[str]:
    """The lines of the form as far as its picture goes, without a browser."""
    form = MatchForm(opened, FORM_TARGET)
    form.run.start.click()
    form.run.wait()
    form.detail.value = form.detail.value.split("<img")[0]  # the picture ends with the weights
    return list(_lines(form.box.children[:-1]))


def _lines(widgets: Sequence[Any]) -> Iterator[str]:
    """What widgets show, one below the other."""
    for each in widgets:
        if each.layout.display == "none":
            continue
        if hasattr(each, "children"):
            yield from _lines(each.children)
        elif hasattr(each, "options"):
            rest = [name for name in each._options_labels if name != each.label]
            unseen = isinstance(each, w.Dropdown) or not rest
            yield f"{each.description} {each.label}" + ("" if unseen else f"; {', '.join(rest)}")
        elif each.description:
            typed = f" {each.value}" if isinstance(each, w.Text) else ""
            yield each.description + typed
        else:
            yield from lines_of(each.value)


def lines_of(html: str) -> list[str]:
    """The words of HTML, line by line; a picture is what it says it shows."""
    html = re.sub(r"(?s)<(style|title)\b.*?</\1>", "", html)
    html = re.sub(r'<img[^>]*alt="([^"]*)"[^>]*>', r"\1", html)
    html = re.sub(r"</(tr|p|h3|div)>|<br>", "\n", html)
    html = unescape(re.sub("<[^>]*>", " ", html))
    return [line for line in (" ".join(line.split()) for line in html.split("\n")) if line]


def screenshot() -> bytes:
    """The form in JupyterLab, from its top to the weights of the formula chosen."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        with (
            driving.running_lab(place / "lab", place) as base,
            driving.open_browser(place / "browser", height=3000) as context,
        ):
            (place / "lab" / "form.ipynb").write_text(json.dumps(ONE_CELL), encoding="utf-8")
            page = context.new_page()
            driving.run_notebook(page, base, "form.ipynb")
            form = page.locator(".mk-match")
            form.get_by_role("button", name="Find formulas").click()
            tables = form.locator("table")
            tables.nth(1).wait_for()  # of the formula that is chosen first
            page.mouse.move(0, 0)
            page.wait_for_timeout(500)
            corner, formulas, weights = (
                each.bounding_box() for each in (form, tables.first, tables.nth(1))
            )
            assert corner and formulas and weights
            right, bottom = (formulas["x"] + formulas["width"], weights["y"] + weights["height"])
            left, top = corner["x"], corner["y"] + 1  # below the line that begins the output
            size = {"width": right + MARGIN - left, "height": bottom + MARGIN - top}
            png = page.screenshot(clip={"x": left, "y": top, **size})
    return _small(png)


def _small(png: bytes) -> bytes:
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(28, dither=Image.Dither.NONE).save(
        out, "png", optimize=True
    )
    return out.getvalue()


# ---- the ticket ---------------------------------------------------------------------------


def ticket_page(opened: OpenShop) -> str:
    """The ticket of the form's best formula, of a fixed day."""
    shop, target = opened.shop, _target(opened.shop, FORM_TARGET)
    best = match(shop, opened.fits, target, Choices(top=1)).formulas[0]
    made = ticket(best, target, shop, target_name=FORM_TARGET, job="Regatta club", date=DAY)
    return ticket_html(made)


def printed(html: str) -> bytes:
    """The page as it is printed on A5."""
    with (
        tempfile.TemporaryDirectory() as name,
        driving.open_browser(Path(name)) as context,
    ):
        page = context.new_page()
        page.set_viewport_size(A5_PIXELS)
        page.set_content(html)
        return _small(page.screenshot())


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    make_pictures()
