"""How much ink a job needs, as parts."""

from matchkit.paper.jobsize import JobSize, summary
from matchkit.report.parts import Part, Table


def size_parts(found: JobSize) -> list[Part]:
    """How much, and every number it was worked out with."""
    return [
        *(line[0].upper() + line[1:] + "." for line in summary(found)),
        Table(head=("Worked out with",), rows=tuple((line,) for line in found.assumptions)),
    ]
