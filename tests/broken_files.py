"""Spectrum files of every format, and ways to break them.  All spectra are invented."""

import random
import re

from small_shop import NM, SPECTRA, edge, wide

from matchkit.files.readings import NamedSpectrum
from matchkit.files.stream import spectra_cgats

TWO = {"Lemon": SPECTRA["Lemon"], "White": SPECTRA["White"]}


def cxf(spectra=TWO, *, start=400, step=10, specification="", extra="", root="cc:CxF"):
    """A CxF3 file; `specification` stands inside MeasurementSpec, `extra` after Resources."""
    objects = "".join(
        f'<cc:Object ObjectType="Target" Name="{name}" Id="o{i}"><cc:ColorValues>'
        + "".join(
            f'<cc:ReflectanceSpectrum ColorSpecification="CS1" StartWL="{start}">'
            + " ".join(f"{value:.5f}" for value in R)
            + "</cc:ReflectanceSpectrum>"
            for R in reads
        )
        + "</cc:ColorValues></cc:Object>\n"
        for i, (name, reads) in enumerate(spectra.items())
    )
    specification = specification or (
        "<cc:GeometryChoice><cc:SphereGeometry>Specular_Excluded</cc:SphereGeometry>"
        "</cc:GeometryChoice>"
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<{root} xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        f"<cc:ObjectCollection>{objects}</cc:ObjectCollection>"
        '<cc:ColorSpecificationCollection><cc:ColorSpecification Id="CS1"><cc:TristimulusSpec>'
        "<cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer>"
        "</cc:TristimulusSpec><cc:MeasurementSpec>"
        "<cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>"
        f'{specification}<cc:WavelengthRange StartWL="{start}" Increment="{step}"/>'
        "</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>"
        f"</cc:Resources>{extra}</{root}>\n"
    )


