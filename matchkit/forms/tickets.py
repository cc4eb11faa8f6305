"""The part of a form that makes a ticket: its entries, a preview, and the saved page."""

from collections.abc import Callable
from datetime import date
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.write import csv_text
from matchkit.forms.parts import Field, alert, area, boxed, button, choice, put, row, section, tell
from matchkit.forms.shops import FIRST_POUR, OpenShop, keep
from matchkit.inks.recipe import as_ink
from matchkit.matching.rank import Candidate
from matchkit.matching.solve import Target
from matchkit.paper.jobsize import JobSize
from matchkit.paper.ticket import CONTAINERS_ML, Container, ticket
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.report.parts import Page

__all__ = ["UNKNOWN", "Batch", "TicketPart", "container_named", "ticket_page"]

# The target's name, the target (None: there is none), what to weigh.
Batch = tuple[str, Target | None, Candidate]
HELD = (("nothing", 0.0), ("10 % of each colour", 0.1), ("20 % of each colour", 0.2))
UNKNOWN = "not said"


def ticket_page(
    opened: OpenShop,
    batch: Batch,
    *,
    job: str = "",
    day: str = "",
    container: str = UNKNOWN,
    letdowns: bool = False,
    held_share: float = 0.0,
    size: JobSize | None = None,
) -> Page:
    """The printable ticket of a batch; `held_share` of each colour goes in last."""
    name, target, candidate = batch
    shop = opened.shop
    made = ticket(
        candidate,
        target,
        shop,
        target_name=name,
        job=job,
        date=day,
        use_letdowns=letdowns,
        container=container_named(container),
        job_size=size,
        inks=(*shop.inks, *(as_ink(mix, shop.inks) for mix in shop.mixes)),
        hold_back=_held_back(opened, candidate, held_share),
    )
    return Page(title=f"Weigh-out ticket {job or name}", html=ticket_html(made))


def container_named(name: str) -> Container | None:
    """What a form's list names, or None where it is not said."""
    return Container(name=name, volume_ml=CONTAINERS_ML[name]) if name in CONTAINERS_ML else None


class TicketPart:
    """`batch` gives what the ticket is for; InputError where there is nothing yet.

    `size` gives how much ink the job needs.  A form that asks for the container itself
    hands its `container` in.
    """

    def __init__(
        self,
        opened: OpenShop,
        batch: Callable[[], Batch],
        number: int,
        *,
        size: Callable[[], JobSize | None] = lambda: None,
        container: Any = None,
    ) -> None:
        self.opened, self.batch, self.size = opened, batch, size
        self.problems, self.saved, self.page = alert(), area(), area()
        self.job = Field("Job or customer", "", _job, short=False)
        self.container = container or choice("Mixed in", [UNKNOWN, *CONTAINERS_ML])
        asked = [] if container else [boxed(self.container)]
        self.letdowns = w.Checkbox(
            description="Weigh very small amounts from letdowns", indent=False
        )
        self.hold = choice("Hold back until the first drawdown", HELD, 0.0)
        self.preview = button("Show the ticket", self.look, self.problems)
        self.save = button("Save the ticket", self.write, self.problems, main=True)
        self.box = section(
            f"{number}. The ticket",
            row(self.job.box, *asked, boxed(self.hold)),
            self.letdowns,
            row(self.preview, self.save),
            self.problems,
            self.saved,
            self.page,
        )

    def look(self) -> None:
        """Show the ticket, without saving it."""
        self.saved.value = ""
        put(self.page, [self._page(self.batch())])

    def write(self) -> None:
        """Save the page and its weights, and show it ready to print."""
        name, _, candidate = batch = self.batch()
        page = self._page(batch)
        title = self.job.value or name
        path = keep(title, ".html", page.html)
        step = self.opened.shop.resolution_g
        held = _held_back(self.opened, candidate, self.hold.value)
        whole = list(zip(candidate.inks, candidate.grams, strict=True))
        keep(path.stem, ".csv", csv_text(["ink", "grams"], whole))
        lines = [f"Saved: {path.resolve()}", f"The formula is beside it, in {path.stem}.csv."]
        if held:
            first = [(i, round(round(g * held.get(i, 1.0) / step) * step, 6)) for i, g in whole]
            kept = keep(path.stem, f"{FIRST_POUR}.csv", csv_text(["ink", "grams"], first))
            lines.append(
                f"What is in the bucket at the first drawdown, without what is held back, is in"
                f" {kept.name}: correcting starts from that."
            )
        tell(self.saved, lines, "done")
        put(self.page, [page])

    def clear(self) -> None:
        """No ticket of an older formula stays in sight."""
        self.saved.value = self.page.value = self.problems.value = ""

    def _page(self, batch: Batch) -> Page:
        return ticket_page(
            self.opened,
            batch,
            job=self.job.value,
            day=date.today().isoformat(),
            container=self.container.value,
            letdowns=self.letdowns.value,
            held_share=self.hold.value,
            size=self.size(),
        )


def _job(text: str) -> str:
    if len(text) > 60:
        raise InputError("longer than 60 letters; the ticket has no room for it")
    return text.strip()


def _held_back(opened: OpenShop, candidate: Candidate, share: float) -> dict[str, float]:
    """The share of each colour that is weighed first."""
    roles = {ink.name: ink.role for ink in opened.shop.inks}
    colours = [name for name in candidate.inks if roles.get(name) in ("colour", "black")]
    return {name: 1 - share for name in colours} if share else {}
