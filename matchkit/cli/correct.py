"""``matchkit correct``: what to add to a batch so that it comes in."""

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.findings import slips, what_happened
from matchkit.cli.pictures import (
    COMPARED,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
)
from matchkit.cli.rescue import rescue, rescue_json, rescue_report
from matchkit.cli.shops import (
    by_light,
    by_the_book,
    decimals,
    lab_of,
    name_option,
    one_spectrum,
    open_shop,
    palettes_of,
    reference_lots_option,
)
from matchkit.cli.terminal import json_option, positive, print_json, say, spectrum_json, table
from matchkit.colorimetry import Lab, de00
from matchkit.compare import Comparison, compare
from matchkit.correct import Correction, correct, fewest_inks, nearest, nothing_learned
from matchkit.diagnose import Belief, Round, infer, model_error_f
from matchkit.faults import BadInput
from matchkit.files.recipe import read_recipe
from matchkit.files.spectrum import read_spectra
from matchkit.fit import Fit
from matchkit.inks import Shop
from matchkit.lots import for_palette
from matchkit.match import palette_for
from matchkit.odds import Spread, spread_of
from matchkit.palette import Palette
from matchkit.solve import Target, spectral_target
from matchkit.words import WORDS, look_round

Array = NDArray[np.float64]

CHOICES = {"smallest": correct, "fewest inks": fewest_inks, "closest": nearest}
LAB_NOISE = 0.15  # of L*, a*, b* that are only told: a reading and its rounding
ROOM_AT_MOST = 100.0  # times the batch: more is a slip of the keyboard


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("target", metavar="TARGET", help="spectrum file of the target")
    name_option(parser)
    parser.add_argument(
        "--weighed", metavar="RECIPE", action="append", default=[], required=True,
        help="what was weighed, ink,grams; for later rounds again, with what was added or "
        "with all that is in the bucket",
    )  # fmt: skip
    parser.add_argument(
        "--measured", metavar="SPECTRUM", action="append", default=[],
        help="how that round measured, cured and cool; without it: an over-pour",
    )  # fmt: skip
    parser.add_argument("--measured-name", help="which spectrum of the measured files")
    parser.add_argument(
        "--looks", metavar="WORDS",
        help=f'instead of --measured, what the eye says: "a touch red, too dark" ({WORDS})',
    )  # fmt: skip
    parser.add_argument(
        "--measured-lab", metavar="L,a,b",
        help="instead of --measured, where there is only Lab under the shop's first light",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="RECIPE",
        help="while still weighing: the planned ink,grams; --weighed is what has gone in",
    )  # fmt: skip
    parser.add_argument("--room", metavar="G", help="grams that the container still takes")
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="do not add it"
    )
    parser.add_argument(
        "--anyway", action="store_true", help="prescribe even where the reading can't be explained"
    )
    reference_lots_option(parser)
    picture_option(parser, COMPARED)
    json_option(parser)


@dataclass(frozen=True)
class _Job:
    shop: Shop
    found: Fit
    target: Target
    belief: Belief
    spread: Spread
    room_g: float
    upper_g: Array
    de00_measured: Array | None
    weighed_g: Array  # (n_ink,)

    def total_g(self, choice: Correction) -> float:
        """The batch after: what the balance showed and what is added."""
        return float(self.weighed_g.sum()) + choice.added_g

    def choose(self, how: Any, room_g: float | None = None) -> Correction:
        """One of the three ways to correct."""
        chosen: Correction = how(
            self.found.palette,
            self.belief,
            self.target,
            self.spread,
            tolerance_de00=self.shop.tolerance_de00,
            resolution_g=self.shop.resolution_g,
            room_g=self.room_g if room_g is None else room_g,
            upper_g=self.upper_g,
        )
        return chosen


def run(args: argparse.Namespace) -> None:
    """Infer what went wrong, solve the additions, print."""
    if faults := picture_faults(args):
        raise BadInput(faults)
    job = _job(args)
    if args.plan:
        _rescue(args, job)
        return
    answer = job.choose(correct)
    if args.picture:
        seen = _before_and_after(job, answer)
        keep_picture(args.picture, chosen(args, compared(seen, job.shop.tolerance_de00)))
    if args.json:
        print_json(_json(job, answer))
    else:
        print(_report(job, answer, _neighbour(args.shop, job, answer)))


def _rescue(args: argparse.Namespace, job: _Job) -> None:
    """The ways on after an over-pour, from the plan and what has gone in."""
    if args.measured or args.looks or args.measured_lab:
        raise BadInput("--plan is for a batch that is still being weighed: nothing is measured yet")
    palette = replace(job.found.palette, strengths=job.belief.strengths)
    planned = _contents([args.plan], {"": palette})[0]
    plan_g = np.array([planned.get(name, 0.0) for name in palette.names])
    found = rescue(job.shop, palette, plan_g, job.belief.grams, job.target, job.room_g)
    if args.json:
        print_json(rescue_json(found, palette, job.target))
    else:
        print(rescue_report(found, palette, job.target, job.shop))


