"""``matchkit import``: look at an instrument's file, and bring it into the shop."""

import argparse
import sys

from matchkit.cli.outputs import new_file
from matchkit.cli.terminal import json_option, positive, print_json, say, table
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.export import write_spectra
from matchkit.files.incoming import Imported, bring_in
from matchkit.files.preview import BARS, PLAIN_BARS, Preview, Previewed, preview, sparkline
from matchkit.files.settings import read_settings
from matchkit.files.spectrum import read_spectra
from matchkit.files.write import settled
from matchkit.inks.shop import Shop

SHOWN = 40  # names in a preview without --all


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("file", metavar="FILE", help="spectra: CSV, CGATS.17 text or CxF3")
    parser.add_argument("shop", metavar="SHOP", nargs="?", help="the shop folder")
    parser.add_argument("--preview", action="store_true", help="only look; write nothing")
    parser.add_argument("--all", action="store_true", help=f"show more than {SHOWN} names")
    parser.add_argument("--name", help="bring in only the spectrum of this name")
    parser.add_argument("--drawdown", help="the drawdown it is of, where its name is another")
    held = parser.add_mutually_exclusive_group()
    held.add_argument(
        "--add", action="store_true", help="average with readings that the shop has already"
    )
    held.add_argument(
        "--replace", action="store_true", help="in place of readings that the shop has already"
    )
    parser.add_argument(
        "--skip-others", action="store_true", help="leave out what is no drawdown of the shop"
    )
    parser.add_argument(
        "--index",
        metavar="N",
        help="refractive index of glossy films (1.5 for most resins: common practice, no"
        " source): adds or takes away the specular part where file and shop differ in it",
    )
    parser.add_argument(
        "--not-fluorescent",
        action="store_true",
        help="neither ink nor ground fluoresces: M0, M1 and M2 are taken as one",
    )
    parser.add_argument(
        "--to",
        type=new_file,
        metavar="NEW",
        help="write the spectra to a new file instead: .csv, or .txt for CGATS.17",
    )
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Look, print, bring in."""
    if args.shop is None and not (args.preview or args.to):
        raise InputError("import: name the shop folder, or say --preview to look only")
    toml = None if args.shop is None else settled(args.shop, "shop.toml")
    shop = None if toml is None else read_settings(toml, "shop.toml")
    seen = preview(args.file, *((shop.lights[0], shop.observer) if shop else ()))
    odd = _oddities(seen, whole=args.all)
    told = {f"{quoted(name)}: {line}" for name, line in odd}  # as the shop's own notes have it
    if not args.json:
        print(_picture(seen, odd, whole=args.all))
        sys.stdout.flush()
    done, notes = _act(args, shop, seen)
    for note in notes:
        if args.json or note not in told:
            say(note)
    if args.json:
        print_json({**_json(seen), "imported": _done_json(done), "notes": notes})
    elif done:
        print(_report(done))


def _act(
    args: argparse.Namespace, shop: Shop | None, seen: Preview
) -> tuple[Imported | None, list[str]]:
    """Nothing, a new file, or readings into the shop; and what there is to say."""
    index = None if args.index is None else positive(args.index, "--index")
    if args.preview and shop is None:
        return None, list(seen.notes)
    if args.preview or args.to:
        spectra, notes = read_spectra(
            args.file,
            name=args.name,
            shop=shop,
            index=index,
            not_fluorescent=args.not_fluorescent,
        )
        if not args.preview:
            write_spectra(args.to, spectra)
            notes.append(f"written: {args.to}")
        return None, notes
    done = bring_in(
        args.file,
        args.shop,
        name=args.name,
        drawdown=args.drawdown,
        existing="add" if args.add else "replace" if args.replace else "refuse",
        skip_others=args.skip_others,
        index=index,
        not_fluorescent=args.not_fluorescent,
    )
    return done, list(done.notes)


def _oddities(seen: Preview, *, whole: bool) -> list[tuple[str, str]]:
    """The names and what is odd about them, as many as are shown."""
    odd = [(each.name, line) for each in seen.spectra for line in each.oddities]
    return odd if whole else odd[:SHOWN]


def _picture(seen: Preview, odd: list[tuple[str, str]], *, whole: bool) -> str:
    """The preview as text: a line about the file, a row for each name, what is odd."""
    n = sum(len(each.readings) for each in seen.spectra)
    ways = list(dict.fromkeys(each.stated or "not stated" for each in seen.spectra))
    lines = [
        f"{seen.file}: {seen.format}, {len(seen.spectra)} names, {n} readings,"
        f" {', '.join(seen.ranges)}, scale {seen.scale}",
        "measured: " + "; ".join(ways[:4]) + (" ..." if len(ways) > 4 else ""),
    ]
    if seen.lab_apart is not None:
        lines.append(f"L*a*b* in the file agree with the spectra within {seen.lab_apart:.2f} dE*ab")
    lines += [f"! a match or a shop refuses this: {line}" for line in seen.refusals]
    shown = seen.spectra if whole else seen.spectra[:SHOWN]
    bars = BARS if _draws(BARS) else PLAIN_BARS
    lines.append(
        table(
            ["name", "readings", "spread dE00", "reflectance 0 to 1"],
            [_row(s, bars) for s in shown],
        )
    )
    if len(shown) < len(seen.spectra):
        lines.append(f"... and {len(seen.spectra) - len(shown)} more (--all)")
    lines += [f"! {name}: {line}" for name, line in odd]
    more = sum(len(each.oddities) for each in seen.spectra) - len(odd)
    if more:
        lines.append(f"! ... and {more} more oddities (--all)")
    return "\n".join(lines)


def _row(each: Previewed, bars: str) -> list[str]:
    spread = "" if each.spread_de00 is None else f"{each.spread_de00:.2f}"
    picture = sparkline(each.readings.mean(axis=0), bars)
    return [each.name, str(len(each.readings)), spread, picture]


def _draws(text: str) -> bool:
    """Whether the terminal can show these characters."""
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def _report(done: Imported) -> str:
    lines = [f"brought in: {done.n_readings} readings of {len(done.names)} drawdowns or mixes"]
    if done.kept:
        lines.append(f"the old spectra.csv is kept as {done.kept}")
    if not done.names:
        lines = ["nothing new to bring in; spectra.csv is as it was"]
    if done.missing:
        more = f" and {len(done.missing) - SHOWN} more" if len(done.missing) > SHOWN else ""
        lines.append(f"without a reading yet: {', '.join(done.missing[:SHOWN])}{more}")
    return "\n".join(lines)


def _json(seen: Preview) -> dict[str, object]:
    return {
        "file": seen.file,
        "format": seen.format,
        "scale": seen.scale,
        "ranges": list(seen.ranges),
        "lab_apart": None if seen.lab_apart is None else round(seen.lab_apart, 4),
        "refusals": list(seen.refusals),
        "spectra": [
            {
                "name": each.name,
                "readings": len(each.readings),
                "measured": each.stated,
                "spread_de00": None if each.spread_de00 is None else round(each.spread_de00, 4),
                "oddities": list(each.oddities),
            }
            for each in seen.spectra
        ],
    }


def _done_json(done: Imported | None) -> dict[str, object] | None:
    if done is None:
        return None
    return {
        "names": list(done.names),
        "readings": done.n_readings,
        "kept": done.kept or None,
        "missing": list(done.missing),
    }
