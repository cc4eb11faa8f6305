"""Everything public has a door: something in the package uses it, or it is for Python itself.

A function that only its own test calls is code to keep without anybody having it: give it a
command, a form or a caller, or delete it.
"""

import ast

from test_layers import PACKAGE, sources

# Public for those who write Python, with no caller in the package.
FOR_PYTHON = {
    *(
        "colorimetry.tristimulus.de00_vector",
        "inks.palette.subset",
    ),
    *(
        "matching.solve.count_subsets",
        "optics.film.film_reading",
        "inks.opacity.stacked_R",
    ),
    # The theories and the bench themselves, which tests hold against published figures.
    *(
        "optics.kubelka_munk.film_R",
        "simulator.radiative_transfer.diffuse_R",
        "simulator.simulate.ladder",
        "matching.linear.linear_fractions",
    ),
}
# Named from outside.
BY_NAME = (
    "__init__",
    "api",
    "cli/",
    "forms/__init__",
    "forms/stills",
    "forms/practise",
    "forms/page",
)


def doorless():
    """The public names that nothing in the package uses but their own definition."""
    trees = {path: tree for path, _, tree in sources()}
    imported, used = set(), {}
    for path, tree in trees.items():
        used[path], modules = set(), {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                imported |= {(node.module, alias.name) for alias in node.names}
                modules |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
            elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                used[path].add(node.id)
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                imported.add((modules.get(node.value.id), node.attr))
    for path, tree in trees.items():
        where = path.relative_to(PACKAGE).with_suffix("")
        module = ".".join(("matchkit", *where.parts)).removesuffix(".__init__")
        if where.as_posix().startswith(BY_NAME) or where.name == "__main__":
            continue
        for name in defined(tree):
            if (module, name) not in imported and name not in used[path]:
                yield f"{module.removeprefix('matchkit.')}.{name}"


def defined(tree):
    """What a module offers: its functions and classes without an underscore before them."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node.name


def test_every_public_name_has_a_door():
    without = set(doorless())
    assert without - FOR_PYTHON == set(), "wire or delete; Python's own go into FOR_PYTHON"
    assert without >= FOR_PYTHON, "these have callers: take them off the list"