def _job(args: argparse.Namespace) -> _Job:
    room_g = np.inf if args.room is None else _room(args.room)
    shop, fits = open_shop(args.shop)
    if sum(map(bool, (args.measured, args.looks, args.measured_lab))) > 1:
        raise BadInput("correct: give one of --measured, --measured-lab and --looks")
    if args.measured and len(args.measured) != len(args.weighed):
        raise BadInput(
            f"correct: {len(args.weighed)} --weighed but {len(args.measured)} --measured; "
            "each round needs both"
        )
    if not args.measured and len(args.weighed) > 1:
        raise BadInput("correct: several --weighed need a --measured each")
    palettes = palettes_of(fits)
    contents = _contents(args.weighed, palettes)
    inks = sorted({name for each in contents for name in each})
    palette = palette_for(palettes, inks)
    series, found = next((s, f) for s, f in fits.items() if f.palette is palette)
    target = spectral_target(
        one_spectrum(args.target, args.name, shop).R, shop.lights, shop.observer
    )
    grams = [np.array([each.get(n, 0.0) for n in palette.names]) for each in contents]
    if room_g < np.inf and room_g > ROOM_AT_MOST * grams[-1].sum():
        raise BadInput(f"--room: found {args.room!r}, more than {ROOM_AT_MOST:g} times the batch")
    spread = spread_of(palette, found.error_Lab, shop.resolution_g)
    readings = [one_spectrum(path, args.measured_name, shop).R for path in args.measured]
    shop, told = by_the_book(args, shop, fits, readings[-1] if readings else None)
    known = for_palette(told.lots[series], palette) if told else None
    belief, before = _belief(args, found, grams, spread, target, readings, known)
    upper_g = _stock(shop, palette, args.without)
    return _Job(shop, found, target, belief, spread, room_g, upper_g, before, grams[-1])


def _room(text: str) -> float:
    if text.strip() in ("0", "0.0"):
        return 0.0
    return positive(text, "--room")


def _contents(paths: list[str], palettes: Mapping[str, Palette]) -> list[dict[str, float]]:
    """What was in the bucket at each round, by ink."""
    known = [name for palette in palettes.values() for name in palette.names]
    contents: list[dict[str, float]] = []
    for path in paths:
        written = read_recipe(path, known, grams_only=True)
        assert written.grams is not None
        now = dict(zip(written.inks, written.grams, strict=True))
        if contents:
            before = contents[-1]
            whole = all(now.get(name, 0.0) >= g - 1e-9 for name, g in before.items())
            say(f"{path}: read as " + ("all that is in the bucket" if whole else "what was added"))
            if not whole:
                now = {n: before.get(n, 0.0) + now.get(n, 0.0) for n in {**before, **now}}
        contents.append(now)
    return contents


def _belief(
    args: argparse.Namespace,
    found: Fit,
    grams: list[Array],
    spread: Spread,
    target: Target,
    readings: list[Array],
    known: tuple[Array, Array] | None,
) -> tuple[Belief, Array | None]:
    """What is thought of the batch, and the measured dE00 of the last round."""
    palette = found.palette
    if args.measured_lab:
        lab = lab_of(args.measured_lab, "--measured-lab")
        say(
            "Lab only: which ink went wrong is told less surely, and other lights can't be "
            "judged; measure the spectrum if you can"
        )
        told = Round(grams=grams[-1], lab=lab, lab_covariance=LAB_NOISE**2 * np.eye(3))
        belief = infer(palette, [told], spread, target=target, refuse=False, known=known)
        return belief, de00(target.lab, np.vstack([lab, np.full((len(target.lab) - 1, 3), np.nan)]))
    if args.looks:
        rounds = [look_round(args.looks, grams[-1], target)]
        say(
            "an eye's word says the direction and little of the amount: add half, look again; "
            "other lights can't be judged"
        )
        return infer(palette, rounds, spread, target=target, refuse=False, known=known), None
    if not readings:
        return nothing_learned(palette, grams[-1], spread, known), None
    rounds = [Round(grams=g, R=R) for g, R in zip(grams, readings, strict=True)]
    belief = infer(
        palette, rounds, spread, target=target, model_f=model_error_f(found),
        refuse=not args.anyway, known=known,
    )  # fmt: skip
    seen = np.array([Lab(readings[-1], light, target.observer) for light in target.lights])
    return belief, de00(target.lab, seen)


def _stock(shop: Shop, palette: Palette, without: list[str]) -> Array:
    """Grams of each ink that may be added."""
    unknown = [name for name in without if name not in palette.names]
    if unknown:
        raise BadInput([f"--without: no ink is called {name!r}" for name in unknown])
    today = {ink.name: ink.stock_g for ink in shop.inks}
    stock = [np.inf if today.get(n) is None else today[n] for n in palette.names]
    upper = np.array(stock, dtype=float)
    upper[[palette.index(name) for name in without]] = 0
    return upper


def _before(job: _Job, answer: Correction) -> Array:
    if job.de00_measured is None:
        return answer.de00_before
    # Under lights in which nothing was measured, what the inks that were weighed would show.
    return np.where(np.isnan(job.de00_measured), answer.de00_before, job.de00_measured)


