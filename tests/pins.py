"""What the commands answer today, and the pages they write, on the shop of the first release.

    python tests/pins.py            compares with tests/authorities/pins, as test_pins.py does
    python tests/pins.py --write    stores the answers anew, after a change on purpose

Every command runs in this process, in a copy of the shop, at a fixed time.  An answer is
JSON, what was said beside it, and the words of pages; terminal text is pinned for a few.
Numbers are kept to six digits and compared to one unit of the last digit kept, since
processors round otherwise.
"""

import contextlib
import difflib
import io
import json
import math
import os
import re
import shlex
import shutil
import sys
import tempfile
import time
from datetime import UTC, date, datetime
from html import unescape
from pathlib import Path

import matchkit.book.store
from matchkit.cli import main
from matchkit.report.corrections import addition_page
from matchkit.workflows.correcting_batch import correct_batch
from matchkit.workflows.session import Session
from tests.studies import blind_accuracy

AUTHORITIES = Path(__file__).parent / "authorities"
RELEASE = AUTHORITIES / "first_release"
PINS = AUTHORITIES / "pins"
NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)  # two days after the last record of the book

# Name: the words of the command.  They run in this order; the verbs that write come last.
RUNS = {
    "match": "match shop shop/targets.csv --name 'Sea teal'",
    "match-reference-lots": "match shop shop/targets.csv --name 'Wet moss' --reference-lots --all",
    "match-lab": "match shop --lab 62.5,18,24 --light A --observer 2",
    "match-leftover": "match shop shop/targets.csv --name 'Sea teal' --use 'Regatta rest'",
    "match-leftovers": "match shop shop/targets.csv --name 'Sea teal' --leftovers --max-inks 2",
    "match-trade-offs": "match shop shop/targets.csv --name 'Dusty rose' --trade-offs --top 3",
    "match-out-of-gamut": "match shop shop/targets.csv --name 'Ripe amber' --prefer odds",
    "match-over": "match shop shop/targets.csv --name 'Pale mint' --over 'navy tee'"
    " --thickness 60 --underbase 50 --top 2",
    "match-ticket": "match shop shop/targets.csv --name 'Walnut brown' --grams 400 --ticket"
    " match_ticket.html --recipe walnut.csv --job Vests --date 2026-04-01 --container 'US quart'"
    " --hold-back auto --letdowns --additive Puff=5",
    "check": "check shop shop/example/target.csv shop/example/measured.csv",
    "check-lab": "check shop --lab 55,-28,-10 shop/example/measured.csv",
    "compare": "compare shop beside/coral_target.csv beside/coral.csv --match 3 --light LED-B3"
    " --sheet customer.html --job Tees --date 2026-04-01",
    "correct": "correct shop shop/example/target.csv --weighed shop/example/weighed.csv"
    " --measured shop/example/measured.csv",
    "correct-over-pour": "correct shop beside/coral_target.csv --weighed beside/coral_weighed.csv"
    " --measured beside/coral_first.csv --room 300",
    "correct-looks": "correct shop shop/example/target.csv --weighed shop/example/weighed.csv"
    " --looks 'a touch red, too dark'",
    "correct-while-weighing": "correct shop beside/coral_target.csv --plan beside/coral.csv"
    " --weighed beside/coral_weighed.csv",
    "predict": "predict shop beside/coral.csv",
    "ticket": "ticket shop beside/coral.csv --target beside/coral_target.csv --html ticket.html"
    " --job Tees --date 2026-04-01 --prints 200 --size 30x40cm --wet 60",
    "cover": "cover shop shop/example/weighed.csv --over 'navy tee' --underbase 50",
    "jobsize": "jobsize shop shop/example/weighed.csv --prints 200 --size 30x40cm --mesh 38"
    " --transfer 60 --coverage 40 --container 'US gallon'",
    "instrument": "instrument shop --date 2026-04-01",
    "plan": "plan shop --rungs 3 --html plan.html",
    "plan-ink": "plan shop --ink 'Kelp Green' --grams 20",
    "import-preview": "import beside/targets.txt shop --preview",
    "library": "library shop beside/three_targets.csv --into beside/library.csv --anew",
    "practice": "practice --seed 3 --rung 2 --count 1 --sheet practice.html --answers",
    "practice-learner": "practice --kind see --seed 1 --learner beside/learner.jsonl --mark"
    " see-1-2=a",
    "new": "new ours --shop-name 'Tern Street' --geometry 45/0 --condition M1 --inks"
    " White:white,Black:black,Clear:clear,Lemon:colour --rungs 3",
    "plan-write": "plan ours --rungs 3 --write --weigh-sheet sheet.csv",
    "plan-weighed": "plan ours --weighed sheet.csv",
    "book-today": "book shop today",
    "book-tickets": "book shop tickets --html tickets.html --date 2026-04-01",
    "book-use-up": "book shop use-up --grams 300",
    "book-show": "book shop show 18",
    "book-find": "book shop find --customer Kite",
    "book-find-colour": "book shop find --like beside/coral_target.csv --within 4",
    "book-stock": "book shop stock",
    "book-reorder": "book shop reorder --days 60",
    "book-lots": "book shop lots",
    "book-drift": "book shop drift 'Sharp Lemon'",
    "book-pass-shares": "book shop pass-shares --of mixer",
    "book-label": "book shop label 18 --html label.html",
    "book-ticket": "book shop ticket 15 --html book_ticket.html --date 2026-04-01",
    "book-check": "book shop check",
    "book-backup": "book shop backup copy.db",
    "book-export": "book shop export exported",
    "book-reprint": "book shop reprint 2 --grams 300",
    "book-correct": "book shop correct 13",
    "book-log-match": "book shop log-match shop/targets.csv --name 'Clotted cream' --grams 600"
    " --job Awnings --customer 'Ferry Cafe' --due 2026-04-09",
    "book-begin": "book shop begin --again 2 --grams 250 --due 2026-04-10",
    "book-weigh": "book shop weigh 15 --as-planned",
    "book-measure": "book shop measure 14 shop/measured/2026-03-27.csv",
    "book-add": "book shop add 13 beside/coral_added.csv",
    "book-close": "book shop close 12 approved --approved-by 'Ms Night' --light D65",
    "book-leftover": "book shop leftover 12 40 'Rose rest'",
    "book-import-paper": "book shop import-paper beside/cards.csv --again",
    "book-open-batch": "book shop open-batch 17 --grams 350 --job Aprons --due 2026-04-10",
    "book-count": "book shop count 'Ebb Clear' 900",
    "book-deliver": "book shop deliver 'Dusk Violet' 500 --lot V-030",
    "book-check-lot": "book shop check-lot 'Kelp Green' G-078 beside/green_lot.csv --percent 10",
    "book-lot": "book shop lot 'Kelp Green' G-077",
    "book-mend": "book shop mend 13 --due 2026-04-12",
    "book-strike": "book shop strike movement 1 --why 'the wrong shelf'",
    "book-restore": "book ours restore copy.db",
    "book-retire": "book ours retire Lemon",
    "rehearse": "rehearse --targets 2 --drawdowns 3 --seed 5",
}
TEXTS = ("match", "check", "correct-over-pour", "book-show", "book-today")
PROGRESS = re.compile(r": \d+ of \d+")  # shown to those who wait, and so by the clock
PAGES = (
    *("page-ticket", "page-match_ticket", "page-book_ticket", "page-customer", "page-plan"),
    *("page-practice", "page-label", "page-slip"),
)
BATCHES = 20  # of the book of the first release
SLIP_OF = 13  # the batch whose addition is put on a slip


