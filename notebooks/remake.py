"""Remake the stored outputs of the notebooks: ``python notebooks/remake.py [NAME...]``.

Every notebook is run from top to bottom on the demo shop, and what it shows without
widgets is stored: text, tables, pictures.  On one set-up the files come out the same byte
for byte.  With ``--check`` nothing is written, and the exit status says if text differs;
``--shop=DIR`` is a demo shop that is fitted already.

One kernel, emptied each time, runs them all: what they bring in is loaded once, and the
demo shop is fitted once.
"""

import contextlib
import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

from matchkit.cli import main as command
from matchkit.files.write import data_folder
from matchkit.report.html import STORING

HERE = Path(__file__).parent
WIDGET = "application/vnd.jupyter.widget-view+json"
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
FORM = {"deletable": False, "editable": False}
FOLDED = {"jupyter": {"outputs_hidden": True}}  # an example below its form, which it looks like
# No browser shows the forms here, so what they would send it is not sent.
UNHEARD = "__import__('comm').create_comm = __import__('comm').DummyComm"
TIMEOUT_S = 300  # of a cell, a hundredth of it on a quiet machine
NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


def paths() -> list[Path]:
    """The notebooks, in the order of the work."""
    return sorted(HERE.glob("[0-9]*.ipynb"))


def remade(path: Path, kernel: NotebookClient, place: Path) -> Any:
    """A notebook, run anew, without widgets, time stamps or anything of this machine."""
    book = nbformat.read(path, as_version=4)
    for number, cell in enumerate(book.cells, start=1):
        cell.id, cell.metadata = f"cell-{number:02d}", {}
    with tempfile.TemporaryDirectory(dir=place) as folder:
        shutil.copytree(place / "demo-shop", Path(folder) / "demo-shop")
        begin = nbformat.v4.new_code_cell(f"%cd -q {folder}\n%reset -f\n{UNHEARD}")
        alone = nbformat.from_dict({**book, "cells": [begin, *book.cells]})
        client = NotebookClient(
            alone, km=kernel.km, timeout=TIMEOUT_S, record_timing=False, store_widget_state=False
        )
        client.kc = kernel.kc
        client.execute()
    book.cells = alone.cells[1:]
    book.metadata = nbformat.from_dict(METADATA)
    below_form = False
    for cell in book.cells:
        if cell.cell_type == "code":
            # No counts: an empty prompt shows the reader that the cell was not run here yet.
            static = [each for each in cell.outputs if WIDGET not in each.get("data", {})]
            # A form is for its buttons: a stray key must not delete its cell.
            is_form = len(static) < len(cell.outputs)
            folded = below_form and cell.source.startswith("forms.stills.")
            cell.metadata = nbformat.from_dict(FORM if is_form else FOLDED if folded else {})
            below_form = is_form
            cell.outputs, cell.execution_count = static, None
            for output in cell.outputs:
                if "<iframe" in "".join(output.get("data", {}).get("text/html", "")):
                    del output.data["text/html"]  # a page: shown once the notebook is run
                if output.output_type == "execute_result":
                    output.execution_count = None
    return book


@contextlib.contextmanager
def running_kernel(demo: Path) -> Iterator[tuple[NotebookClient, Path]]:
    """A kernel, and a folder with the shop `demo`, fitted; what a kernel says goes nowhere."""
    with tempfile.TemporaryDirectory() as folder, Path(os.devnull).open("w") as nowhere:
        shop = Path(folder) / "demo-shop"
        shutil.copytree(demo, shop)
        if not (shop / "fit.json").exists():
            with contextlib.redirect_stdout(nowhere):
                command(["fit", str(shop)])
        os.environ.update(IPYTHONDIR=folder, MATCHKIT_FORMS_RAISE="1", JUPYTER_PREFER_ENV_PATH="1")
        os.environ[STORING] = "1"
        kernel = NotebookClient(nbformat.v4.new_notebook(), kernel_name="python3")
        kernel.create_kernel_manager()
        kernel.start_new_kernel(stderr=nowhere)
        kernel.start_new_kernel_client()
        try:
            yield kernel, Path(folder)
        finally:
            kernel._cleanup_kernel()


def written(book: Any) -> str:
    """The notebook as the text of its file."""
    return json.dumps(book, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def shown(book: Any) -> list[str]:
    """What a reader sees of each output: its text, and that there is a picture."""
    told = []
    for cell in book.cells:
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            pictures = [kind for kind in data if kind.startswith("image/")]
            told.append(
                " ".join([_joined(data.get("text/plain", output.get("text", ""))), *pictures])
            )
    return told


def differences(old: list[str], new: list[str]) -> list[str]:
    """Where two notebooks show something else; figures may differ a little between set-ups."""
    if len(old) != len(new):
        return [f"{len(old)} outputs are stored, {len(new)} came out"]
    return [f"stored: {a}\nnow:    {b}" for a, b in zip(old, new, strict=True) if not _alike(a, b)]


def _alike(a: str, b: str) -> bool:
    if NUMBER.sub("#", a).split() != NUMBER.sub("#", b).split():
        return False
    pairs = zip(map(float, NUMBER.findall(a)), map(float, NUMBER.findall(b)), strict=True)
    return all(abs(x - y) <= 0.02 + 0.002 * abs(x) for x, y in pairs)


def _joined(text: str | list[str]) -> str:
    return text if isinstance(text, str) else "".join(text)


def main(words: list[str]) -> int:
    """Remake the named notebooks, or all of them."""
    check, names = "--check" in words, [word for word in words if not word.startswith("--")]
    shops = [Path(word.removeprefix("--shop=")) for word in words if word.startswith("--shop=")]
    status = 0
    with running_kernel(*shops or [data_folder() / "demo-shop"]) as (kernel, place):
        for path in [HERE / name for name in names] or paths():
            try:
                book = remade(path, kernel, place)
            except CellExecutionError as error:
                wrong = [str(error)]
            else:
                wrong = differences(shown(nbformat.read(path, as_version=4)), shown(book))
                if not check:
                    path.write_text(written(book), encoding="utf-8")
                    wrong = []
            status |= bool(wrong)
            size = f"{path.stat().st_size / 1000:.0f} kB"
            print(path.name, "\n".join(["differs:", *wrong]) if wrong else size)
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
