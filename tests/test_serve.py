"""The job page as a server: who gets in, what it gives out, and that the shop's folder is data."""

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from http.cookiejar import CookieJar
from importlib.util import find_spec
from pathlib import Path
from urllib.error import HTTPError

import pytest

from matchkit.errors import InputError
from matchkit.files.write import opened_shops, remember_shop
from matchkit.workflows.serving import Served, launcher, page_server

# It takes seconds to load, in every process that tests run in, and works in its own here.
if not find_spec("voila"):
    pytest.skip("voila is not installed", allow_module_level=True)

PATIENCE_S = 240


def opener() -> urllib.request.OpenerDirector:
    """A browser of its own, with cookies; a login page is told by where it ends."""
    cookies = urllib.request.HTTPCookieProcessor(CookieJar())
    return urllib.request.build_opener(urllib.request.ProxyHandler({}), cookies)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory, fitted_demo: Path) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("page")
    shop = folder / "shop"
    shutil.copytree(fitted_demo, shop)
    # What a stranger may have left in the shop's folder must change nothing.
    (shop / "voila.json").write_text('{"Voila": {"token": "", "ip": "0.0.0.0"}}')
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MATCHKIT_SETTINGS", str(folder / "settings"))
        served = page_server(shop, folder / "work", port=18870, browser=False)
        own = {**os.environ, **served.environment}
    server = subprocess.Popen(served.words, env=own, cwd=folder / "work", start_new_session=True)
    try:
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until and server.poll() is None:
            try:
                opener().open(served.address.split("?")[0] + "login", timeout=5).close()
                break
            except OSError:
                time.sleep(0.2)
        yield served
    finally:
        os.killpg(server.pid, 9)
        server.wait()


def test_the_link_shows_the_page_and_nothing_of_it_comes_from_outside(running: Served) -> None:
    with opener().open(running.address, timeout=PATIENCE_S) as answer:
        text = answer.read().decode()
    assert "login" not in answer.geturl()
    tags = re.findall(r"<(?:link|script|img)[^>]*(?:href|src)=\"([^\"]+)\"", text)
    assert tags
    assert not [link for link in tags if link.startswith(("http:", "https:", "//"))]
    assert "matchkit.forms" not in text  # no code is shown


@pytest.mark.parametrize(
    "place", ["", "?token=wrong", "voila/files/page.ipynb", "api/kernels", "api/contents"]
)
def test_without_the_secret_there_is_nothing_but_the_login(running: Served, place: str) -> None:
    try:
        with opener().open(running.address.split("?")[0] + place, timeout=60) as answer:
            assert "/login" in answer.geturl()
    except HTTPError as error:
        error.close()
        assert error.code in (403, 404)


def test_no_file_is_served_to_who_has_the_secret(running: Served) -> None:
    base, secret = running.address.split("?")
    for name in ("page.ipynb", "../config/voila.json", "config/voila.json"):
        with pytest.raises(HTTPError) as caught:
            opener().open(f"{base}voila/files/{name}?{secret}", timeout=60)
        caught.value.close()
        assert caught.value.code in (403, 404)


def test_the_page_listens_on_this_machine_unless_it_is_asked_for_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "own"))
    alone = page_server(tmp_path, tmp_path / "a", port=18900)
    assert '"ip": "127.0.0.1"' in (tmp_path / "a" / "config" / "voila.json").read_text()
    assert alone.notes == ()
    shared = page_server(tmp_path, tmp_path / "b", port=18900, lan=True, password="quay street")
    assert '"ip": "0.0.0.0"' in (tmp_path / "b" / "config" / "voila.json").read_text()
    assert "not encrypted" in shared.notes[0]
    assert "quay street" not in shared.address
    assert "quay street" not in " ".join(shared.words)
    with pytest.raises(InputError, match="8 or more"):
        page_server(tmp_path, tmp_path / "c", port=18900, lan=True, password="short")
    if os.name == "posix":
        assert (tmp_path / "b" / "config" / "voila.json").stat().st_mode & 0o77 == 0


def test_the_words_start_this_interpreter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "own"))
    assert page_server(tmp_path, tmp_path / "w", port=18900).words[0] == sys.executable


def test_a_double_click_starts_this_very_page(tmp_path: Path) -> None:
    shop = tmp_path / "Ann's shop"
    path = launcher(shop, tmp_path, "linux")
    words = shlex.split(path.read_text().splitlines()[1])
    assert words == ["exec", sys.executable, "-m", "matchkit", "serve", str(shop.resolve())]
    assert os.name != "posix" or os.access(path, os.X_OK)
    assert launcher(shop, tmp_path, "win32").read_bytes().count(b"\r\n") == 3
    with pytest.raises(InputError, match="there already"):
        launcher(shop, tmp_path, "linux")


def test_the_link_is_the_same_at_every_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "own"))
    first, again = (page_server(tmp_path, tmp_path / name, port=18900) for name in "ab")
    assert first.address == again.address
    assert len(first.address.split("token=")[1]) > 20
    if os.name == "posix":
        assert (tmp_path / "own" / "page-secret.txt").stat().st_mode & 0o77 == 0


def test_shops_that_were_opened_are_offered_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "own"))
    assert opened_shops() == []
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second, first):
        folder.mkdir(exist_ok=True)
        remember_shop(folder)
    assert opened_shops() == [first, second]
    second.rmdir()
    assert opened_shops() == [first]