def copied(folder):
    """The shop of the first release and what lies beside it, copied into `folder`."""
    for part in ("shop", "beside"):
        shutil.copytree(RELEASE / part, folder / part)


@contextlib.contextmanager
def at_home(folder):
    """In `folder`, at `NOW`, in UTC; all of it is put back."""

    class Clock(datetime):
        @classmethod
        def now(cls, tz=None):
            return NOW.astimezone(tz)

    before, zone, real = Path.cwd(), os.environ.get("TZ"), matchkit.book.store.datetime
    os.chdir(folder)
    _zone("UTC")
    matchkit.book.store.datetime = Clock
    try:
        yield
    finally:
        matchkit.book.store.datetime = real
        _zone(zone)
        os.chdir(before)


def _zone(name):
    if name is None:
        os.environ.pop("TZ", None)
    else:
        os.environ["TZ"] = name
    if hasattr(time, "tzset"):
        time.tzset()


def run(words, as_json=True):
    """Status, standard output and standard error of one command."""
    words = shlex.split(words) + (["--json"] if as_json else [])
    words += ["--by", "Ana"] if words[0] == "book" else []
    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        status = main(words)
    return status, out.getvalue(), said.getvalue()


def answers():
    """All that is pinned, by name; to be called `at_home` in a folder that was `copied` to."""
    found = {}
    for name, words in RUNS.items():
        text = _lines(run(words, as_json=False)[1]) if name in TEXTS else None
        status, out, said = run(words)
        found[name] = {"status": status, "answer": json.loads(out), "said": _lines(said)}
        if text:
            found[name]["text"] = text
        if name == "book-correct":
            found["page-slip"] = words_of(slip())
    for page in sorted(Path().glob("*.html")):
        found[f"page-{page.stem}"] = words_of(page.read_text(encoding="utf-8"))
    found["blind-accuracy"] = accuracy()
    return {name: plain(each) for name, each in found.items()}


