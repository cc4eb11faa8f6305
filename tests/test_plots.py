"""Pictures: what they show is what the numbers say, and a person can read it."""

import io
import subprocess
import sys
from dataclasses import replace

import colour
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path
from matplotlib.text import Annotation, Text

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import lamp
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown
from matchkit.matching.compare import Comparison, compare
from matchkit.paper.sheet import OFF_SCREEN_MARK
from matchkit.report import charts as plots
from matchkit.report import ink_plots as ink_plots
from matchkit.report import marks

NAMES = ("first", "two blues, no black", "a recipe file with a very long name", "cheap $5 & $6")
STEP_NM = np.arange(380.0, 781.0, 5.0)
FLOOR = lamp("the shop floor", STEP_NM, 1 + 3 * np.exp(-(((STEP_NM - 450) / 12) ** 2)))


def bump(centre_nm: float, width_nm: float) -> np.ndarray:
    return np.exp(-(((GRID_NM - centre_nm) / width_nm) ** 2))


TARGET_R = 0.1 + 0.4 * bump(540, 60)


@pytest.fixture(scope="module")
def seen() -> Comparison:
    """Four samples, near and far, under four lights."""
    change = [
        0.004 * bump(450, 30),
        -0.02 * bump(600, 30),
        0.03 * bump(660, 40),
        0.05 * bump(480, 20),
    ]
    recipes = [(name, TARGET_R + step) for name, step in zip(NAMES, change, strict=True)]
    return compare(TARGET_R, recipes, lights=["D65", "A", "FL11", FLOOR], observer=10)


