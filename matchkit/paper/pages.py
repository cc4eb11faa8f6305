"""Printed pages: facts put into the templates of `templates/`.

A page is one HTML file without scripts or anything from outside; a browser prints it.
Nothing on it is told by colour alone, so a grey printer does.  Whatever is put into a
template is escaped there: names may be of any length and script.
"""

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from matchkit.paper.sheet import grams_text

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

FOOT = 60  # letters of the title at the foot of every page


def page(template: str, facts: Mapping[str, object], *, resolution_g: float = 0.01) -> str:
    """A whole HTML page made from `templates/<template>.html.j2`.

    `facts` are what the template speaks of, by name; `lang`, the language of the page, is
    "en" unless given.  A template writes grams by ``grams(g)``, with the decimals of a
    balance that shows steps of `resolution_g`.
    """
    made = _environment().get_template(f"{template}.html.j2")
    return made.render({"lang": "en", "grams": lambda g: grams_text(g, resolution_g)} | dict(facts))


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("matchkit.paper"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["css_string"] = _css_string
    return made


def _css_string(text: str) -> "Markup":
    """Text for a style sheet, where only plain letters and figures stand for themselves."""
    from markupsafe import Markup

    short = text if len(text) <= FOOT else text[:FOOT] + "..."
    plain = (c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in short)
    return Markup(f'"{"".join(plain)}"')
