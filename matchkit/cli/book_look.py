"""The verbs of ``matchkit book`` that ask and never write, but for a label's page."""

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.book.find import Found, Near, near, scanned
from matchkit.book.find import find as find_records
from matchkit.book.jobs import (
    Job,
    common,
    job,
    local_day,
    sharing,
    sharing_words,
    todays_jobs,
)
from matchkit.book.label import label_html, qr_svg
from matchkit.book.shelf import leftovers
from matchkit.book.shelf import stock as stock_of
from matchkit.book.stock import reorder as orders_of
from matchkit.book.store import Book
from matchkit.cli.asked import Answer, batch_argument, lab_numbers
from matchkit.cli.outputs import page
from matchkit.cli.shops import name_option, one_spectrum
from matchkit.cli.terminal import positive, say, table, whole
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError, did_you_mean
from matchkit.files.write import write_file
from matchkit.inks.shop import Shop
from matchkit.workflows.session import Session


def today(session: Session, args: argparse.Namespace) -> Answer:
    jobs = todays_jobs(session.open_book())
    pairs = sharing(jobs)
    answer = {
        "jobs": [_job_json(each) for each in jobs],
        "sharing": [
            {"batches": [one.batch, other.batch], "share": round(share, 4),
             "base": common(one.shares, other.shares)}
            for one, other, share in pairs
        ],
    }  # fmt: skip
    if not jobs:
        return answer, "no open jobs"
    rows = [
        [str(j.batch), j.name, j.job, j.customer, j.due, f"{j.planned_g:g}", j.state] for j in jobs
    ]
    lines = [table(["Batch", "colour", "job", "customer", "due", "grams", "next"], rows)]
    lines += [sharing_words(*pair) for pair in pairs]
    return answer, "\n".join(lines)


def _job_json(each: Job) -> dict[str, Any]:
    last = each.readings[-1] if each.readings else None
    return {
        "batch": each.batch,
        "name": each.name,
        "job": each.job,
        "customer": each.customer,
        "due": each.due,
        "grams": each.planned_g,
        "state": each.state,
        "de00": None if last is None else last.de00,
    }


def show_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)


def show(session: Session, args: argparse.Namespace) -> Answer:
    book = session.open_book()
    story = job(book, scanned(book, args.batch))
    answer = _job_json(story) | {
        "formula": story.formula,
        "target": story.target,
        "inks": [{"ink": ink, "percent": round(100 * f, 6)} for ink, f in story.shares.items()],
        "weighings": [
            {"weighing": p.weighing, "at": p.at, "by": p.who, "inks": [
                {"ink": ink, "lot": lot, "planned_grams": plan, "grams": g}
                for ink, lot, plan, g in zip(p.inks, p.lots, p.planned_g, p.actual_g, strict=True)
            ]}
            for p in story.pours
        ],
        "measurements": [
            {"measurement": r.measurement, "at": r.at, "by": r.who, "weighing": r.weighing,
             "de00": r.de00, "passed": r.passed, "lab": {r.light: list(r.lab)}}
            for r in story.readings
        ],
        "approved_by": story.approved_by,
    }  # fmt: skip
    return answer, _story(story)


def _story(story: Job) -> str:
    about = ", ".join(filter(None, [story.name, story.job, story.customer]))
    lines = [f"batch {story.batch}: {about}; {story.planned_g:g} g planned; {story.state}"]
    for pour in story.pours:
        what = "weighed" if pour is story.pours[0] else "added"
        lines.append(
            f"{local_day(pour.at)} {what} by {pour.who or '?'} (weigh-out {pour.weighing})"
        )
        rows = [
            [ink, lot, f"{planned:g}", f"{g:g}"]
            for ink, lot, planned, g in zip(
                pour.inks, pour.lots, pour.planned_g, pour.actual_g, strict=True
            )
        ]
        lines.append(table(["Ink", "lot", "planned", "grams"], rows, indent=2))
        for r in story.readings:
            if r.weighing == pour.weighing:
                told = "" if r.de00 is None else f": dE00 {r.de00:.2f}, {_in_or_out(r.passed)}"
                lines.append(f"{local_day(r.at)} measured (measurement {r.measurement}){told}")
    if story.outcome:
        by = f" by {story.approved_by}" if story.approved_by else ""
        lines.append(f"{local_day(story.closed_at)} {story.outcome}{by}")
    return "\n".join(lines)


def _in_or_out(passed: bool | None) -> str:
    return "in tolerance" if passed else "out of tolerance"


def find_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--like", metavar="FILE", help="near the colour of a spectrum file")
    name_option(parser)
    parser.add_argument("--lab", metavar="L,a,b", help="near this colour, first light")
    parser.add_argument("--within", default="2", metavar="DE00", help="how near (2)")
    parser.add_argument("--ink", default="", help="with this ink")
    parser.add_argument("--lot", default="", help="with this lot")
    parser.add_argument("--customer", default="", help="for this customer (part of the name)")
    parser.add_argument("--text", default="", help="words of the colour, the job or a note")
    parser.add_argument("--since", default="", metavar="DAY", help="as 2026-11-25")
    parser.add_argument("--until", default="", metavar="DAY", help="that day too")
    parser.add_argument("--top", default="20", metavar="N", help="how many (20)")