def words(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def tick_names(figure: Figure) -> set[Text]:
    """Names of ticks, of which those outside the range are made but not drawn."""
    axes = figure.findobj(Axes)
    ticks = [
        tick
        for ax in axes
        for axis in (ax.xaxis, ax.yaxis)
        for tick in [*axis.majorTicks, *axis.minorTicks]
    ]
    return {text for tick in ticks for text in (tick.label1, tick.label2)}


def said(ax: Axes) -> str:
    """All that stands on a picture, a line break being no more than a space."""
    return " ".join(text.get_text().replace("\n", " ") for text in words(ax.figure))


PICTURES = {
    "spectra": lambda ax, seen, fit, drawdowns: plots.spectra(ax, seen),
    "reflectances": lambda ax, seen, fit, drawdowns: plots.reflectances(ax, seen),
    "differences": lambda ax, seen, fit, drawdowns: plots.differences(ax, seen),
    "swatches": lambda ax, seen, fit, drawdowns: plots.swatches(ax, seen),
    "ab_plane": lambda ax, seen, fit, drawdowns: plots.ab_plane(ax, seen, light=1),
    "LC_plane": lambda ax, seen, fit, drawdowns: plots.LC_plane(ax, seen),
    "light_bars": lambda ax, seen, fit, drawdowns: plots.light_bars(ax, seen, tolerance_de00=1),
    "composition": lambda ax, seen, fit, drawdowns: ink_plots.composition(
        ax, ["White", "Clear", "Lemon", "Black"], [55.0, 30.0, 14.7, 0.3]
    ),
    "formulas": lambda ax, seen, fit, drawdowns: ink_plots.formulas(
        ax,
        [("White 90.00, Lemon 10.00", [(90, "w"), (10, "y")], ("w", "y"), "A 0.5\n9/kg")],
        "Mint",
    ),
    "ink_moves": lambda ax, seen, fit, drawdowns: ink_plots.ink_moves(
        ax, fit.palette, np.eye(16)[0] * 0.9 + np.eye(16)[5] * 0.1, light="D65", observer=10
    ),
    "ink_optics": lambda ax, seen, fit, drawdowns: ink_plots.ink_optics(
        ax, fit.palette, fit.palette.names[4], drawdowns
    ),
    "K_over_S": lambda ax, seen, fit, drawdowns: ink_plots.K_over_S(
        ax, fit.palette, fit.palette.names[0], drawdowns
    ),
    "scattering": lambda ax, seen, fit, drawdowns: ink_plots.scattering(
        ax, fit.palette, fit.palette.names[3:9]
    ),
    "residuals": lambda ax, seen, fit, drawdowns: ink_plots.residuals(ax, fit),
}
COMPARISONS = ["reflectances", "differences", "ab_plane", "LC_plane", "light_bars", "swatches"]


def drawn(name: str, seen: Comparison, fit: Fit | None = None, drawdowns=()) -> Axes:
    height = 4.4 if name in ("swatches", "light_bars", "ink_optics") else 3.6
    _, ax = plots.new_axes(4.6, height)
    assert PICTURES[name](ax, seen, fit, drawdowns) is ax
    return ax


def test_every_picture_is_tried_here():
    there = {
        name
        for module in (plots, ink_plots)
        for name, thing in vars(module).items()
        if not name.startswith("_") and getattr(thing, "__module__", "") == module.__name__
    }
    elsewhere = {"drift_chart"}  # test_book_lessons.py, which has a book
    assert set(PICTURES) == there - {"new_axes", "picture"} - elsewhere


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_is_cut_off_and_no_name_lies_on_another(name, seen, fitted, series):
    ax = drawn(name, seen, fitted, series[1])
    png = plots.picture(ax.figure)
    page, ticks = ax.figure.bbox, tick_names(ax.figure)
    for text in words(ax.figure):
        box = text.get_window_extent()
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside or text in ticks, text.get_text()
    border = imread(io.BytesIO(png))[..., :3]
    edges = (border[0], border[-1], border[:, 0], border[:, -1])
    assert min(edge.min() for edge in edges) == 1  # nothing runs off the paper
    placed = [text for text in words(ax.figure) if isinstance(text, Annotation)]
    # The box of an annotation takes in its line: ask for that of the letters alone.
    boxes = [Text.get_window_extent(text) for text in placed]
    for i, one in enumerate(boxes):
        for j, other in enumerate(boxes[:i]):
            wide = min(one.x1, other.x1) - max(one.x0, other.x0)
            high = min(one.y1, other.y1) - max(one.y0, other.y0)
            assert wide <= 0 or high <= 2, (placed[i].get_text(), placed[j].get_text())


@pytest.mark.parametrize("form", ["png", "svg", "pdf"])
def test_the_bytes_are_the_same_twice(form, seen):
    one, two = (plots.picture(drawn("ab_plane", seen).figure, form) for _ in range(2))
    assert one == two


@pytest.mark.parametrize("name", COMPARISONS)
def test_every_trial_is_named(name, seen):
    text = said(drawn(name, seen))
    for start in ("first", "two blues", "a recipe"):
        assert start in text
    if name in ("swatches", "light_bars"):
        assert all(light in text for light in ("D65", "A", "FL11", "the shop"))
        for sample in seen.samples:
            assert all(f"{size:.2f}" in text for size in sample.de00)


@pytest.mark.parametrize("name", ["reflectances", "light_bars", "ab_plane"])
def test_dollars_in_a_name_are_dollars(name, seen):
    assert "$5" in said(drawn(name, seen)).replace("\\", "")
    plots.picture(drawn(name, seen).figure)


@pytest.mark.parametrize("form", ["png", "svg", "pdf"])
def test_names_in_any_script(form, seen):
    recipes = [("群青と白", TARGET_R), ("أزرق", TARGET_R), ("", TARGET_R), ("😀" * 40, TARGET_R)]
    odd = compare(TARGET_R, recipes, lights=["D65"], observer=2)
    every = (plots.spectra, plots.swatches, plots.ab_plane, plots.light_bars)
    for draw in every if form == "png" else every[:1]:
        figure, ax = plots.new_axes()
        draw(ax, odd)
        assert len(plots.picture(figure, form)) > 1000


def test_an_unknown_form_is_refused():
    with pytest.raises(InputError, match="form is 'gif'; write png, svg, pdf"):
        plots.picture(plots.new_axes()[0], "gif")


def test_a_comparison_without_trials_is_only_empty():
    nothing = compare(TARGET_R, [], lights=["D65", "A"], observer=2)
    for name in ("spectra", *COMPARISONS):
        plots.picture(drawn(name, nothing).figure)


def test_lines_differ_without_colour():
    pairs = [(marks.nth(marks.DASHES, k), marks.nth(marks.MARKERS, k)) for k in range(42)]
    assert len(set(pairs)) == 42
    assert len(set(marks.HATCHES)) == len(set(marks.COLOURS)) == 6


# ---- what is drawn is what is ----------------------------------------------------------------


def test_curves_are_the_spectra(seen):
    ax = drawn("reflectances", seen)
    np.testing.assert_array_equal(ax.lines[0].get_ydata(), TARGET_R)
    for line, sample in zip(ax.lines[1:], seen.samples, strict=True):
        np.testing.assert_array_equal(line.get_ydata(), sample.R)
    below = drawn("differences", seen)
    np.testing.assert_allclose(below.lines[1].get_ydata(), 100 * (seen.samples[0].R - TARGET_R))


@pytest.mark.parametrize(("name", "radius"), [("ab", 1.0), ("ab", 2.0), ("LC", 1.0)])
def test_the_drawn_outline_is_one_tolerance_away(name, radius, seen):
    """By colour-science's CIEDE2000, within a thousandth."""
    _, ax = plots.new_axes()
    draw = plots.ab_plane if name == "ab" else plots.LC_plane
    draw(ax, replace(seen, samples=seen.samples[:1]), tolerance_de00=radius, light=1)
    (outline,) = [patch for patch in ax.patches if isinstance(patch, Polygon)]
    x, y = outline.get_xy().T
    L, a, b = seen.target_lab[1]
    if name == "ab":
        lab = np.column_stack([np.full(x.size, L), x, y])
    else:
        hue = np.arctan2(b, a)
        lab = np.column_stack([y, x * np.cos(hue), x * np.sin(hue)])
    away = colour.delta_E(np.array([L, a, b]), lab, method="CIE 2000")
    np.testing.assert_allclose(away, radius, atol=1e-3)


def test_points_stand_where_their_colours_are(seen):
    ax = drawn("ab_plane", seen)
    points = [line.get_xydata()[0] for line in ax.lines[1:]]
    np.testing.assert_allclose(points, [sample.lab[1, 1:] for sample in seen.samples])


def test_a_grey_target_has_no_chroma_below_zero():
    grey = compare(np.full(31, 0.3), [("x", np.full(31, 0.31))], lights=["D65"], observer=10)
    assert drawn("LC_plane", grey).get_xlim()[0] == 0


def test_bars_are_as_long_as_the_differences(seen):
    widths = [bar.get_width() for bar in drawn("light_bars", seen).patches]
    expected = np.array([sample.de00 for sample in seen.samples]).T.ravel()
    np.testing.assert_allclose(widths, expected)


def test_swatches_say_what_a_screen_cannot_show():
    """A pure spectral green lies outside sRGB under every light, a grey inside."""
    pair = [("pure", 0.9 * bump(520, 12))]
    seen = compare(np.full(31, 0.4), pair, lights=["D65", "A"], observer=2)
    ax = drawn("swatches", seen)
    texts = [text.get_text() for text in words(ax.figure)]
    assert texts.count(OFF_SCREEN_MARK) == 2 and "the nearest" in said(ax)
    plain = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    assert len(plain) == 4 and not any(patch.get_hatch() for patch in plain)
    # A grey is grey under any light, to eyes that are used to it: sRGB of Y = 40 is 168.
    for grey in (plain[0], plain[2]):
        assert grey.get_facecolor()[:3] == pytest.approx(to_rgb("#aaaaaa"), abs=0.012)
    assert "Never approve a colour by a screen" in said(ax)


def test_parts_of_a_recipe_are_to_scale():
    _, ax = plots.new_axes(4.6, 2)
    ink_plots.composition(
        ax, ["White", "Lemon", "Black"], [90.0, 9.9, 0.1], colours=["w", "y", "k"]
    )
    assert [bar.get_width() for bar in ax.patches] == pytest.approx([90, 9.9, 0.1])
    assert [bar.get_x() for bar in ax.patches] == pytest.approx([0, 90, 99.9])
    assert all(part in said(ax) for part in ("White 90.00 %", "Lemon 9.90 %", "Black 0.10 %"))


def test_arrows_end_where_one_per_cent_leads(palette):
    c = np.zeros(16)
    c[[0, 1, 4]] = 0.9, 0.02, 0.08
    _, ax = plots.new_axes()
    names = [palette.names[i] for i in np.flatnonzero(c)]
    ink_plots.ink_moves(ax, palette, c, light="D65", observer=10)
    before = Lab(reflectance(palette, c), "D65", 10)
    for name in names:
        grams = 1000 * c
        grams[palette.index(name)] += 10  # of a kilogram
        after = Lab(reflectance(palette, grams / grams.sum()), "D65", 10)
        (arrow,) = [
            child
            for child in ax.texts
            if isinstance(child, Annotation) and np.allclose(child.xy, after[1:], atol=1e-9)
            if not child.get_text()
        ]
        np.testing.assert_allclose(arrow.get_position(), before[1:])
        assert f"{name} (L* {after[0] - before[0]:+.1f})".replace("-", "−") in said(ax)


def test_ladder_points_of_perfect_readings_lie_on_the_lines(palette: Palette):
    ink, white = palette.names[4], palette.names[0]
    rungs = []
    for share in (1.0, 0.3, 0.02):
        c = np.zeros(16)
        c[4], c[0] = share, 1 - share
        inks, fractions = ((ink, white), (share, 1 - share)) if share < 1 else ((ink,), (1.0,))
        readings = reflectance(palette, c)[None]
        rungs.append(Drawdown(name=f"{share}", inks=inks, fractions=fractions, readings=readings))
    other = Drawdown(name="x", inks=(white,), fractions=(1.0,), readings=np.full((1, 31), 0.8))
    film = replace(rungs[1], name="film", ground="card", thickness_um=60.0)
    _, ax = plots.new_axes()
    ink_plots.K_over_S(ax, palette, ink, [*rungs, other, film])
    assert len(ax.lines) == 6
    for fitted, measured in zip(ax.lines[::2], ax.lines[1::2], strict=True):
        np.testing.assert_allclose(fitted.get_ydata(), measured.get_ydata(), rtol=1e-6)
    assert all(text in said(ax) for text in ("alone", "30 % in", "2 % in"))


def test_an_ink_without_a_ladder_is_drawn_alone(palette):
    _, ax = plots.new_axes()
    ink_plots.K_over_S(ax, palette, palette.names[3])
    assert len(ax.lines) == 1 and "alone" in said(ax)


def test_residuals_name_the_worst(fitted):
    ax = drawn("residuals", None, fitted)
    unseen = ax.lines[0].get_ydata()
    np.testing.assert_array_equal(unseen, fitted.de00_held_out)
    worst = np.argmax(np.fmax(fitted.de00_held_out, fitted.de00_fitted))
    assert fitted.drawdowns[worst] in said(ax)


# ---- names and places ------------------------------------------------------------------------


def test_names_at_line_ends_keep_their_order_and_distance():
    at = np.sort(np.random.default_rng(1).random(12)) ** 3
    places = marks.apart(at, 0.07)
    assert (np.diff(places) >= 0.07 - 1e-12).all()
    assert places.min() >= 0 and places.max() <= 1
    assert marks.apart(np.array([0.1, 0.5]), 0.1).tolist() == [0.1, 0.5]
    assert marks.apart(np.array([]), 0.1).size == 0
    # More names than room: they start at the bottom and run over the top.
    assert marks.apart(np.full(5, 0.5), 0.4).min() == 0


def test_more_rungs_than_room_lose_some_names(palette):
    clear = palette.names[2]
    rungs = [
        Drawdown(
            name=f"{share}",
            inks=(palette.names[4], clear),
            fractions=(share, 1 - share),
            readings=np.full((1, 31), 0.2),
        )
        for share in np.linspace(0.02, 0.98, 60)
    ]
    _, ax = plots.new_axes()
    ink_plots.K_over_S(ax, palette, palette.names[4], rungs)
    labels = [text for text in ax.texts if "% in" in text.get_text()]
    assert 8 < len(labels) < 60


def test_long_names_are_cut_and_wrapped():
    assert marks.short("x" * 50, 10) == "x" * 9 + "…"
    assert marks.short("tight", 5) == "tight"
    assert marks.wrapped("a name of many words that goes on", 9).count("\n") == 1
    assert marks.short("$x$", 5) == r"\$x\$"


def test_no_window_and_no_state_is_left_behind(seen):
    program = (
        "import sys; from matchkit.report import charts as plots, ink_plots;"
        "import matplotlib;"
        "now = lambda: {k: matplotlib.rcParams[k] for k in matplotlib.rcParams if k != 'backend'};"
        "before = now(); figure, ax = plots.new_axes();"
        "ink_plots.composition(ax, ['a', 'b'], [60, 40]); plots.picture(figure);"
        "assert 'matplotlib.pyplot' not in sys.modules;"
        "assert before == now()"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", program], check=True)


@pytest.mark.parametrize("plane", ["ab", "LC"])
def test_a_colour_out_of_tolerance_is_never_drawn_inside_the_outline(plane):
    """Random colours near random targets, those out of tolerance by CIEDE2000."""
    rng, hidden = np.random.default_rng(7), 0
    ax = Figure().add_subplot()
    while hidden < 10:
        target = np.array([rng.uniform(20, 90), *rng.uniform(-60, 60, 2)])
        sample = target + rng.normal(0, 1.2, 3)
        if not 1 < de00(target, sample) < 1.5:
            continue
        told = marks.tolerance_outline(ax, target, sample[None], 1.0, plane)
        hidden += "target's" not in told
        for patch in ax.patches:
            assert not Path(patch.get_xy()).contains_point(marks.in_plane(sample, plane)[0])
            patch.remove()
