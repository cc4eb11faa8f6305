"""Draw every picture of README again:  python data/make_pictures.py

The formulas and inks in them are those of the demo shop, invented (see README.md beside this
file); how the time grows is what `tests/studies/speed.py` measured.  The job page and the ticket
are screenshots, which need Chromium and playwright: where one is missing, their old pictures
are kept, and the script says so.

`pictures/sources.json` holds the words and numbers that each picture shows.  A test makes them
anew, without a browser, and fails where a picture is out of date.  Another version of the drawing
library may give other bytes of the same picture.
"""

import io
import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any

import ipywidgets as w
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from matchkit.colorimetry.difference import Target
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import SETTINGS, write_files
from matchkit.fitting.fit import Fit
from matchkit.forms import open_shop
from matchkit.forms.page import COLOUR, JobPage
from matchkit.forms.shops import OpenShop
from matchkit.inks.shop import Shop
from matchkit.matching.compare import Comparison, compare
from matchkit.matching.match import fractions_for, match
from matchkit.matching.rank import Candidate, Choices
from matchkit.paper.ticket import ticket
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.report import charts as plots
from matchkit.report import ink_plots

HERE, DAY = Path(__file__).parent, "2026-03-02"
sys.path.append(str(HERE.parent))  # for `tests`, which is not installed

from tests.browser import driving  # noqa: E402
from tests.studies import speed  # noqa: E402

SHOP, PICTURES, SOURCES = HERE / "demo-shop", HERE / "pictures", "sources.json"
SERIES = "plastisol"
PAGE, TICKET = "page.png", "ticket.png"
A5_PIXELS = {"width": 559, "height": 794}  # at 96 to the inch
PAGE_PIXELS = {"width": 940, "height": 2600}
WANTED = "Dusty rose"  # on the page and the ticket
MARGIN = 10  # pixels around the page's picture
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
        sys.stderr.write(f"{PAGE} and {TICKET} are kept as they are: {missing}\n")
        old = folder / SOURCES
        kept = json.loads(old.read_text(encoding="utf-8")) if old.exists() else {}
        shown |= {name: kept[name] for name in (PAGE, TICKET) if name in kept}
    else:
        files[PAGE], shown[PAGE] = screenshot(), page_words()
        html = ticket_page(opened)
        files[TICKET], shown[TICKET] = printed(html), lines_of(html)
    files[SOURCES] = json.dumps(shown, indent=1, ensure_ascii=False) + "\n"
    write_files(folder, files)


def sources() -> dict[str, list[str]]:
    """What each picture would show if it were made now."""
    opened = open_shop(SHOP)
    shown = {name: shown_in(figure) for name, figure in drawn(opened).items()}
    return shown | {PAGE: page_words(), TICKET: lines_of(ticket_page(opened))}


# ---- figures ------------------------------------------------------------------------------


def drawn(opened: OpenShop) -> dict[str, Figure]:
    """Every picture that is a figure."""
    shop, found = opened.shop, opened.fits[SERIES]
    return {
        "compare.png": _compare(shop, found),
        "moves.png": _moves(shop, found),
        "ladder.png": _ladder(shop, found),
        "growth.png": _growth(json.loads(speed.STORED.read_text(encoding="utf-8"))["growth"]),
    }


def shown_in(figure: Figure) -> list[str]:
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


def _compare(shop: Shop, found: Fit) -> Figure:
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


def _moves(shop: Shop, found: Fit) -> Figure:
    target = _target(shop, ROSE)
    formula = _formula(shop, found, target, ROSE_INKS)
    figure, ax = plots.new_axes(4.6, 3.4)
    ink_plots.ink_moves(
        ax,
        found.palette,
        fractions_for(found.palette, formula.inks, formula.grams),
        light=shop.lights[0],
        observer=shop.observer,
    )
    return figure


def _ladder(shop: Shop, found: Fit) -> Figure:
    figure, ax = plots.new_axes(4.6, 3.4)
    ink_plots.K_over_S(ax, found.palette, LADDER, shop.drawdowns)
    return figure


def _growth(found: dict[str, list[list[float]]]) -> Figure:
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


# ---- the job page -------------------------------------------------------------------------


def page_words() -> list[str]:
    """The lines of the page as far as its picture goes, without a browser."""
    with tempfile.TemporaryDirectory() as place, _settings_in(Path(place) / "settings"):
        page = JobPage(shutil.copytree(SHOP, Path(place) / "shop"))
        page.step.value = COLOUR
        found = page.found
        found.picker.names.value = WANTED
        found.run.start.click()
        found.run.wait()
        found.chosen.layout.display = "none"  # below the picture's end
        return list(_lines([*page.box.children[:2], *found.box.children[:-1]]))


@contextmanager
def _settings_in(folder: Path) -> Iterator[None]:
    """A person's settings, such as the shops opened last, are kept in a folder of our own."""
    before = os.environ.get(SETTINGS)
    os.environ[SETTINGS] = str(folder)
    try:
        yield
    finally:
        os.environ.pop(SETTINGS)
        if before is not None:
            os.environ[SETTINGS] = before


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
    """The page in a browser, from its top to the table of formulas."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        served = driving.Page(shutil.copytree(SHOP, place / "shop"), place)
        served.start()
        try:
            with driving.open_browser(place / "browser") as context:
                page = context.new_page()
                page.set_viewport_size(PAGE_PIXELS)
                page.goto(served.link)
                page.get_by_role("button", name=COLOUR, exact=True).click()
                form = page.locator(".mk-match")
                form.get_by_label("Target", exact=True).select_option(WANTED)
                form.get_by_role("button", name="Find formulas").click()
                form.locator("table").nth(1).wait_for()  # of the formula that is chosen first
                form.locator("button:enabled", has_text="Find formulas").wait_for()  # all is drawn
                page.mouse.move(0, 0)
                page.wait_for_timeout(500)
                formulas = form.locator("table").first.bounding_box()
                assert formulas
                bottom = formulas["y"] + formulas["height"] + MARGIN
                size = {"width": PAGE_PIXELS["width"], "height": bottom}
                return _small(page.screenshot(clip={"x": 0, "y": 0, **size}))
        finally:
            served.kill()


def _small(png: bytes) -> bytes:
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(
        48, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
    ).save(out, "png", optimize=True)
    return out.getvalue()


# ---- the ticket ---------------------------------------------------------------------------


def ticket_page(opened: OpenShop) -> str:
    """The ticket of the page's best formula, of a fixed day."""
    shop, target = opened.shop, _target(opened.shop, WANTED)
    best = match(shop, opened.fits, target, Choices(top=1)).formulas[0]
    made = ticket(best, target, shop, target_name=WANTED, job="Regatta club", date=DAY)
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
