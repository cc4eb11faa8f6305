"""How quick the job page is in a browser, alone and with five tablets at once.

    python -m tests.studies.page_speed       measures all of it (two minutes on an idle machine)

Seconds are those of the machine it runs on, medians of five unless it says otherwise; they
mean little while other programs are at work.
"""

import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1]))
from browser.driving import Page, open_browser

from matchkit.cli import main
from matchkit.files.write import data_folder

TIMES, TABLETS = 5, 5


def opened(page, link):
    """Seconds until a page that was asked for can be worked with."""
    started = time.perf_counter()
    page.goto(link, wait_until="commit")
    page.get_by_label("Your name").wait_for()
    return time.perf_counter() - started


def answered(page, words, there):
    """Seconds from a press until what it brings is seen."""
    started = time.perf_counter()
    page.get_by_role("button", name=words, exact=True).locator("visible=true").click()
    there.wait_for()
    return time.perf_counter() - started


def matched(page, name, again):
    """Seconds from a press to the formulas of a target; `again` where another's are in sight."""
    page.get_by_label("Target", exact=True).locator("visible=true").select_option(name)
    old = page.get_by_text("The entries above have changed since")
    if again:
        old.wait_for()
    started = time.perf_counter()
    page.get_by_role("button", name="Find formulas").click()
    page.get_by_text("Which formula do you want?").wait_for()
    old.wait_for(state="hidden")
    return time.perf_counter() - started


def at_once(pages, name, again):
    """Seconds from the presses on all pages to the formulas on each."""
    old = [page.get_by_text("The entries above have changed since") for page in pages]
    for page, words in zip(pages, old, strict=True):
        page.get_by_label("Target", exact=True).locator("visible=true").select_option(name)
        if again:
            words.wait_for()
    started, seconds = time.perf_counter(), []
    for page in pages:
        page.get_by_role("button", name="Find formulas").click(no_wait_after=True)
    for page, words in zip(pages, old, strict=True):
        page.get_by_text("Which formula do you want?").wait_for()
        words.wait_for(state="hidden")
        seconds.append(time.perf_counter() - started)
    return seconds


def study(folder):
    """Each number by what it is of."""
    shop = folder / "shop"
    shutil.copytree(data_folder() / "demo-shop", shop)
    main(["fit", str(shop)])
    served = Page(shop, folder)
    served.start()
    try:
        with open_browser(folder / "browser") as browser:
            page = browser.new_page()
            cold_s = opened(page, served.link)
            again_s = []
            for _ in range(TIMES):
                time.sleep(3)  # the server makes the next kernel ready meanwhile
                again_s.append(opened(page, served.link))
            steps = [("Shelf", "On the shelf"), ("Today", "1. Today's jobs")]
            for words, title in steps:  # made once, then only shown
                answered(page, words, page.get_by_role("heading", name=title))
            press_s = [
                answered(page, words, page.get_by_role("heading", name=title))
                for _ in range(TIMES)
                for words, title in steps
            ]
            answered(page, "New colour", page.get_by_role("heading", name="1. The colour"))
            targets = ("Sea teal", "Dusty rose", "Walnut brown")
            match_s = [matched(page, name, k > 0) for k, name in enumerate(targets)]
            tablets = [browser.new_page() for _ in range(TABLETS)]
            for each in tablets:
                opened(each, served.link)
                answered(each, "New colour", each.get_by_role("heading", name="1. The colour"))
            time.sleep(15)  # the server has made the next kernels ready, as in a shop at work
            first_s = at_once(tablets, "Dusty rose", again=False)
            later_s = at_once(tablets, "Sea teal", again=True)
    finally:
        served.kill()
    return {
        "load": round(os.getloadavg()[0], 1),
        "ready_cold_s": cold_s,
        "ready_again_s": median(again_s),
        "press_s": median(press_s),
        "match_s": median(match_s),
        "five_at_once_slowest_first_s": max(first_s),  # what a match needs is loaded by each
        "five_at_once_slowest_later_s": max(later_s),
    }


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        found = study(Path(place))
    print(json.dumps({name: round(value, 2) for name, value in found.items()}, indent=1))
