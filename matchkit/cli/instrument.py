"""``matchkit instrument``: is the instrument well, and does a film hide its ground?"""

import argparse
from datetime import date as calendar

from matchkit.cli.terminal import json_option, print_json, say, table
from matchkit.errors import InputError
from matchkit.files.health import Health, health, keep_reading, read_kept
from matchkit.files.readings import NamedSpectrum
from matchkit.files.settings import read_settings
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import settled
from matchkit.fitting.instrument import disagreement, opacity, repeats
from matchkit.inks.shop import Shop

LAST = 10  # days shown of each standard


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; readings are kept in it")
    parser.add_argument("--tile", metavar="FILE", help="keep this reading of the white tile")
    parser.add_argument(
        "--drawdown", metavar="FILE", help="keep this reading of the reference drawdown"
    )
    parser.add_argument("--date", help="the day of the reading, as 2026-03-02 (today)")
    parser.add_argument("--over-black", metavar="FILE", help="a film read over black, and")
    parser.add_argument("--over-white", metavar="FILE", help="over white: is it opaque?")
    parser.add_argument("--name", help="which spectrum of the files, where they hold several")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Keep what was read, then say how the instrument is; or how opaque a film is."""
    shop = read_settings(settled(args.shop, "shop.toml"), "shop.toml")
    if bool(args.over_black) != bool(args.over_white):
        raise InputError("instrument: --over-black and --over-white go together; give both")
    if args.over_black:
        _opacity(args, shop)
        return
    day = args.date or calendar.today().isoformat()
    for kind in ("tile", "drawdown"):
        path = getattr(args, kind)
        if path:
            read = _read(path, args.name, shop)
            keep_reading(args.shop, kind=kind, name=read.name, readings=read.readings, date=day)
    found = health(read_kept(args.shop), shop, max(day, calendar.today().isoformat()))
    if args.json:
        print_json(_json(found))
    else:
        print(_report(found))


def _read(path: str, name: str | None, shop: Shop) -> NamedSpectrum:
    read, notes = read_spectrum(path, name, shop=shop, option="--name")
    line = disagreement(repeats(read.readings, shop.lights[0], shop.observer))
    for note in [*notes, *([f"{read.name}: {line}"] if line else [])]:
        say(note)
    return read


def _opacity(args: argparse.Namespace, shop: Shop) -> None:
    black, white = (_read(path, args.name, shop) for path in (args.over_black, args.over_white))
    found = opacity(black.R, white.R, shop.lights[0], shop.observer)
    if args.json:
        ratio, far = round(found.contrast_ratio, 4), round(found.de00, 4)
        print_json({"contrast_ratio": ratio, "de00": far, "opaque": found.opaque})
    else:
        print(f"{white.name}: {found.words}")


def _report(found: Health) -> str:
    rows = [
        [each.kind, each.name, day, f"{moved.de00:.2f}", moved.words if i else "first reading"]
        for each in found.histories
        for i, (day, moved) in enumerate(zip(each.dates, each.drifts, strict=True))
        if i == 0 or i >= len(each.dates) - LAST
    ]
    heads = ["kind", "name", "day", "dE00", "against its first day"]
    return "\n".join([*([table(heads, rows)] if rows else []), found.advice])


def _json(found: Health) -> dict[str, object]:
    return {
        "advice": found.advice,
        "standards": [
            {
                "kind": each.kind,
                "name": each.name,
                "days": [
                    {"date": day, "de00": round(moved.de00, 4), "state": moved.state}
                    for day, moved in zip(each.dates, each.drifts, strict=True)
                ],
            }
            for each in found.histories
        ],
    }
