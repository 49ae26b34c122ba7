"""What the package imports is what it declares."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
#: Distributions by the name that is imported, where the two differ.
IMPORTED_AS = {"pillow": "PIL", "fpdf2": "fpdf", "SALib": "SALib"}
#: Declared for another package's sake.
FOR_OTHERS = {"networkx"}


def names(requirements: list[str]) -> set[str]:
    found = {re.split(r"[\s<>=!~\[;]", requirement)[0] for requirement in requirements}
    return {IMPORTED_AS.get(name, name) for name in found}


def imported() -> dict[str, str]:
    """Packages imported anywhere in colony_sim, with a file that does."""
    found = {}
    for path in (ROOT / "colony_sim").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found[node.module.partition(".")[0]] = str(path)
            elif isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0]: str(path) for alias in node.names}
    return {name: path for name, path in found.items() if name not in sys.stdlib_module_names}


def test_every_import_is_declared_and_every_dependency_is_imported():
    extras = PROJECT["optional-dependencies"]
    core = names(PROJECT["dependencies"])
    optional = set().union(*(names(extras[extra]) for extra in extras if extra != "dev"))
    found = imported()
    assert set(found) - core - optional - {"colony_sim"} == set(), found
    assert core - set(found) - FOR_OTHERS == set()
