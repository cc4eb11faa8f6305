"""Every bad thing that a person may hand in, and a way to make it.

    python tests/bad_inputs.py      prints the table of DEVELOPERS.md

Each case gets an empty folder and does what a person would do; it must end in a
`InputError`.  `tests/test_bad_input_table.py` holds the table to it.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from broken_files import TWO, cgats, cxf, long, pairs, tall
from small_shop import DRAWDOWNS, INKS, SPECTRA, TOML, edge, put, wide

from matchkit.errors import InputError
from matchkit.files.health import keep_reading
from matchkit.files.incoming import Bringing, bring_in
from matchkit.files.recipe import read_recipe
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra, read_spectrum
from matchkit.files.stream import write_spectra
from matchkit.inks.shop import Shop

Case = Callable[[Path], object]

SPHERE = Shop(
    name="", geometry="d/8 specular excluded", condition="UV included", observer=10, lights=("D65",)
)
GREY = {"Grey": SPECTRA["Grey"]}


def spectra(content: str | bytes, name: str = "a.csv", **more) -> Case:
    """Reading a spectrum file."""

    def case(folder):
        path = folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_spectra(path, **more)

    return case


def text(content: str, **more) -> Case:
    return spectra(content, "a.txt", **more)


def xml(content: str | bytes, **more) -> Case:
    return spectra(content, "a.cxf", **more)


def shop(**changed) -> Case:
    """Reading a shop folder."""
    return lambda folder: read_shop(put(folder / "shop", **changed))


def recipe(content: str, **more) -> Case:
    def case(folder):
        (folder / "mix.csv").write_text(content)
        return read_recipe(folder / "mix.csv", ["White", "Lemon"], **more)

    return case


def incoming(content: str, **more) -> Case:
    """Bringing a file into a shop."""

    def case(folder):
        (folder / "a.csv").write_text(content)
        return bring_in(folder / "a.csv", put(folder / "shop"), Bringing(**more))

    return case


def one_of_several(folder):
    (folder / "a.csv").write_text(wide(TWO))
    return read_spectrum(folder / "a.csv")


def overwriting(folder):
    (folder / "a.csv").write_text("mine")
    return write_spectra(folder / "a.csv", [])


def huge(folder):
    with (folder / "a.csv").open("wb") as stream:
        stream.truncate(100_000_000)
    return read_spectra(folder / "a.csv")


def two_ways():
    rows = wide({"Lemon": [*TWO["Lemon"], *TWO["Lemon"]]}).splitlines()
    head = rows[0].replace(",", ",condition,", 1)
    return "\n".join([head, rows[1].replace(",", ",M0,", 1), rows[2].replace(",", ",M1,", 1)])


CASES: dict[str, Case] = {
    # any spectrum file
    "a file that is not there": lambda folder: read_spectra(folder / "a.csv"),
    "an empty file": spectra(""),
    "a workbook instead of CSV": spectra(b"PK\x03\x04rest"),
    "a PDF": spectra(b"%PDF-1.7"),
    "an unknown encoding": spectra(b"name,400,410\nCr\xe8me,0.1,0.2\n"),
    "UTF-16 without its mark": spectra("name,400,410\n".encode("utf-16-le")),
    "a file of 100 MB": huge,
    "a line of 9 MB": spectra("x" * 9_000_000),
    "a million empty rows": spectra("\n" * 1_000_000 + "x"),
    "several spectra where one is wanted": one_of_several,
    "wavelengths that end too early": spectra(wide(GREY, np.arange(380, 681, 10))),
    "a wavelength left out": spectra(wide(GREY).replace(",550,", ",551,")),
    "steps of 15 nm": spectra(wide({"Grey": [np.full(21, 0.3)]}, np.arange(400, 701, 15))),
    "a value over 1.05": spectra(wide({"Glow": [edge(0.03, 1.3, 491)]})),
    "a negative value": spectra(wide({"Deep": [edge(-0.02, 0.4, 500)]})),
    "a reading of nothing": spectra(wide({"None": [np.zeros(31)]})),
    "one value in percent among 0-1": spectra(wide(GREY).replace("0.3000", "30.00", 1)),
    "a text in place of a number": spectra(wide(GREY).replace("0.3000", "o.3", 1)),
    "an empty cell": spectra(wide(GREY).replace("0.3000", "", 1)),
    "a name that is a path": spectra(wide({"../../x": SPECTRA["Grey"]})),
    "a name with an invisible character": spectra(wide({"a\u202eb": SPECTRA["Grey"]})),
    "no name": spectra(wide({"": SPECTRA["Grey"]})),
    "one name measured in two ways": spectra(two_ways()),
    # CSV
    "decimal commas between commas": spectra("name,400,410\nGrey,0,1,0,2\n"),
    "two decimal marks in one file": spectra("name;400;410\nGrey;0,1;0.2\n"),
    "a quotation mark that is not closed": spectra('name,400,410\n"Grey,0.1,0.2\n'),
    "no wavelengths in the headings": spectra("name,L,a,b\nGrey,50,0,0\n"),
    "a row that is too long": spectra("name,400,410\nGrey,0.1,0.2,x\n"),
    "wavelengths without values": spectra("wavelength_nm,reflectance\n"),
    "a long table without a column of values": spectra("name,nm,x\nGrey,400,0.1\n"),
    "a column without its name in a tall table": spectra(tall(TWO).replace("Lemon", "", 1)),
    "a wavelength twice in a long table": spectra(long(GREY).replace("Grey,430,", "Grey,420,")),
    "lines above the table that contradict each other": spectra(
        "Mode,specular included and specular excluded\n" + wide(GREY)
    ),
    # CGATS.17
    "CGATS cut short": text(cgats().partition("END_DATA\n")[0]),
    "CGATS with another count of rows": text(cgats().replace("SETS 3", "SETS 4")),
    "CGATS with another count of fields": text(cgats().replace("FIELDS 33", "FIELDS 34")),
    "a name with a blank and no quotes in CGATS": text(cgats().replace('"Lemon"', "Lemon ten")),
    "CGATS without spectra": text(cgats().replace("SPECTRAL_NM", "WEIGHT_")),
    "CGATS that contradicts its own scale": text(
        cgats({"a": [100 * edge(0.3, 0.6, 500)]}, head="SPECTRAL_NORM 1")
    ),
    "wavelengths beside the values that differ": text(
        pairs({"a": SPECTRA["White"]}).replace('"a" 400', '"a" 390', 1)
    ),
    # CxF3
    "XML that is broken": xml(cxf().replace("</cc:CxF>", "")),
    "XML with a document type or an entity": xml("<!DOCTYPE x [<!ENTITY a 'b'>]><x>&a;</x>"),
    "XML of another kind": xml("<html></html>"),
    "an older CxF": xml(cxf().replace("CxF3-core", "CxF2-core")),
    "CxF that does not state its step": xml(cxf(GREY).replace(' Increment="10"', "")),
    "CxF whose two starts differ": xml(
        cxf(GREY).replace('CS1" StartWL="400"', 'CS1" StartWL="380"')
    ),
    "CxF that refers to nothing": xml(
        cxf(GREY).replace('ColorSpecification="CS1"', 'ColorSpecification="CS9"')
    ),
    "CxF of a transmittance": xml(
        cxf(GREY).replace("Spectrum_Reflectance", "Spectrum_Transmittance")
    ),
    "CxF with a text among its values": xml(cxf(GREY).replace("0.30001", "abc")),
    # held against the shop
    "45/0 in a shop with a sphere": text(cgats(head="GEOMETRY 45/0"), shop=SPHERE),
    "specular included in a shop that excludes it": text(
        cgats(head="SPECULAR included"), shop=SPHERE
    ),
    "UV excluded in a shop that includes it": text(cgats(head="FILTER M2"), shop=SPHERE),
    "a matte black converted as if it were glossy": text(
        cgats({"Black": SPECTRA["Black"]}, head="SPECULAR included"), shop=SPHERE, index=1.5
    ),
    # into a shop
    "a name that is no drawdown": incoming(wide({"Gray": SPECTRA["Grey"]})),
    "a drawdown that has readings": incoming(wide({"Grey": [edge(0.31, 0.32, 500)]})),
    "a date that is none": lambda folder: keep_reading(
        folder, kind="tile", name="t", readings=np.array(SPECTRA["White"]), date="2.3.2026"
    ),
    "a file that would be overwritten": overwriting,
    # shop folder
    "a shop folder that is not there": lambda folder: read_shop(folder / "shop"),
    "a file of the shop that is missing": shop(inks_csv=None),
    "a misspelt section": shop(shop_toml=TOML.replace("[tolerance]", "[tolerances]")),
    "a decimal comma in shop.toml": shop(shop_toml=TOML.replace("de00 = 1.0", "de00 = 1,0")),
    "a geometry that is none": shop(shop_toml=TOML.replace("specular excluded", "specular out")),
    "readings that the geometry cannot give": shop(shop_toml=TOML.replace("excluded", "included")),
    "a role that is none": shop(inks_csv=INKS.replace("Black,black", "Black,blak")),
    "an ink twice": shop(inks_csv=INKS + "Lemon,colour,plastisol,,,,,,\n"),
    "a density in kg per m3": shop(inks_csv=INKS.replace("1.12", "1120")),
    "percents that do not sum to 100": shop(drawdowns_csv=DRAWDOWNS.replace("97.5", "95")),
    "an ink nobody knows": shop(drawdowns_csv=DRAWDOWNS.replace("Lemon,100", "Lemmon,100")),
    "a drawdown without a reading": shop(
        spectra_csv=wide({k: v for k, v in SPECTRA.items() if k != "Grey"})
    ),
    "percent in spectra.csv": shop(
        spectra_csv=wide({k: [100 * R for R in v] for k, v in SPECTRA.items()})
    ),
    "inks of two series in one mixture": shop(
        inks_csv=INKS.replace("Lemon,colour,plastisol", "Lemon,colour,water-based")
    ),
    # recipes
    "a recipe in percent where grams are needed": recipe(
        "ink,percent\nWhite,100\n", grams_only=True
    ),
    "grams and percent in one recipe": recipe("ink,grams,percent\nWhite,10,100\n"),
    "an ink that the shop does not have": recipe("ink,grams\nWhit,10\n"),
    "a negative weight": recipe("ink,grams\nWhite,-10\n"),
    "a unit beside the number": recipe("ink,grams\nWhite,10 g\n"),
    "a weight that may be read in two ways": recipe("ink;grams\nWhite;1.000\n"),
}


def message(case: Case) -> str:
    """The first line a person reads; an error of ours is one that escapes."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            case(Path(folder))
        except InputError as error:
            return error.faults[0]
    raise AssertionError("this was taken without a word")


def row(name: str, line: str) -> str:
    """A row of the table; a pipe would end a cell."""
    return f"| {name} | {line.replace('|', chr(92) + '|')} |"


if __name__ == "__main__":
    sys.stdout.write("| what is wrong | what the user reads |\n|---|---|\n")
    for name, case in CASES.items():
        sys.stdout.write(row(name, message(case)) + "\n")
