"""Does it cover?  A formula printed over garments, with and without an underbase."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, hex_colour
from matchkit.matching.garment import (
    INVENTED,
    Covering,
    GroundVerdict,
    Strokes,
    Viewing,
    covering,
    grounds_for,
    hiding_R,
)
from matchkit.matching.garment import cover as over_each
from matchkit.workflows.formula import Formula, in_inks
from matchkit.workflows.plain import spectrum
from matchkit.workflows.printed import films_today
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted

Array = NDArray[np.float64]
PROVE = "A print is not a drawdown: prove it on the garment, cured, under the agreed light."


@dataclass(frozen=True, kw_only=True, eq=False)
class Cover:
    """What each garment does to a formula, judged under the shop's first light.

    `target` names what the print should look like; empty: the formula where it hides.
    """

    target: str
    target_hex: str
    strokes: Strokes
    viewing: Viewing
    verdicts: tuple[GroundVerdict, ...]
    covering: Covering
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit cover --json`` prints it."""
        how_much = asdict(self.covering).items()
        return {
            **{key: None if v is None else round(v, 4) for key, v in how_much},
            "stroke_um": self.strokes.stroke_um,
            "underbase_um": self.strokes.underbase_um,
            "grounds": [_ground(each) for each in self.verdicts],
            "warnings": list(self.warnings),
        }


def cover(
    session: Session,
    formula: Formula,
    strokes: Strokes,
    *,
    wanted: Wanted | None = None,
    over: Sequence[str] = (),
) -> Cover:
    """A formula over each ground of `over`, else over every garment of the shop.

    InputError where the shop measured no films, and for a ground that is not there.
    """
    fit, c = in_inks(session, formula, films_today(session))
    shop, palette = session.shop, fit.palette
    aim = hiding_R(palette, c) if wanted is None or wanted.target.R is None else wanted.target.R
    grounds, invented = grounds_for(shop, over)
    if invented:
        session.note("invented_grounds", INVENTED)
    light, observer = shop.lights[0], shop.observer
    viewing = Viewing(light=light, observer=observer, tolerance_de00=shop.tolerance_de00)
    return Cover(
        target="" if wanted is None else wanted.name,
        target_hex=hex_colour(aim, light, observer),
        strokes=strokes,
        viewing=viewing,
        verdicts=over_each(palette, c, Lab(aim, light, observer), grounds, strokes, viewing),
        covering=covering(palette, c, grounds, strokes.stroke_um, viewing),
        warnings=(PROVE,),
    )


def _ground(verdict: GroundVerdict) -> dict[str, Any]:
    prints = [
        {
            "strokes": each.strokes,
            "underbase": each.underbase,
            "de00": round(each.de00, 4),
            "lab": np.round(each.lab, 4).tolist(),
            "reflectance": spectrum(each.R),
        }
        for each in verdict.prints
    ]
    words = {"ground": verdict.ground, "holds": verdict.covers, "words": verdict.words}
    return {**words, "prints": prints}
