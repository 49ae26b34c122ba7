"""The racks of two policies side by side as a film for a slide: a frame a day, moves seen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import IO, Any

from PIL import Image, ImageDraw

from colony_sim.atomic import whole_file
from colony_sim.drawing import palette
from colony_sim.drawing.content import RackContent
from colony_sim.drawing.glyphs import BIN_WIDTH, FLOOR
from colony_sim.drawing.rack import offsets, rack_scene
from colony_sim.drawing.scene import Mark, Place, Scene, Words
from colony_sim.errors import InputError
from colony_sim.extras import require
from colony_sim.figures import raster
from colony_sim.report import rack_data
from colony_sim.report.contents import ordered
from colony_sim.report.watched import check_days, pair_of, racks_of
from colony_sim.results import manifest
from colony_sim.results.folder import check_place
from colony_sim.results.manifest import is_invented
from colony_sim.words.labels import shortened

FILM = "film.gif"
KINDS = (".gif", ".webp", ".mp4")
WIDTH, HEIGHT = 1280, 720
DAYS, PACE = 364, 15
"""Days of the film and days (frames) a second, by default: 52 weeks in 24 s."""
SLOWEST, FASTEST = 2, 30
EDGE, TOP, FOOT = 24, 158, 64
"""Free space at the sides, above the racks and below them (pixels)."""
FLIGHT = 8
"""Frames that a move is seen."""
MOST_FLYING = 7
COLOURS = 96
"""Of a GIF, the same in all frames."""


@dataclass(frozen=True)
class Film:
    """A film that was written: its file, size (bytes), frames, and seconds it lasts."""

    path: Path
    size: int
    frames: int
    seconds: float


def write_film(
    folder: Path,
    out: Path | None = None,
    *,
    policies: list[str] | None = None,
    days: int | None = None,
    pace: int = PACE,
    tell: Callable[[str], None] = lambda text: None,
) -> Film:
    """Write the film of a comparison; the same results always give the same frames.

    Parameters
    ----------
    folder : Path
        Results folder of a comparison; it is only read, but for the film.
    out : Path, optional
        File; its ending says how it is written: ``.gif``, ``.webp`` or ``.mp4`` (extra ``film``).
        Default: ``film.gif`` in the folder.
    policies : list of str, optional
        The two policies, in this order. Default: the baseline and the best of the others.
    days : int, optional
        Days shown (1 to 730), a frame each; default 364, or as many as the runs have.
    pace : int
        Days a second.
    tell : callable
        Told how far it is.

    Raises
    ------
    InputError
        If an argument is not allowed or the folder has no two racks to watch.
    MissingExtra
        If MP4 is asked for and the package ``imageio-ffmpeg`` is not installed.
    """
    folder = Path(folder)
    path = Path(out) if out is not None else folder / FILM
    check_place("out", path, KINDS)
    if not SLOWEST <= pace <= FASTEST:
        raise InputError("argument pace", "pace", pace, f"{SLOWEST} to {FASTEST} days a second")
    check_days(days)
    write = _WRITERS[path.suffix.lower()]
    if write is _write_mp4:
        _ffmpeg()  # Before a minute of work.
    facts = manifest.read(folder, ())
    rack = racks_of(folder, facts, pair_of(facts, folder, policies), days or DAYS)
    names = ordered(facts)
    count = rack.last - rack.first + 1
    shots = Shots(rack, names, pace, is_invented(facts))

    def frames() -> Iterator[Image.Image]:
        for day in range(count):
            if day % (7 * pace) == 0:
                tell(f"Drawing day {day + 1} of {count}")
            yield shots.frame(day)

    with whole_file(path) as file:
        write(file, frames(), count, pace, shots.frame)
    return Film(path, path.stat().st_size, count, count / pace)


@dataclass(frozen=True)
class Shots:
    """What every frame of a film shares.

    Attributes
    ----------
    rack : Rack
    names : tuple of str
        All policies, the baseline first: their places give their signs.
    pace : int
        Days a second.
    invented : bool
        Whether the scenario was declared to be invented.
    """

    rack: rack_data.Rack
    names: tuple[str, ...]
    pace: int
    invented: bool

    def frame(self, day: int) -> Image.Image:
        """The racks at the end of a day, counted from 0."""
        image = Image.new("RGB", (WIDTH, HEIGHT), palette.PAPER)
        pen = ImageDraw.Draw(image)
        days = self.rack.last - self.rack.first + 1
        week, weeks = day // 7 + 1, -(-days // 7)
        raster.write(pen, WIDTH / 2, 46, f"Week {week} of {weeks}", 34, bold=True, anchor="middle")
        scenes = [_scene(side, self.rack, day) for side in self.rack.sides]
        room = (WIDTH - 3 * EDGE) / 2
        unit = min(min(room / s.width, (HEIGHT - TOP - FOOT) / s.height) for s in scenes)
        tallest = unit * max(s.height for s in scenes)
        bottom = TOP + tallest + (HEIGHT - TOP - FOOT - tallest) / 2
        for k, (side, scene) in enumerate(zip(self.rack.sides, scenes, strict=True)):
            left = EDGE + k * (room + EDGE)
            self._head(image, pen, side, day, left, room)
            x = left + (room - unit * scene.width) / 2
            raster.paint(image, scene, x, bottom - unit * scene.height, unit)
        self._foot(pen, day, days)
        return image

    def _head(
        self,
        image: Image.Image,
        pen: ImageDraw.ImageDraw,
        side: rack_data.Side,
        day: int,
        left: float,
        room: float,
    ) -> None:
        place = self.names.index(side.policy)
        way = "Old way" if place == 0 else "New way"
        text = shortened(f"{way}: {side.policy}", 60)
        size = min(36.0, 36.0 * (room - 44) / raster.face(36, True).getlength(text))
        mark = raster.sign(place, 26)
        image.paste(mark, (round(left), 76), mark)
        raster.write(pen, left + 40, 100, text, size, bold=True)
        larvae = int(side.totals["harvested_larvae"].iloc[day])
        text = f"{larvae:,} larvae harvested so far".replace(",", " ")
        if side.died_out_day is not None and self.rack.first + day >= side.died_out_day:
            text = f"The colony died out; {larvae:,} larvae in all".replace(",", " ")
        raster.write(pen, left + 40, 138, text, 27)

    def _foot(self, pen: ImageDraw.ImageDraw, day: int, days: int) -> None:
        """How far the film is, and what is shown."""
        y, right = HEIGHT - 40, WIDTH - EDGE
        pen.rectangle((EDGE, y, right, y + 5), fill=palette.RULE)
        share = (day + 1) / days
        pen.rectangle((EDGE, y, EDGE + share * (right - EDGE), y + 5), fill=palette.WOOD)
        text = (
            f"{self.pace} days a second. Bowl: harvest of the last {rack_data.BOWL_DAYS} days. "
            f"One try of each way in a model{'; an invented scenario' if self.invented else ''}."
        )
        raster.write(pen, EDGE, HEIGHT - 13, text, 19, colour=palette.QUIET)


def _scene(side: rack_data.Side, rack: rack_data.Rack, day: int) -> Scene:
    """A rack with what is on its way, its labels as large as they can be."""
    content = side.contents[day]
    scene = rack_scene(content, rack.scale)
    scene.items = [
        replace(item, size=12.5) if isinstance(item, Words) and item.of == "label-line" else item
        for item in scene.items
    ]
    scene.items += _flying(side, rack, day, scene)
    return scene


def _flying(side: rack_data.Side, rack: rack_data.Rack, day: int, scene: Scene) -> Iterator[Mark]:
    """Signs between where they were and where they go, of the moves of the last frames."""
    content = side.contents[day]
    since = side.marks["day"] - rack.first
    for at in range(max(0, day - FLIGHT + 1), day + 1):
        done = side.marks[since == at]
        into = done.loc[done["word"] == rack_data.WORDS[0], "bin"]
        for mark in done.itertuples():
            count = min(MOST_FLYING, 1 + int(mark.amount) // 40)
            start = _middle(content, int(mark.bin) - 1)
            if mark.word == "harvest" and mark.amount:
                end = scene.width / 2, scene.height - 52
                yield from _arc("larva", start, end, count, day - at)
            elif mark.word == "pupae to the tray":
                yield from _arc("pupa", start, (scene.width / 2, 20.0), count, day - at)
            elif mark.word == "beetles out" and len(into):
                end = _middle(content, int(into.iloc[0]) - 1)
                yield from _arc("beetle", start, end, MOST_FLYING, day - at)


def _middle(content: RackContent, index: int) -> tuple[float, float]:
    x, y = offsets(content)[index]
    return x + BIN_WIDTH / 2, y + FLOOR - 20


def _arc(
    glyph: str, start: tuple[float, float], end: tuple[float, float], count: int, frame: int
) -> Iterator[Mark]:
    """Signs on a parabola over both ends, one behind the other."""
    high = min(start[1], end[1]) - 52
    for k in range(count):
        share = (frame + 0.5 - 0.25 * k) / (FLIGHT - 0.25 * count)
        if not 0 <= share <= 1:
            continue
        side = 9 * (k - (count - 1) / 2)
        x = start[0] + share * (end[0] - start[0]) + side
        one, two, three = (1 - share) ** 2, 2 * share * (1 - share), share**2
        yield Mark(glyph, Place(x, one * start[1] + two * high + three * end[1]), "flying")


Frames = Iterator[Image.Image]
OneFrame = Callable[[int], Image.Image]


def _write_gif(file: IO[bytes], frames: Frames, count: int, pace: int, frame: OneFrame) -> None:
    """One palette for all frames, taken from some of them, so that nothing flickers."""
    sample = Image.new("RGB", (WIDTH, 4 * HEIGHT))
    for k in range(4):
        sample.paste(frame(k * (count - 1) // 3), (0, k * HEIGHT))
    colours = sample.quantize(COLOURS, method=Image.Quantize.MEDIANCUT)
    drawn = (each.quantize(palette=colours, dither=Image.Dither.NONE) for each in frames)
    # A GIF counts hundredths of a second.
    ends = [round(100 * k / pace) for k in range(count + 1)]
    spans = [10 * (end - start) for start, end in pairwise(ends)]
    first = next(drawn)
    first.save(file, format="GIF", save_all=True, append_images=drawn, loop=0, optimize=False,
               duration=spans)  # fmt: skip


def _write_webp(file: IO[bytes], frames: Frames, count: int, pace: int, frame: OneFrame) -> None:
    first = next(frames)
    first.save(file, format="WEBP", save_all=True, append_images=frames, loop=0, quality=80,
               method=1, duration=round(1000 / pace))  # fmt: skip


def _write_mp4(file: IO[bytes], frames: Frames, count: int, pace: int, frame: OneFrame) -> None:
    exact = ["-fflags", "+bitexact", "-flags:v", "+bitexact", "-threads", "1", "-f", "mp4"]
    writer = _ffmpeg().write_frames(
        file.name, (WIDTH, HEIGHT), fps=pace, codec="libx264", quality=7,
        macro_block_size=None, output_params=exact,
    )  # fmt: skip
    writer.send(None)
    for each in frames:
        writer.send(each.tobytes())
    writer.close()


def _ffmpeg() -> Any:
    return require("imageio_ffmpeg", "imageio-ffmpeg>=0.5", "film")


_WRITERS = {".gif": _write_gif, ".webp": _write_webp, ".mp4": _write_mp4}
