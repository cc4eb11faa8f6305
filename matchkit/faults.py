"""What a person reads when something they handed in is wrong."""

from collections.abc import Sequence

__all__ = ["BadInput"]


class BadInput(ValueError):
    """Every fault found in one go, one line each: where, what was found, what to do.

    >>> BadInput(["inks.csv row 3: role is 'colur'; write white, black, clear or colour"]).faults
    ("inks.csv row 3: role is 'colur'; write white, black, clear or colour",)
    """

    def __init__(self, faults: Sequence[str] | str) -> None:
        self.faults = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("\n".join(self.faults))

    def _render_traceback_(self) -> list[str]:
        """What a notebook prints in place of a traceback, which asks for this by its name."""
        return list(self.faults)