def cgats(spectra=TWO, nm=NM, field="SPECTRAL_NM{:.0f}", head="", form="{:.5f}"):
    """A CGATS.17 file; `head` stands before the table."""
    fields = ["SAMPLE_ID", "SAMPLE_NAME", *(field.format(w) for w in nm)]
    rows = [(name, R) for name, reads in spectra.items() for R in reads]
    lines = [
        *("CGATS.17", 'ORIGINATOR "invented"', *([head] if head else [])),
        f"NUMBER_OF_FIELDS {len(fields)}",
        *("BEGIN_DATA_FORMAT", " ".join(fields), "END_DATA_FORMAT"),
        *(f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"),
        *(
            f'{i} "{name}" ' + " ".join(form.format(value) for value in R)
            for i, (name, R) in enumerate(rows, 1)
        ),
        "END_DATA",
    ]
    return "\n".join(lines) + "\n"


def pairs(spectra=TWO, nm=NM):
    """CGATS.17 with wavelength and value side by side, in percent."""
    fields = ["SAMPLE_NAME", *(["SPECTRAL_NM", "SPECTRAL_PCT"] * len(nm))]
    rows = [
        f'"{name}" ' + " ".join(f"{w:.0f} {100 * v:.3f}" for w, v in zip(nm, R, strict=True))
        for name, reads in spectra.items()
        for R in reads
    ]
    form = ["BEGIN_DATA_FORMAT", " ".join(fields), "END_DATA_FORMAT"]
    return "\n".join(["CGATS.17", *form, "BEGIN_DATA", *rows, "END_DATA", ""])


def long(spectra=TWO, nm=NM, separator=",", heads=("name", "wavelength_nm", "reflectance")):
    rows = [
        separator.join([name, f"{w:g}", f"{v:.5f}"])
        for name, reads in spectra.items()
        for R in reads
        for w, v in zip(nm, R, strict=True)
    ]
    return "\n".join([separator.join(heads), *rows, ""])


def tall(spectra=TWO, nm=NM, separator=","):
    reads = [(name, R) for name, several in spectra.items() for R in several]
    rows = [separator.join(["wavelength", *(name for name, _ in reads)])]
    rows += [
        separator.join([f"{w:g}", *(f"{R[i]:.5f}" for _, R in reads)]) for i, w in enumerate(nm)
    ]
    return "\n".join([*rows, ""])


def originals():
    """Sound files to start from, by format."""
    named = [
        NamedSpectrum(name=n, readings=R, geometry="d/8 specular included") for n, R in TWO.items()
    ]
    swapped = str.maketrans(",.", ";,")
    return {
        "CSV": [
            *(wide(TWO), wide(TWO).translate(swapped), long(), tall(), tall(separator="\t")),
            "Geometry: d/8 SCE\nScale;0-1\n\n" + wide(TWO, separator=";"),
        ],
        "CGATS.17": [cgats(), pairs(), spectra_cgats(named), cgats() + cgats().partition("\n")[2]],
        "CxF3": [cxf(), cxf({"One": [edge(0.1, 0.7, 550)]})],
    }


WORDS = [
    *("", "0", "-1", "1e9", "1e999", "nan", "inf", "-inf", "true", "12,5", "1,234", "1.234,5"),
    *("50 %", "#REF!", "=1+1", "'", '"', '""', "\x00", "\ufeff", "\u202e", "\u2028", "\u0661"),
    *("x" * 300, "9" * 400, "0x10", "1_0", "400", "410", "../../x", "/etc/x", "C:\\x", "é", "\t"),
    *("BEGIN_DATA", "END_DATA", "BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "NUMBER_OF_SETS 9"),
    *("SPECTRAL_NM500", "SPECTRAL_NM", "SAMPLE_NAME", "wavelength", "reflectance", "name"),
    *("<x>", "</cc:Object>", "&amp;", "&bomb;", "<![CDATA[", "]]>", "<!--", "-->", "<?x?>"),
    '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY bomb "&a;&a;&a;&a;">]>',
    '<!DOCTYPE x SYSTEM "file:///etc/passwd">',
    *('Increment="0"', 'StartWL="-1"', 'Name="../x"', "Specular_Included", "CS2"),
]


def flip_bytes(data, rng):
    data = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def cut(data, rng):
    start = rng.randrange(len(data))
    return data[:start] + data[start + rng.randint(1, len(data)) :]


def repeat(data, rng):
    start = rng.randrange(len(data))
    part = data[start : start + rng.randint(1, 400)]
    return data[:start] + part * rng.randint(2, 4) + data[start:]


def change_word(data, rng):
    """Another word in place of one, whatever separates words in the format."""
    spans = [match.span() for match in re.finditer(rb"[^\s,;<>=\"]+", data)] or [(0, 0)]
    start, end = rng.choice(spans)
    return data[:start] + rng.choice(WORDS).encode() + data[end:]


def put_word(data, rng):
    place = rng.randrange(len(data) + 1)
    return data[:place] + rng.choice(WORDS).encode() + data[place:]


def move_line(data, rng):
    rows = data.split(b"\n")
    row = rows.pop(rng.randrange(len(rows)))
    if rng.random() < 0.6:
        rows.insert(rng.randrange(len(rows) + 1), row)
    return b"\n".join(rows)


def double_line(data, rng):
    rows = data.split(b"\n")
    rows.insert(rng.randrange(len(rows)), rng.choice(rows))
    return b"\n".join(rows)


def shuffle_lines(data, rng):
    rows = data.split(b"\n")
    rng.shuffle(rows)
    return b"\n".join(rows)


def swap_marks(data, rng):
    old, new = rng.sample([b",", b";", b"\t", b".", b" ", b"\n", b"\r\n", b"\r", b'"', b":"], 2)
    return data.replace(old, new, rng.choice([1, 5, -1]))


def encode_anew(data, rng):
    text = data.decode("utf-8", "replace")
    return text.encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "utf-32", "utf-7"]))


def empty(data, rng):
    return rng.choice(
        [b"", b"\n", b"\xef\xbb\xbf", b"<", b"CGATS.17\n", b"PK\x03\x04", b"\x00" * 50]
    )


def join(data, rng):
    """Half of this file, half of one of another format."""
    other = rng.choice(rng.choice(list(originals().values()))).encode()
    return data[: rng.randrange(len(data))] + other[rng.randrange(len(other)) :]


CHANGES = [
    *(flip_bytes, cut, repeat, change_word, change_word, change_word, put_word, put_word),
    *(move_line, double_line, shuffle_lines, swap_marks, encode_anew, empty, join),
]


def broken(text: str, rng: random.Random) -> bytes:
    """`text` with a change or two."""
    data = text.encode()
    for _ in range(rng.choice([1, 1, 1, 1, 2])):
        data = rng.choice(CHANGES)(data, rng) or b"\n"
    return data
