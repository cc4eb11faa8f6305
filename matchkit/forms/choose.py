"""The list from which a notebook's shop is chosen, once for all notebooks."""

from pathlib import Path
from typing import Any

from matchkit.files.write import opened_shops
from matchkit.forms import parts as ui
from matchkit.forms import shops
from matchkit.forms.book_demo import COPY
from matchkit.forms.shops import DEMO, OpenShop, choose_shop, chosen_shop

PRESS = "From now on the notebooks work with {}: press ▶▶ in the bar above once more."


def open_shop(folder: str | Path | None = None) -> OpenShop:
    """Open a shop: a named folder, or the one chosen in the list that is then shown.

    The choice is kept beside the notebooks and holds for all of them; before one is made it is
    the demo shop.  Returns what the forms take.

    >>> open_shop("demo-shop").shop.name
    'Quay Street Print Room'
    """
    opened = shops.open_shop(folder)
    if folder is None:
        from IPython.display import display

        display(shop_list())  # type: ignore[no-untyped-call]
    return opened


def shop_list() -> Any:
    """The shops beside this notebook and those that the job page opened, to choose from."""
    problems, told = ui.area(), ui.area()
    pick = ui.choice("Shop", _folders(), chosen_shop())

    def chosen() -> None:
        choose_shop(pick.value)
        ui.tell(told, PRESS.format(Path(pick.value).name), "done")

    pick.observe(ui.safe(chosen, problems), names="value")
    return ui.form(ui.boxed(pick), told, problems, name="shop")


def _folders() -> list[tuple[str, str]]:
    """What the list shows, and the folder it stands for; the chosen one even if it is gone."""
    beside = sorted(path.parent.name for path in Path().glob("*/shop.toml"))
    elsewhere = [each for each in opened_shops() if each.parent != Path().resolve()]
    names = dict.fromkeys([DEMO, *(each for each in beside if each != COPY)])
    listed = {each: each for each in names} | {
        f"{each.name} ({each.parent})": str(each) for each in elsewhere
    }
    if chosen_shop() not in listed.values():
        listed[chosen_shop()] = chosen_shop()
    return list(listed.items())
