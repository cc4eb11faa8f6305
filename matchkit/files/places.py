"""Where the data and notebooks that come with the package are."""

from pathlib import Path

PACKAGE = Path(__file__).parents[1]


def data_folder() -> Path:
    """The folder ``data``: inside an installed package, or beside it in a checkout."""
    return _shipped("data")


def notebooks_folder() -> Path:
    """The folder ``notebooks``, likewise."""
    return _shipped("notebooks")


def _shipped(name: str) -> Path:
    installed = PACKAGE / f"_{name}"
    return installed if installed.is_dir() else PACKAGE.parent / name
