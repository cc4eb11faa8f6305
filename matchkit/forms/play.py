"""The shelf as sliders: pour without spending ink, and see where each ink pulls the colour.

from matchkit import forms
forms.play()                 # invented inks
forms.play(shop)             # the inks of a shop that was opened
"""

from collections.abc import Sequence
from html import escape
from typing import Any

import ipywidgets as w
import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import XYZ, Lab, hex_colour, hex_colours, in_srgb
from matchkit.forms import parts as ui
from matchkit.forms.begin import opened_form
from matchkit.forms.shops import OpenShop
from matchkit.inks.palette import Palette, reflectance
from matchkit.practice.simulated_shop import LIGHTS, OBSERVER, practice_shop

MORE_G = 5.0  # the arrows: so much more of each ink
START_G, MOST_G = 100.0, 200.0  # of the white, and the end of each slider
TINT = 0.1  # the share of an ink in its tint
TRAIL = 60  # colours that are remembered
SIDE, LEAST_SPAN = 260.0, 4.0  # of the picture in pixels, and across it in Lab units


def play(opened: OpenShop | None = None) -> Any:
    """The sliders, of a shop's fitted inks or, without a shop, of invented ones."""
    if opened is None:
        shop = practice_shop()
        return PlayForm({"invented inks": shop.palette}, LIGHTS[0], OBSERVER).box
    return opened_form(
        opened,
        lambda: (
            PlayForm(
                {name: found.palette for name, found in opened.fits.items()},
                opened.shop.lights[0],
                opened.shop.observer,
            ).box
        ),
    )


class PlayForm:
    """A slider for each ink of a series, the colour of the mixture, and where it came from."""

    def __init__(self, palettes: dict[str, Palette], light: Any, observer: Any) -> None:
        self.palettes, self.seen_by = palettes, (light, observer)
        self.series = ui.choice("Series", list(palettes), next(iter(palettes)))
        self.inks, self.picture, self.problems = ui.below(), ui.area(), ui.area()
        self.sliders: list[Any] = []
        self.trail: list[Array] = []
        self.series.observe(ui.safe(self._open, self.problems), names="value")
        self.box = ui.form(
            *([ui.boxed(self.series)] if len(palettes) > 1 else []),
            ui.row(self.inks, self.picture),
            ui.row(
                ui.button("Back to white", self._open, self.problems),
                ui.button("Clear the path", self._forget, self.problems),
            ),
            self.problems,
            name="play",
        )
        self._open()

    def _open(self) -> None:
        """Sliders for the series that is chosen; white, or the first ink, is in already."""
        self.palette = self.palettes[self.series.value]
        inks = self.palette.inks
        base = next((k for k, ink in enumerate(inks) if ink.role == "white"), 0)
        alone = np.eye(len(inks))
        tints = TINT * alone + (1 - TINT) * alone[base]
        shown = [hex_colours(self._R(c), *self.seen_by) for c in (alone, tints)]
        self.colours = shown[0]
        self.sliders, rows = [], []
        for k, ink in enumerate(inks):
            slider = w.FloatSlider(
                value=START_G * (k == base), max=MOST_G, step=0.5, readout_format=".1f",
                description=ink.name,
            )  # fmt: skip
            slider.observe(ui.safe(self._show, self.problems), names="value")
            lab = "L* {:.0f}  a* {:.0f}  b* {:.0f}".format(*Lab(self._R(alone[k]), *self.seen_by))
            chips = "".join(_chip(each[k], 28) for each in shown)
            rows.append(ui.row(w.HTML(f"{chips} {lab}"), slider))
            self.sliders.append(slider)
        lead = w.HTML(
            f"Each ink: its masstone, its tint ({100 * TINT:g} % in {escape(inks[base].name)}),"
            " L*a*b* of the masstone. Grams:"
        )
        self.inks.children = [lead, *rows]
        self._forget()

    def _R(self, c: Array) -> Array:
        return reflectance(self.palette, c)

    def _forget(self) -> None:
        self.trail = []
        self._show()

    def _show(self) -> None:
        """The colour of what is in, and where five grams more of each ink would take it."""
        grams = np.array([each.value for each in self.sliders])
        if not grams.any():
            ui.tell(self.picture, "The container is empty: move a slider.", "quiet")
            return
        more = np.vstack([grams, grams + MORE_G * np.eye(len(grams))])
        R = self._R(more / more.sum(axis=1, keepdims=True))
        lab = Lab(R, *self.seen_by)
        self.trail = [*self.trail, lab[0]][-TRAIL:]
        on_screen = bool(in_srgb(XYZ(R[0], *self.seen_by), white(*self.seen_by)))
        words = "" if on_screen else " A screen can't show this colour: it shows the nearest."
        told = "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*lab[0])
        self.picture.value = (
            f'<div role="status">{grams.sum():.1f} g: {told} ({self.seen_by[0]}).{words}</div>'
            f"<div>{_chip(hex_colour(R[0], *self.seen_by), SIDE)}</div>"
            f"{_way(np.array(self.trail), lab[1:], self.palette.names, self.colours)}"
            f"<div>Arrows: {MORE_G:g} g more of each ink. Thin line: the path so far.</div>"
        )


