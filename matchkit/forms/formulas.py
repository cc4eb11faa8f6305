"""Whether a formula is mostly clear, by the inks of an opened shop."""

from matchkit.forms.shops import OpenShop
from matchkit.matching.rank import MOSTLY, Candidate, clear_share
from matchkit.report.formulas import shares

__all__ = ["is_mostly_clear", "shares"]


def is_mostly_clear(opened: OpenShop, formula: Candidate) -> bool:
    """Whether a formula is mostly clear."""
    return clear_share(formula, opened.shop.inks) > MOSTLY