def _json(job: _Job, answer: Correction) -> dict[str, Any]:
    names, lights = job.found.palette.names, job.target.lights
    spread = np.sqrt(np.diag(job.belief.covariance))
    return {
        "additions": _additions(names, answer),
        "added_grams": round(answer.added_g, 6),
        "total_grams": round(job.total_g(answer), 6),
        "de00_before": by_light(lights, _before(job, answer)),
        "reflectance": spectrum_json(answer.R),
        "lab": by_light(lights, answer.lab),
        "de00": by_light(lights, answer.de00),
        "chance_in_tolerance": round(answer.chance_in_tolerance, 4),
        "can_be_saved": answer.can_be_saved,
        "strengths": {
            n: round(float(s), 4)
            for n, s, g in zip(names, job.belief.strengths, job.belief.grams, strict=True)
            if g > 0
        },
        "strength_errors": {
            n: round(float(e), 4)
            for n, e, g in zip(names, spread, job.belief.grams, strict=True)
            if g > 0
        },
        "slips": [
            {"ink": ink, "grams": weighed, "probably": probably}
            for ink, weighed, probably in slips(job.found.palette, job.belief, job.weighed_g)
        ],
        "choices": {
            name: {"additions": _additions(names, choice), "de00": by_light(lights, choice.de00)}
            for name, choice in ((name, job.choose(how)) for name, how in CHOICES.items())
        },
    }


def _additions(names: tuple[str, ...], answer: Correction) -> list[dict[str, Any]]:
    order = np.argsort(-answer.additions_g, kind="stable")
    return [
        {"ink": names[i], "grams": float(answer.additions_g[i])}
        for i in order
        if answer.additions_g[i] > 0
    ]


def _report(job: _Job, answer: Correction, neighbour: str) -> str:
    light = job.target.lights[0]
    before, tolerance = _before(job, answer)[0], job.shop.tolerance_de00
    lines = [f"Now: dE00 {before:.2f} under {light}, tolerance {tolerance:g}"]
    lines += what_happened(job.found.palette, job.belief, job.weighed_g)
    if not answer.added_g:
        done = before <= tolerance
        return "\n".join(
            [*lines, "", "Nothing to add." if done else "No addition brings it nearer."]
        )
    seen: dict[bytes, str] = {}
    for name, how in CHOICES.items():
        choice = answer if how is correct else job.choose(how)
        key = choice.additions_g.tobytes()
        if key in seen:
            continue
        seen[key] = name
        lines += ["", *_choice(job, name, choice)]
    if not answer.can_be_saved:
        lines += [
            "",
            "This batch can't be brought within tolerance" + _within_room(job) + neighbour,
        ]
    return "\n".join(lines)


def _choice(job: _Job, name: str, choice: Correction) -> list[str]:
    digits = decimals(job.shop.resolution_g)
    told = "  ".join(f"{n} {e:.2f}" for n, e in zip(job.target.lights, choice.de00, strict=True))
    rows = [
        [each["ink"], f"{each['grams']:.{digits}f}"]
        for each in _additions(job.found.palette.names, choice)
    ]
    return [
        f"{name.capitalize()}: add {choice.added_g:.{digits}f} g, "
        f"{job.total_g(choice):.{digits}f} g in all; then dE00 {told}; "
        f"chance in tolerance {100 * choice.chance_in_tolerance:.0f} %",
        table(["Add", "grams"], rows, indent=2),
    ]


def _before_and_after(job: _Job, answer: Correction) -> Comparison:
    """The batch as it is, and as each way to correct it would make it."""
    assert job.target.R is not None  # it was read from a spectrum file
    states = {(): ("as it is", job.choose(correct, room_g=0.0).R)}
    for name, how in CHOICES.items():
        choice = answer if how is correct else job.choose(how)
        if choice.added_g:
            states.setdefault(tuple(choice.additions_g.tolist()), (name, choice.R))
    return compare(
        job.target.R,
        list(states.values()),
        lights=job.target.lights,
        observer=job.target.observer,
    )


def _within_room(job: _Job) -> str:
    if job.room_g == np.inf:
        return "."
    free = job.choose(correct, room_g=np.inf)
    if not free.can_be_saved:
        return f" within {job.room_g:g} g, nor with any room."
    enough = f"{free.added_g:.0f} g would do it ({job.total_g(free):.0f} g in all)"
    return f" within {job.room_g:g} g; {enough}."


def _neighbour(folder: str, job: _Job, answer: Correction) -> str:
    """Which other target of the shop the batch is nearest to, if it can't be saved."""
    path = Path(folder) / "targets.csv"
    if answer.can_be_saved or not path.is_file():
        return ""
    spectra, _ = read_spectra(path)
    observer, light = job.target.observer, job.target.lights[0]
    nothing = job.choose(correct, room_g=0.0)
    away = [float(de00(Lab(s.R, light, observer), nothing.lab[0])) for s in spectra]
    at = int(np.argmin(away))
    return f" As it is, it is nearest to {spectra[at].name} (dE00 {away[at]:.1f})."