def _chip(colour: str, wide: float) -> str:
    return (
        f'<span style="display:inline-block;width:{wide:g}px;height:28px;'
        f'background:{colour};border:1px solid #000"></span>'
    )


def _way(trail: Array, ends: Array, names: Sequence[str], colours: Sequence[str]) -> str:
    """The way so far and an arrow for each ink: a* to the right, b* up, L* on a scale beside."""
    now = trail[-1]
    half = max(float(np.abs(ends - now).max()), LEAST_SPAN / 2) * 1.3

    def at(lab: Array) -> tuple[float, float, float]:
        L, a, b = (lab - now) / half * SIDE / 2
        return SIDE / 2 + a, SIDE / 2 - b, SIDE / 2 - L

    path = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in map(at, trail))
    x0, y0, L0 = at(now)
    way = f'<polyline points="{path}" fill="none" stroke="#000" stroke-width="0.7"/>'
    drawn = []
    for end, name, colour in zip(ends, names, colours, strict=True):
        x, y, L = at(end)
        far = np.hypot(x - x0, y - y0) > 12  # names of short arrows would lie on each other
        for d in (
            f"M{x0:.1f} {y0:.1f}L{x:.1f} {y:.1f}",
            f"M{SIDE + 20:g} {L0:.1f}L{SIDE + 40:g} {L:.1f}",
        ):
            drawn.append(f'<path d="{d}" stroke="#000" stroke-width="3.4"/>')
            drawn.append(f'<path d="{d}" stroke="{colour}" stroke-width="2.2"/>')
        if far:
            drawn.append(f'<text x="{x + 3:.1f}" y="{y:.1f}" font-size="10">{escape(name)}</text>')
    alt = "; ".join(
        f"{name}: L* {L:+.1f}, a* {a:+.1f}, b* {b:+.1f}"
        for name, (L, a, b) in zip(names, ends - now, strict=True)
    )
    wide, high = SIDE + 60, SIDE + 16
    return (
        f'<svg width="{wide:g}" height="{high:g}" role="img" aria-label="{escape(alt)}">'
        f'<rect x="0.5" y="0.5" width="{SIDE:g}" height="{SIDE:g}" fill="none" stroke="#888"/>'
        f'<svg width="{SIDE:g}" height="{SIDE:g}">{way}</svg>'
        f"{''.join(drawn)}"
        f'<text x="4" y="{SIDE + 12:g}" font-size="10">a* to the right, b* up;'
        f" {2 * half:.0f} across</text>"
        f'<text x="{SIDE + 20:g}" y="{SIDE + 12:g}" font-size="10">L*</text></svg>'
    )
