"""What the book advises to add to a batch, as the form shows it."""

from matchkit.book.work import Advice
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.paper.sheet import grams_text
from matchkit.report.parts import Part

__all__ = ["advice_parts"]


def advice_parts(shop: Shop, advice: Advice) -> list[Part]:
    """What to add to a batch, what it brings, and what earlier batches told of the lots."""
    found, light = advice.correction, advice.target.light_names[0]
    head = f"dE00 {advice.de00_before[0]:.2f} now"
    if not found.added_g:
        return [f"{head}: nothing to add." if found.can_be_saved else f"{head}: can't be saved."]
    saved = "" if found.can_be_saved else " This does not bring it within tolerance."
    return [
        f"{head}, {found.de00[0]:.2f} after {grams_text(found.added_g, shop.resolution_g)} g under"
        f" {light}; chance within {shop.tolerance_de00:g}:"
        f" {chance_text(found.chance_in_tolerance)}.{saved}",
        *_known(advice),
    ]


def _known(advice: Advice) -> list[str]:
    """What earlier batches told of the inks that are in play."""
    held = advice.belief.grams > 0
    played = [ink for ink, there in zip(advice.inks, held, strict=True) if there]
    return [
        f"The book knows: {line}."
        for line in advice.words
        if any(line.startswith(f"{ink} ") for ink in played)
    ]
