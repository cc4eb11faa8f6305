"""The one page of names that a program needs."""

import inspect
import pydoc
import re
import subprocess
import sys

import numpy as np
import pytest

import matchkit

NAMES = [name for name in matchkit.__all__ if name not in ("colorimetry", "optics")]


def test_importing_costs_nothing_until_a_name_is_used() -> None:
    code = "import sys, matchkit; print('numpy' in sys.modules, matchkit.optics.__name__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "matchkit.optics"]


@pytest.mark.parametrize("name", NAMES)
def test_every_name_is_there_with_an_example(name: str) -> None:
    thing = getattr(matchkit, name)
    texts = [inspect.getdoc(thing) or ""]
    if inspect.isclass(thing):
        texts += [inspect.getdoc(each) or "" for _, each in inspect.getmembers(thing)]
    assert any(">>>" in text for text in texts), f"{name} has no example"


def test_help_on_the_package_says_in_a_line_what_each_name_is() -> None:
    text = pydoc.plain(pydoc.render_doc(matchkit))
    for name in matchkit.__all__:
        assert re.search(rf"^ +{name}\b.*? {{2,}}\w", text, re.MULTILINE), name


def test_what_is_not_there_is_told() -> None:
    with pytest.raises(AttributeError, match="nothing"):
        matchkit.nothing  # noqa: B018
    assert set(NAMES) <= set(dir(matchkit))


def test_a_batch_from_colour_to_correction() -> None:
    shop = matchkit.demo_shop()
    colour = shop.targets["Sea teal"]
    target = matchkit.Target.from_spectrum(colour, shop.settings.lights, shop.settings.observer)
    best = matchkit.match(shop, target, batch_g=500).formulas[0].formula
    grams = dict(zip(best.inks, best.grams, strict=True))
    np.testing.assert_allclose(
        matchkit.predict(shop, grams).to_dict()["lab"]["D65"], best.lab[0], atol=2e-4
    )
    assert matchkit.check(shop, target, best.R).verdict.passed
    advice = matchkit.correct(shop, target, grams, best.R)
    assert advice.de00_before[0] < 0.1
    assert matchkit.ticket(shop, grams, batch_g=500).rows
    assert set(advice.to_dict()) >= {"additions", "de00", "choices"}


def test_what_no_instrument_and_no_balance_shows_is_refused_with_words() -> None:
    shop, grams = matchkit.demo_shop(), {"Quay White": 90.0, "Kelp Green": 10.0}
    R = shop.targets["Sea teal"]
    target = matchkit.Target.from_spectrum(R)
    wrong = [
        ("percent", lambda: matchkit.Target.from_spectrum(100 * R)),
        ("percent", lambda: matchkit.check(shop, target, 100 * R)),
        ("not a number", lambda: matchkit.correct(shop, target, grams, np.nan * R)),
        ("31 values", lambda: matchkit.correct(shop, target, grams, R[:9])),
        ("0 or more", lambda: matchkit.predict(shop, {**grams, "Quay White": -5.0})),
        ("0 or more", lambda: matchkit.correct(shop, target, {**grams, "Quay White": np.nan})),
        ("in grams", lambda: matchkit.correct(shop, target, dict.fromkeys(grams, 0.0))),
        ("top: found 0", lambda: matchkit.match(shop, target, top=0)),
    ]
    for words, ask in wrong:
        with pytest.raises(matchkit.InputError, match=words):
            ask()
