"""What every command does alike: open the session, read the colour, give the answer."""

import argparse
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from matchkit.cli import folders, outputs, values
from matchkit.colorimetry.illuminants import Light
from matchkit.errors import InputError
from matchkit.files.scale import SCALES
from matchkit.report.html import to_text
from matchkit.report.parts import Part, to_json
from matchkit.workflows.formulas import PREFERENCES
from matchkit.workflows.session import Notice, Session
from matchkit.workflows.wanted import OTHER_WEIGHT, Wanted, spectrum_in, wanted_lab, wanted_spectrum

T = TypeVar("T")


def session_of(args: argparse.Namespace) -> Session:
    """The session on SHOP; what must be said is said on standard error as it comes up."""
    session = Session(
        args.shop,
        who=getattr(args, "by", None) or "",
        use_lots=not getattr(args, "reference_lots", False),
        scale=getattr(args, "scale", None) or "",
        repeats=getattr(args, "repeats", False),
        tell=lambda notice: tell(notice),
    )

    def tell(notice: Notice) -> None:
        told = [each.code for each in session.notices].count("lots_learned")
        if notice.code == "lots_learned" and told == 1 and "reference_lots" in args:
            folders.say("allowed for here (--reference-lots ignores it):")
        folders.say(notice.text)

    args.scales = session.scales
    return session


def give(
    args: argparse.Namespace,
    data: Callable[[], dict[str, Any]],
    parts: Callable[[], Sequence[Part]],
) -> None:
    """Print the answer as ``--json`` or as text, and draw ``--picture``."""
    pictured = bool(getattr(args, "picture", None))
    made = parts() if pictured or not args.json else ()
    if pictured:
        draw(args, made)
    print(to_json(data() | scales_of(args)) if args.json else to_text(made))


def scales_of(args: argparse.Namespace) -> dict[str, Any]:
    """Of each spectrum file that was read whether it was percent or 0-1, for JSON."""
    scales = getattr(args, "scales", None)  # not every command reads spectra
    return {"scales": scales} if scales else {}


def draw(args: argparse.Namespace, parts: Sequence[Part]) -> None:
    """Draw the pictures of an answer into ``--picture``, where that is given."""
    if not args.picture:
        return
    from matchkit.report.html import pictures_of, write_pictures

    pictures = pictures_of(parts, getattr(args, "show", None) or ())
    if pictures:
        write_pictures(args.picture, pictures)
    folders.say(f"written: {args.picture}" if pictures else "--picture: this answer has no picture")


def batch_argument(parser: argparse.ArgumentParser) -> None:
    """BATCH, of the record book."""
    parser.add_argument("batch", metavar="BATCH", help="its number, or its label as scanned")


def batch_of(session: Session, args: argparse.Namespace) -> int:
    """The number of BATCH; InputError for a label of another shop's book."""
    from matchkit.book.find import scanned

    return scanned(session.open_book(), args.batch)


def json_option(parser: argparse.ArgumentParser) -> None:
    """``--json``, which every command takes."""
    parser.add_argument(
        "--json", action="store_true", help="one JSON document instead of text for people"
    )


def picture_option(parser: argparse.ArgumentParser, names: Sequence[str] = ()) -> None:
    """``--picture``, and ``--show`` where there are several pictures to choose from."""
    parser.add_argument(
        "--picture",
        metavar="FILE",
        type=outputs.picture_file,
        help="write a picture of the answer (.png, .svg, .pdf)",
    )
    if names:
        parser.add_argument(
            "--show",
            action="append",
            choices=names,
            help=f"with --picture: what it shows ({', '.join(names[:3])})",
        )


def prefer_option(parser: argparse.ArgumentParser, words: str) -> None:
    """``--prefer``, by which formulas are ranked; "odds" is the old name of "chance"."""
    parser.add_argument(
        "--prefer", choices=PREFERENCES, default="nearest", help=words,
        type=lambda word: "chance" if word == "odds" else word,
    )  # fmt: skip


def reference_lots_option(parser: argparse.ArgumentParser) -> None:
    """The way to do without what the record book has learned of today's lots."""
    parser.add_argument(
        "--reference-lots",
        action="store_true",
        help="take every lot as the fitted one, whatever the batches showed",
    )


def reading_options(parser: argparse.ArgumentParser, file: str = "the file") -> None:
    """``--name``, where one spectrum is wanted, and how its file is to be read."""
    parser.add_argument("--name", help=f"which spectrum of {file}, if it holds several")
    scale_options(parser)


def scale_options(parser: argparse.ArgumentParser) -> None:
    """``--scale`` and ``--repeats``: how a spectrum file is to be read."""
    parser.add_argument(
        "--scale", choices=tuple(SCALES),
        help="the scale of a spectrum file that does not state it",
    )  # fmt: skip
    parser.add_argument(
        "--repeats", action="store_true",
        help="average readings named like 'red a', 'red b' or 'red 1/3'; where one colour is"
        " wanted, all readings of the file, whatever their names",
    )  # fmt: skip


def lamp_option(parser: argparse.ArgumentParser) -> None:
    """``--lamp``: a measured light beside the shop's."""
    parser.add_argument(
        "--lamp", action="append", default=[], metavar="FILE",
        help="one more light, as measured: CSV wavelength_nm,power; named after the file",
    )  # fmt: skip


def target_options(parser: argparse.ArgumentParser, *, many: bool = False) -> None:
    """TARGET, a spectrum file, with ``--name``; or ``--lab`` with its light and observer.

    `many`: without ``--name`` every spectrum of the file is a target.
    """
    add = parser.add_argument
    metavar, words = ("TARGETS", "of one target or many") if many else ("TARGET", "of the target")
    add("target", metavar=metavar, nargs="?", help=f"spectrum file {words}; or --lab")
    reading_options(parser, "TARGET")
    add("--lab", type=values.lab, metavar="L,a,b", help="the target's Lab, if there is no spectrum")
    add("--light", help="with --lab: the light it is for (the shop's first)")
    add("--observer", type=int, choices=(2, 10), help="with --lab: 2 or 10 (the shop's)")


def wanted_of(
    args: argparse.Namespace,
    session: Session,
    *,
    lights: Sequence[Light] = (),
    other_weight: float = OTHER_WEIGHT,
) -> Wanted:
    """The one colour that `target_options` name; InputError for none, two or half of one.

    A spectrum is seen under `lights`, or the shop's.
    """
    if (args.target is None) == (args.lab is None):
        raise InputError(
            f"{args.command}: give the target as a spectrum file or as --lab L,a,b, one of the two"
        )
    if args.lab is None:
        if args.light or args.observer:
            raise InputError(
                "--light and --observer go with --lab; a spectrum is judged as shop.toml says"
            )
        spectrum = spectrum_in(session, args.target, args.name)
        return wanted_spectrum(
            session, spectrum.name, spectrum.R, lights=lights, other_weight=other_weight
        )
    if args.name:
        raise InputError("--name: names a spectrum of TARGET; with --lab there is none")
    return wanted_lab(session, args.lab, args.light, args.observer)
