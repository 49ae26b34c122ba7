"""The picture of the house in the contributor's guide, made from the imports.

``python tests/house.py`` writes ``colony_sim/docs/house.svg`` anew. A package stands one floor
above the highest that it imports; its question is the first line of its ``__init__.py``.
"""

from __future__ import annotations

import ast
from functools import cache
from html import escape
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "colony_sim"
PICTURE = PACKAGE / "docs" / "house.svg"
ROOM, HALL, FLOOR, HEIGHT = 300, 24, 96, 60


def packages() -> dict[str, str]:
    """Packages with the question that each answers."""
    found = {}
    for path in sorted(PACKAGE.glob("*/__init__.py")):
        text = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
        found[path.parent.name] = text.partition("\n")[0]
    return found


def imports(package: str) -> set[str]:
    """The other packages that one imports, those of type hints included."""
    found = set()
    for path in (PACKAGE / package).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [f"{node.module}.{alias.name}" for alias in node.names]
            elif isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            else:
                continue
            parts = [name.split(".") for name in names]
            found |= {part[1] for part in parts if part[0] == "colony_sim" and len(part) > 1}
    return (found & set(packages())) - {package}


def floors() -> dict[str, int]:
    """The floor of every package, the ground floor is 0; ValueError names a circle."""
    graph = {package: imports(package) for package in packages()}

    @cache
    def floor(package: str, above: tuple[str, ...] = ()) -> int:
        if package in above:
            raise ValueError("packages import one another: " + " -> ".join((*above, package)))
        return 1 + max((floor(below, (*above, package)) for below in graph[package]), default=-1)

    return {package: floor(package) for package in graph}


def picture() -> str:
    """The house as SVG; of the imports only those that others do not imply."""
    at, questions = floors(), packages()
    rows = [sorted(p for p in at if at[p] == n) for n in range(max(at.values()) + 1)]
    width = max(map(len, rows)) * (ROOM + HALL) + HALL
    height = len(rows) * FLOOR + HALL
    place = {}
    for number, row in enumerate(rows):
        left = (width - len(row) * (ROOM + HALL) + HALL) / 2
        for nth, package in enumerate(row):
            place[package] = (left + nth * (ROOM + HALL), height - (number + 1) * FLOOR)
    reach: dict[str, set[str]] = {}
    for package in sorted(at, key=at.__getitem__):
        below = imports(package)
        reach[package] = below.union(*(reach[b] for b in below))
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" role="img" aria-label="Packages by floor; arrows are imports">',
        '<defs><marker id="end" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="7" '
        'markerHeight="7" orient="auto"><path d="M0 0 8 4 0 8z" fill="#777"/></marker></defs>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for package in at:
        direct = imports(package)
        for below in sorted(direct - set().union(*(reach[b] for b in direct))):
            (x, y), (u, v) = place[package], place[below]
            lines.append(
                f'<path d="M{x + ROOM / 2:g} {y + HEIGHT} L{u + ROOM / 2:g} {v}" '
                'stroke="#777" fill="none" marker-end="url(#end)"/>'
            )
    for package, (x, y) in place.items():
        lines.append(
            f'<rect x="{x:g}" y="{y}" width="{ROOM}" height="{HEIGHT}" rx="6" fill="#eef3f7" '
            'stroke="#30506b"/>'
            f'<text x="{x + 12:g}" y="{y + 24}" font-size="16" font-weight="bold">{package}</text>'
            f'<text x="{x + 12:g}" y="{y + 45}" font-size="11">{escape(questions[package])}</text>'
        )
    return "\n".join([*lines, "</svg>"]) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture(), "utf-8", newline="\n")