def figures():
    """What the book of the first release tells, before anything is added to it."""
    batches = range(1, BATCHES + 1)
    return plain(
        {
            "stock": json.loads(run("book shop stock")[1])["stock"],
            "lots": json.loads(run("book shop lots")[1])["lots"],
            "batches": [json.loads(run(f"book shop show {batch}")[1]) for batch in batches],
        }
    )


def slip():
    """The slip of an addition, as the form prints it."""
    session = Session("shop")
    found = correct_batch(session, SLIP_OF)
    return addition_page(found, found.least, session.files, NOW.date().isoformat()).html


def accuracy():
    """The small sister of the study: one bench, a few mixtures."""
    found = blind_accuracy.errors(blind_accuracy.SEEDS[:1], 20, 3)
    return {
        theory: {kind: sorted(e.tolist())[len(e) // 2] for kind, e in kinds.items()}
        for theory, kinds in found.items()
    }


def words_of(page):
    """The words of a page, a line for each block of it."""
    text = re.sub(r"<(style|title).*?</\1>", "", page, flags=re.DOTALL)
    text = re.sub(r"\s+", " ", text)
    text = re.sub(r"</(p|tr|li|h\d|div|svg)>|<br>", "\n", text)
    return _lines(unescape(re.sub(r"(<[^>]+>\s*)+", " ", text)))


def _lines(text):
    today = date.today().isoformat()
    lines = (line.strip().replace(today, "TODAY") for line in text.splitlines())
    return [line for line in lines if line and not PROGRESS.search(line)]


def plain(value):
    """The value with floats to six digits."""
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return value


def differences(stored, found, where=""):
    """Where two answers differ, a line each."""
    if isinstance(stored, dict) and isinstance(found, dict):
        out = [f"{where}/{key}: is gone" for key in stored if key not in found]
        out += [f"{where}/{key}: is new" for key in found if key not in stored]
        for key in stored.keys() & found.keys():
            out += differences(stored[key], found[key], f"{where}/{key}")
        return sorted(out)
    if isinstance(stored, list) and isinstance(found, list):
        if all(isinstance(each, str) for each in [*stored, *found]):
            return _line_differences(stored, found, where)
        if len(stored) != len(found):
            return [f"{where}: had {len(stored)} entries, has {len(found)}"]
        pairs = enumerate(zip(stored, found, strict=True))
        return [line for k, (a, b) in pairs for line in differences(a, b, f"{where}[{k}]")]
    if same(stored, found):
        return []
    return [f"{where}: was {stored!r}, is {found!r}"]


def _line_differences(stored, found, where):
    """As `diff` tells it, where more than the last digits of a line differ."""
    if len(stored) == len(found) and all(map(same, stored, found)):
        return []
    known = [next((old for old in stored if same(old, line)), line) for line in found]
    told = difflib.unified_diff(stored, known, lineterm="", n=0)
    return [f"{where}: {line}" for line in told if not line.startswith(("---", "+++", "@@"))]


def same(stored, found):
    """Whether two values agree, numbers to one unit of the last digit that is kept."""
    if isinstance(stored, str) and isinstance(found, str):
        return stored == found or (
            NUMBER.sub("#", stored) == NUMBER.sub("#", found)
            and all(map(_near, NUMBER.findall(stored), NUMBER.findall(found)))
        )
    numbers = [type(each) in (int, float) for each in (stored, found)]
    if all(numbers) and float in (type(stored), type(found)):
        return _near(repr(stored), repr(found))
    return type(stored) is type(found) and stored == found


NUMBER = re.compile(r"\d+\.\d+(?:e-?\d+)?")


def _near(stored, found):
    """Whether two numbers as text are a unit of the coarser last digit apart at most."""
    unit = max(10.0 ** -len(each.partition("e")[0].partition(".")[2]) for each in (stored, found))
    unit = min(unit, 1e-6) if "e" in stored + found else unit
    return math.isclose(float(stored), float(found), rel_tol=1e-5, abs_tol=1.01 * unit)


def stored():
    """The answers that are kept."""
    return {
        path.stem: json.loads(path.read_text(encoding="utf-8"))
        for path in sorted(PINS.glob("*.json"))
    }


def write(found):
    """Keep the answers, a file each, lists of numbers on one line."""
    shutil.rmtree(PINS, ignore_errors=True)
    PINS.mkdir()
    for name, each in found.items():
        text = json.dumps(each, ensure_ascii=False, indent=1)
        text = re.sub(r"\[[-\d.e,\s]+\]", lambda m: re.sub(r"\s+", " ", m[0]), text)
        (PINS / f"{name}.json").write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        copied(Path(made))
        with at_home(made):
            now = answers()
    if "--write" in sys.argv:
        write(now)
    else:
        print(*differences(stored(), now), sep="\n")