def find(session: Session, args: argparse.Namespace) -> Answer:
    others = (args.ink, args.lot, args.customer, args.text, args.since, args.until)
    top = whole(args.top, "--top")
    if args.like or args.lab:
        if any(others) or (args.like and args.lab):
            raise InputError("find: ask for a colour (--like or --lab), or for words and days")
        return _find_colour(args, session.open_book(), session.files, top)
    rows = find_records(
        session.open_book(), ink=args.ink, lot=args.lot, customer=args.customer, text=args.text,
        since=args.since, until=args.until, top=top,
    )  # fmt: skip
    text = table(
        ["Batch", "formula", "day", "colour", "job", "customer", ""], [_found(r) for r in rows]
    )
    inks = [] if rows or not args.ink else [ink.name for ink in session.files.inks]
    nothing = f"nothing in the book{'' if args.ink in inks else did_you_mean(args.ink, inks)}"
    return {"found": [asdict(row) for row in rows]}, text if rows else nothing


def _found(row: Found) -> list[str]:
    batch = "" if row.batch is None else str(row.batch)
    formula = str(row.formula)
    return [batch, formula, local_day(row.at), row.name, row.job, row.customer, row.outcome]


def _find_colour(args: argparse.Namespace, book: Book, shop: Shop, top: int) -> Answer:
    wanted = lab_numbers(args.lab, "--lab") if args.lab else _lab_like(args, shop)
    within = positive(args.within, "--within")
    rows = near(book, shop, wanted, within=within, top=top)
    answer = {"near": [asdict(row) for row in rows]}
    if not rows:
        return answer, f"nothing within dE00 {within:g}"
    cells = [_near_cells(row) for row in rows]
    return answer, table(["dE00", "batch", "formula", "colour", "customer", "", "inks"], cells)


def _lab_like(args: argparse.Namespace, shop: Shop) -> list[float]:
    R = one_spectrum(args.like, args.name, shop).R
    wanted: list[float] = Lab(R, shop.lights[0], shop.observer).tolist()
    return wanted


def _near_cells(row: Near) -> list[str]:
    inks = ", ".join(f"{ink} {100 * f:.2f}" for ink, f in row.shares.items())
    batch = "" if row.batch is None else str(row.batch)
    return [f"{row.de00:.2f}", batch, str(row.formula), row.name, row.customer, row.what, inks]


def stock(session: Session, args: argparse.Namespace) -> Answer:
    book = session.open_book()
    held = stock_of(book, session.files)
    kept = {mix.name for mix in leftovers(book)}
    rows = [
        [name, "not counted" if g is None else f"{g:.2f}", "leftover" if name in kept else ""]
        for name, g in held.items()
        if g or name not in held or name in kept or g is None
    ]
    return {"stock": held}, table(["Name", "grams", ""], rows)


def reorder_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--days", default="30", metavar="N", help="how far ahead, and back (30)")


def reorder(session: Session, args: argparse.Namespace) -> Answer:
    days = whole(args.days, "--days")
    orders = orders_of(session.open_book(), session.files, days=days)
    rows = [
        [o.ink, f"{o.stock_g:.0f}", f"{o.promised_g:.0f}", f"{o.used_g:.0f}",
         "" if o.lasts_days is None else f"{o.lasts_days:.0f}", f"{o.order_g:.0f}"]
        for o in orders
    ]  # fmt: skip
    head = ["Ink", "in stock", "promised", f"used in {days} d", "lasts d", "order"]
    text = table(head, rows) if rows else f"enough of every counted ink for {days} days"
    return {"orders": [asdict(order) for order in orders]}, text


def lots(session: Session, args: argparse.Namespace) -> Answer:
    session.open_book()
    told = session.learned()
    answer: list[dict[str, Any]] = [
        {"ink": ink, "lot": lot, "strength": round(float(s), 4), "error": round(float(e), 4)}
        for each in told.lots.values()
        for ink, lot, s, e in zip(
            each.inks,
            each.lots,
            np.exp(each.mean),
            np.sqrt(np.diag(each.covariance)),
            strict=True,
        )
    ]
    rows = [[a["ink"], a["lot"], f"{a['strength']:.3f}", f"{a['error']:.3f}"] for a in answer]
    lines = [table(["Ink", "lot", "strength", "+-"], rows), *told.odd]
    return {"lots": answer, "words": list(told.words), "odd": list(told.odd)}, "\n".join(lines)


def label_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "--html", type=page, metavar="FILE", required=True, help="the page to write"
    )


def label(session: Session, args: argparse.Namespace) -> Answer:
    book = session.open_book()
    story = job(book, scanned(book, args.batch))
    if not qr_svg("1"):
        say(
            "no QR code: the package segno is missing; in the folder of matchkit run: "
            'pip install -e ".[label]"'
        )
    write_file(Path(args.html), label_html(book, session.files, story))
    return {"written": args.html}, f"written: {args.html}"
