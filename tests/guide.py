"""The guide: its pages, the commands they show, and its pictures, made from results.

``python tests/guide.py RESULTS`` draws the pictures anew. RESULTS holds the folders that the
commands of the guide write: ``rotation`` and the others with their ``slides`` (``colony-sim
figures FOLDER``), the calendar in ``flock-plan/calendar``, the page of ``rotation``, and
``demo_log-today``. What is not there is left as it is.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

GUIDE = Path(__file__).parents[1] / "colony_sim" / "docs" / "guide"
SLIDES = {
    "rotation": "rotation/slides/*how_sure.png",
    "isolation": "isolation/slides/*how_sure.png",
    "harvest": "harvest/slides/*how_sure.png",
    "eggs": "rotation/slides/*why.png",
    "plan": "flock-plan/slides/*plan_year.png",
    "unknowns": "rotation-sobol/slides/*screening.png",
}
"""Picture by page, and the slide that it is."""
WIDTH, COLOURS, MOST_BYTES = 860, 40, 60_000


def pages() -> dict[str, str]:
    """Text of each page by its name."""
    return {path.name: path.read_text("utf-8") for path in sorted(GUIDE.glob("*.md"))}


def commands(text: str) -> list[list[str]]:
    """The words of every command that a page shows in a code fence."""
    fences = re.findall(r"```sh\n(.*?)```", text, flags=re.S)
    return [shlex.split(line) for fence in fences for line in fence.splitlines() if line]


def small(picture: Path, to: Path, top: float = 1.0, width: int = WIDTH) -> None:
    """A picture of this width in few colours; of its height the upper share `top`."""
    from PIL import Image

    with Image.open(picture) as image:
        image = image.convert("RGB").crop((0, 0, image.width, round(top * image.height)))
        size = width, round(width * image.height / image.width)
        image = image.resize(size, Image.Resampling.LANCZOS).quantize(COLOURS)
        image.save(to, optimize=True)
    print(f"{to.name}: {to.stat().st_size} bytes")


def draw(results: Path) -> None:
    """Draw the pictures whose results are there."""
    for name, pattern in SLIDES.items():
        for slide in sorted(results.glob(pattern))[:1]:
            small(slide, GUIDE / f"{name}.png")
    with tempfile.TemporaryDirectory() as place:
        sheet = Path(place) / "sheet"
        if (labels := results / "flock-plan" / "calendar" / "labels.pdf").is_file():
            subprocess.run(["pdftoppm", "-png", "-r", "110", "-l", "1", labels, sheet], check=True)
            small(next(Path(place).glob("sheet*.png")), GUIDE / "labels.png", top=0.5)
        for file, name, size, width in (
            ("rotation/report.html", "page", (1100, 750), 640),
            ("demo_log-today/today.html", "today", (390, 844), 390),
        ):
            if (page := results / file).is_file():
                from browser import chromium

                with chromium() as browser:
                    view = browser.new_page(viewport={"width": size[0], "height": size[1]})
                    view.goto(page.resolve().as_uri())
                    view.screenshot(path=f"{sheet}.png")
                small(Path(f"{sheet}.png"), GUIDE / f"{name}.png", width=width)


if __name__ == "__main__":
    draw(Path(sys.argv[1]))
