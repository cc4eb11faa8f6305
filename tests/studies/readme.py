"""The parts of README that are results: made from runs and stored tables, never typed.

    python -m tests.studies.readme          rewrites them between their marks

A test holds README to what this script would write.
"""

import contextlib
import io
import json
import os
import re
import tempfile
from pathlib import Path

from matchkit.cli import COMMANDS, main
from tests.studies import (
    blind_accuracy,
    book_learning,
    films,
    first_formula,
    hard_accuracy,
    library_scale,
    many_starts,
    oil_films,
    rehearsal,
    speed,
    tinters,
    watercolours,
)

README = Path(__file__).parents[2] / "README.md"


def demo_output():
    """What `matchkit demo` prints from the match on."""
    printed = io.StringIO()
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(io.StringIO()):
                assert main(["demo"]) == 0
        finally:
            os.chdir(here)
    text = printed.getvalue()
    return "```\n" + text[text.index("$ matchkit match") :].strip() + "\n```"


def accuracy():
    """The blind accuracy table, from the stored study."""
    return blind_accuracy.markdown(stored(blind_accuracy))


def stored(study):
    """What a long study kept."""
    return json.loads(study.STORED.read_text(encoding="utf-8"))


def rehearsal_table():
    return rehearsal.markdown(stored(rehearsal))


def first_table():
    return first_formula.markdown(stored(first_formula))


def film_table():
    return films.markdown(stored(films)).split("\n\n")[0]


def slab_table():
    return films.markdown(stored(films)).split("\n\n")[1]


def paint_table():
    return watercolours.markdown(stored(watercolours))


def hard_table():
    return hard_accuracy.markdown(stored(hard_accuracy))


def oil_table():
    return oil_films.markdown(stored(oil_films))


def tinters_table():
    return tinters.markdown(stored(tinters))


def book_table():
    return book_learning.markdown(stored(book_learning))


def speed_table():
    starts = stored(many_starts)
    return (
        f"{speed.markdown(stored(speed))}\n\nThe ten best are the ten best there are: beside"
        f" descents of every subset of up to 4 of 16 inks from {many_starts.STARTS} random starts"
        f" ({starts['targets']} targets, half of them with limits), they were never worse by more"
        f" than {starts['worst']:.4f} (`python -m tests.studies.many_starts`)."
    )


def library_line():
    return library_scale.markdown(stored(library_scale))


def commands():
    """Every command and its line."""
    lines = ["| command | what it does |", "|---|---|"]
    return "\n".join(lines + [f"| `matchkit {name}` | {line} |" for name, line in COMMANDS.items()])


PARTS = {
    "demo output": demo_output,
    "blind accuracy": accuracy,
    "hard": hard_table,
    "rehearsal": rehearsal_table,
    "first formula": first_table,
    "book": book_table,
    "film": film_table,
    "slabs": slab_table,
    "paint": paint_table,
    "oil": oil_table,
    "tinters": tinters_table,
    "speed": speed_table,
    "library": library_line,
    "commands": commands,
}


def filled(text):
    """README with every part made anew."""
    for name, make in PARTS.items():
        start, end = f"<!-- {name} -->", f"<!-- /{name} -->"
        pattern = re.compile(re.escape(start) + ".*?" + re.escape(end), re.DOTALL)
        assert pattern.search(text), name
        made = f"{start}\n{make()}\n{end}"
        text = pattern.sub(lambda _, made=made: made, text)
    return text


if __name__ == "__main__":
    README.write_text(filled(README.read_text(encoding="utf-8")), encoding="utf-8")
