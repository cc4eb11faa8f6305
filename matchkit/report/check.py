"""How a drawdown compares with its target, as parts."""

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.report.compared import compared_pictures, edge_to_edge
from matchkit.report.parts import Part, Swatches, Table
from matchkit.workflows.checking import Check
from matchkit.workflows.measuring_batch import MeasuredBatch


def check_parts(found: Check) -> list[Part]:
    """In or out of tolerance, by how much and in which direction, under each light."""
    verdict, target = found.verdict, found.wanted.target
    word = "PASS" if verdict.passed else "FAIL"
    head = (
        f"{word}: dE00 {verdict.de00[0]:.2f} under {verdict.lights[0]}, tolerance"
        f" {found.tolerance_de00:g}"
    )
    parts: list[Part] = [head, f"Drawdown compared with target: {verdict.words[0]}"]
    if target.R is not None:
        light, observer = target.lights[0], target.observer
        colours = hex_colour(target.R, light, observer), hex_colour(found.R, light, observer)
        parts.insert(0, Swatches(colours=colours, names=("target", "drawdown")))
        parts.append(
            edge_to_edge(colours[0], [colours[1]], ["the drawdown"], f"Above: {found.wanted.name}")
        )
    rows = tuple(
        (light, f"{e:.2f}", *(f"{v:+.2f}" for v in d), words)
        for light, e, d, words in zip(
            verdict.lights, verdict.de00, verdict.delta, verdict.words, strict=True
        )
    )
    head_row = ("Light", "dE00", "dL*", "dC*", "dH*", "In words")
    parts.append(Table(head=head_row, rows=rows, words=(5,)))
    if verdict.spread_de00 is not None:
        parts.append(
            f"{found.n_readings} readings, on average dE00 {verdict.spread_de00:.2f} from their"
            " mean."
        )
    if found.compared is not None:
        parts += compared_pictures(found.compared, found.tolerance_de00, ("spectra", "ab", "LC"))
    return parts


def measured_parts(found: MeasuredBatch) -> list[Part]:
    """How a drawdown of a batch in the record book compares with its target."""
    judged: list[Part] = ["Measured; it has no target to be judged by."]
    if found.judged is not None:
        judged = check_parts(found.judged)
    return [*judged, *found.odd]
