"""A command opens each file of the shop once, as Python's own audit hook hears it (PEP 578).

The record book is a database: each of its short transactions connects anew, on purpose.
"""

import shlex
import shutil
import sys
from collections import Counter
from pathlib import Path

import pytest
from pins import RELEASE

from matchkit.cli import main
from matchkit.files.shop import read_shop
from matchkit.workflows import session


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("once") / "shop"
    shutil.copytree(RELEASE / "shop", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session, "read_shop", read_shop)  # which tests else remember
        yield folder


@pytest.fixture(scope="module")
def opened(shop):
    """Files of the shop by how often they were opened; counts while `on` is there."""
    counts: Counter[str] = Counter()

    def hook(event, args):
        if event == "open" and "on" in counts and isinstance(args[0], str):
            path = Path(args[0])
            if shop in path.parents and not path.name.startswith((".", "book.db")):
                counts[path.relative_to(shop).as_posix()] += 1

    sys.addaudithook(hook)  # stays as long as the process, and does nothing after this file
    yield counts
    counts.clear()


COMMANDS = {
    "match": "SHOP SHOP/targets.csv --name 'Sea teal' --max-inks 2",
    "check": "SHOP SHOP/example/target.csv SHOP/example/measured.csv",
    "predict": "SHOP SHOP/example/weighed.csv",
    "cover": "SHOP SHOP/example/weighed.csv --over 'navy tee'",
    "correct": "SHOP SHOP/example/target.csv --weighed SHOP/example/weighed.csv"
    " --measured SHOP/example/measured.csv",
    "book today": "",
    "book stock": "",
    "book show": "18",
    "book ticket": "15",
}


@pytest.mark.parametrize("name", COMMANDS)
def test_each_file_is_opened_once(name, shop, opened):
    command = f"book SHOP {name[5:]}" if name.startswith("book") else name
    words = shlex.split(f"{command} {COMMANDS[name]}".replace("SHOP", str(shop)))
    opened.clear()
    opened["on"] = 0
    status = main(words)
    del opened["on"]
    if status:
        pytest.fail(f"{name} ended with {status}")
    assert opened or name == "book today"
    assert [file for file, times in opened.items() if times > 1] == []
