"""What every printed page must hold to, asked of its HTML."""

import re
import shutil
import subprocess
import unicodedata
from html.parser import HTMLParser

import pytest

CHROMIUM = pytest.mark.skipif(shutil.which("chromium") is None, reason="no Chromium")

VOID = {"meta", "input", "br", "link", "img", "hr"}
OUTSIDE = re.compile(r"https?:|//|url\(|@import|<script|<link|<img|<iframe|<object", re.IGNORECASE)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.faults: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)
        self.faults += [f"{tag} {name}" for name, _ in attrs if name.startswith("on")]

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> out of place")

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def read_page(page: str) -> str:
    """The words of a page, after checking that its tags close and nothing comes from outside."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert not reader.faults
    assert not reader.open
    assert not OUTSIDE.search(page)
    assert page.startswith("<!doctype html>")
    assert '<meta charset="utf-8">' in page
    assert "print-color-adjust: exact" in page
    return "".join(reader.words)


def n_printed(place, page: str) -> int:
    """How many sheets of paper the browser prints a page on."""
    path, pdf = place / "page.html", place / "page.pdf"
    path.write_text(page, encoding="utf-8")
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={place}/profile", f"--print-to-pdf={pdf}", path.as_uri()],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


def columns(text: str) -> int:
    """Columns on a terminal: East Asian wide letters take two, marks none (UAX #11)."""
    shown = [c for c in text if unicodedata.category(c) not in ("Mn", "Me", "Cf")]
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in shown)
