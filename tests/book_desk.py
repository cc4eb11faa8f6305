"""Someone who types ``matchkit book`` commands in a shop, and what the commands answer."""

import json

import numpy as np

from matchkit import cli
from matchkit.colorimetry.grid import GRID_NM
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.write import csv_text
from matchkit.inks.palette import reflectance
from matchkit.matching.match import fractions_for


class Desk:
    def __init__(self, folder, capsys):
        self.folder, self.capsys = folder, capsys

    def text(self, *words, status=0):
        """What a person sees: standard output and standard error."""
        self.capsys.readouterr()
        assert cli.main(["book", str(self.folder), *map(str, words)]) == status
        return self.capsys.readouterr()

    def json(self, *words):
        """The one JSON document of a verb."""
        return json.loads(self.text(*words, "--json").out)

    def recipe(self, name, **grams):
        path = self.folder.parent / f"{name}.csv"
        rows = [(ink.replace("_", " "), g) for ink, g in grams.items()]
        path.write_text(csv_text(["ink", "grams"], rows), encoding="utf-8")
        return path

    def reading(self, name, inks, scale=None):
        """A spectrum file of a recipe with some lots stronger, as the model has it."""
        shop = read_shop(self.folder)
        palette = read_fits(self.folder, shop, fit_content(self.folder))[0]["series"][
            "plastisol"
        ].palette
        c = fractions_for(palette, [each["ink"] for each in inks], [e["grams"] for e in inks])
        s = np.array([(scale or {}).get(n, 1.0) for n in palette.names])
        R = reflectance(palette, c, s)
        path = self.folder.parent / f"{name}.csv"
        columns = ["name", *(f"{nm:g}" for nm in GRID_NM)]
        path.write_text(csv_text(columns, [[name, *np.round(R, 5).tolist()]]), encoding="utf-8")
        return path
