"""Where the data and notebooks that come with the package are, and which shops were opened."""

import os
from contextlib import suppress
from pathlib import Path

PACKAGE = Path(__file__).parents[1]
SETTINGS = "MATCHKIT_SETTINGS"  # in the environment: a folder in place of the person's own
OPENED = "shops.txt"  # in that folder: the folders of shops, a line each, the last one first
MOST = 20  # shops that are remembered


def data_folder() -> Path:
    """The folder ``data``: inside an installed package, or beside it in a checkout."""
    return _shipped("data")


def notebooks_folder() -> Path:
    """The folder ``notebooks``, likewise."""
    return _shipped("notebooks")


def _shipped(name: str) -> Path:
    installed = PACKAGE / f"_{name}"
    return installed if installed.is_dir() else PACKAGE.parent / name


def opened_shops() -> list[Path]:
    """The folders of shops that were opened here, the last one first, as far as they are there."""
    try:
        lines = (_settings() / OPENED).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
    return [Path(line) for line in lines if line and Path(line).is_dir()]


def remember_shop(folder: Path) -> None:
    """Put a shop's folder first among those that were opened; no harm where that can't be kept."""
    own = folder.resolve()
    kept = [own, *(each for each in opened_shops() if each != own)][:MOST]
    with suppress(OSError):
        _settings().mkdir(parents=True, exist_ok=True)
        (_settings() / OPENED).write_text("\n".join(map(str, kept)) + "\n", encoding="utf-8")


def _settings() -> Path:
    if own := os.environ.get(SETTINGS):
        return Path(own)
    from platformdirs import user_config_path

    return user_config_path("matchkit", appauthor=False)
