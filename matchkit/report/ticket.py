"""A ticket to weigh by, as a page to print."""

from matchkit.paper.ticket import Ticket
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.report.parts import Page


def ticket_page(made: Ticket) -> Page:
    """The page of a ticket."""
    title = f"Weigh-out ticket {made.job or made.target}".rstrip()
    return Page(title=title, html=ticket_html(made))
