"""Remake the stored outputs of the notebooks: ``python notebooks/remake.py [NAME...]``.

Every notebook is run from top to bottom on the demo shop, and what it shows without
widgets is stored: text, tables, pictures.  On one set-up the files come out the same byte
for byte.  With ``--check`` nothing is written, and the exit status says if text differs.
"""

import json
import os
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient

HERE = Path(__file__).parent
WIDGET = "application/vnd.jupyter.widget-view+json"
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
TIMEOUT_S = 60
NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


def paths() -> list[Path]:
    """The notebooks, in the order of the work."""
    return sorted(HERE.glob("[0-9]*.ipynb"))


def remade(path: Path) -> Any:
    """A notebook, run anew, without widgets, time stamps or anything of this machine."""
    book = nbformat.read(path, as_version=4)
    for number, cell in enumerate(book.cells, start=1):
        cell.id, cell.metadata = f"cell-{number:02d}", {}
    with tempfile.TemporaryDirectory() as folder:
        _run(book, folder)
    book.metadata = nbformat.from_dict(METADATA)
    for cell in book.cells:
        if cell.cell_type == "code":
            # No counts: an empty prompt shows the reader that the cell was not run here yet.
            cell.outputs = [each for each in cell.outputs if WIDGET not in each.get("data", {})]
            cell.metadata, cell.execution_count = {}, None
            for output in cell.outputs:
                if output.output_type == "execute_result":
                    output.execution_count = None
    return book


def _run(book: Any, folder: str) -> None:
    """Run in a folder of its own; what a kernel says when it starts goes nowhere."""
    client = NotebookClient(
        book,
        timeout=TIMEOUT_S,
        kernel_name="python3",
        record_timing=False,
        store_widget_state=False,
        resources={"metadata": {"path": folder}},
    )
    alone = {"IPYTHONDIR": folder, "MATCHKIT_FORMS_RAISE": "1", "JUPYTER_PREFER_ENV_PATH": "1"}
    own = {name: os.environ.get(name) for name in alone}
    os.environ.update(alone)
    try:
        with Path(os.devnull).open("w") as nowhere:
            client.execute(stderr=nowhere)
    finally:
        for name, value in own.items():
            os.environ.pop(name) if value is None else os.environ.__setitem__(name, value)


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
    status = 0
    for path in [HERE / name for name in names] or paths():
        before, book = nbformat.read(path, as_version=4), remade(path)
        wrong = differences(shown(before), shown(book))
        if not check:
            path.write_text(written(book), encoding="utf-8")
        elif wrong:
            status = 1
            print(f"{path.name}:", *wrong, sep="\n")
        print(path.name, f"{path.stat().st_size / 1000:.0f} kB")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
