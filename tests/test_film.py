"""The film of two racks: its days, its numbers, its moves; read back by Pillow and ffmpeg."""

import subprocess
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageSequence
from plain_words import faults
from report_case import PAIR, command, folders, lived_again

from colony_sim.drawing.content import Scale
from colony_sim.drawing.rack import example, rack_scene
from colony_sim.drawing.scene import Words
from colony_sim.figures import drawn, raster, style
from colony_sim.report import film, rack_data

SHORT, PACE = 9, 7


@pytest.fixture(scope="module")
def rack():
    return rack_data.build(lived_again(), PAIR, 120)


@pytest.fixture
def few(rack, monkeypatch):
    """Films within this do not live the runs again."""
    monkeypatch.setattr(film, "racks_of", lambda *_: rack_data.build(lived_again(), PAIR, SHORT))


@pytest.mark.parametrize("ending", ["gif", "webp"])
def test_film_read_back_has_a_frame_a_day_at_the_stated_pace(few, ending, tmp_path, capsys):
    out = tmp_path / f"film.{ending}"
    assert command("film", folders()[0], "--out", out, "--days", SHORT, "--pace", PACE) == 0
    screen = capsys.readouterr().out
    assert f"{SHORT} days in 1 s" in screen and not faults(screen)
    shots = film.Shots(film.racks_of(), PAIR, PACE, True)
    with Image.open(out) as found:
        assert found.size == (film.WIDTH, film.HEIGHT) and found.n_frames == SHORT
        spans, gaps = [], []
        for day, frame in enumerate(ImageSequence.Iterator(found)):
            due = np.asarray(shots.frame(day), int)
            gaps.append(np.abs(np.asarray(frame.convert("RGB"), int) - due).mean())
            spans.append(frame.info["duration"])
    assert sum(spans) == pytest.approx(1000 * SHORT / PACE, abs=10) and max(gaps) < 4
    first = out.read_bytes()
    film.write_film(folders()[0], out, days=SHORT, pace=PACE)
    assert out.read_bytes() == first


def test_film_as_mp4(few, tmp_path):
    ffmpeg = pytest.importorskip("imageio_ffmpeg")
    out = tmp_path / "film.mp4"
    done = film.write_film(folders()[0], out, days=SHORT, pace=PACE)
    frames, seconds = ffmpeg.count_frames_and_secs(str(out))
    assert frames == done.frames == SHORT and seconds == pytest.approx(SHORT / PACE, abs=0.2)
    program = [ffmpeg.get_ffmpeg_exe(), "-i", str(out), "-f", "null", "-"]
    told = subprocess.run(program, capture_output=True, text=True, check=True).stderr
    assert f"{film.WIDTH}x{film.HEIGHT}" in told and "h264" in told


def test_without_the_extra_one_line_names_it_and_nothing_is_written(tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "imageio_ffmpeg", None)
    assert command("film", folders()[0], "--out", tmp_path / "film.mp4") == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1 and "imageio-ffmpeg" in line and "'film'" in line
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--out", "film.avi"), ".gif, .webp, .mp4"),
        (("--out", "nowhere/film.gif"), "a folder that exists"),
        (("--pace", 31), "2 to 30 days a second"),
        (("--days", 0), "1 to 730"),
        (("--policies", "weekly,every 14 days"), "weekly"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(words, told, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert command("film", folders()[0], *words) == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1 and told in line and not list(tmp_path.iterdir())


def test_a_study_has_no_film(capsys):
    assert command("film", folders()[1]) == 2
    assert "the folder of a comparison" in capsys.readouterr().err


def test_words_of_a_frame_are_the_numbers_of_the_day(rack, monkeypatch):
    said = []
    monkeypatch.setattr(raster, "write", lambda pen, x, y, text, size, **_: said.append(text))
    film.Shots(rack, PAIR, PACE, True).frame(40)
    assert said[0] == "Week 6 of 18"
    for place, side in enumerate(rack.sides):
        larvae = side.totals["harvest_larvae"].iloc[:41].sum()
        assert larvae > 0 and f"{larvae:,} larvae harvested so far".replace(",", " ") in said
        assert f"{('Old', 'New')[place]} way: {PAIR[place]}" in said


def test_moves_of_the_log_are_on_their_way_in_the_frames_that_follow(rack):
    side = rack.sides[0]
    flies = {"harvest": "larva", "pupae to the tray": "pupa", "beetles out": "beetle"}
    for word, glyph in flies.items():
        marks = side.marks[side.marks["word"] == word]
        day = int(marks["day"].iloc[-1]) - rack.first
        scene = rack_scene(side.contents[day], rack.scale)
        assert glyph in {mark.glyph for mark in film._flying(side, rack, day, scene)}
    still = replace(side, marks=side.marks.head(0))
    assert list(film._flying(still, rack, 60, scene)) == []


def test_pixels_of_a_scene_are_those_of_the_figure():
    """A rack of pasted signs against the same outlines drawn whole by Matplotlib."""
    content = example()
    scene = rack_scene(content, Scale.of([content]))
    scene.items = [item for item in scene.items if not isinstance(item, Words)]
    with style.theme():
        figure = style.new_figure()
        panel = style.axes(figure, 0, 0, style.WIDTH, style.HEIGHT)
        drawn.paint(panel, scene)
        figure.canvas.draw()
        whole = Image.fromarray(np.asarray(figure.canvas.buffer_rgba()).copy()).convert("RGB")
    box = panel.get_window_extent()
    unit = box.height / scene.height
    pasted = Image.new("RGB", whole.size, "white")
    raster.paint(pasted, scene, box.x0, whole.height - box.y1, unit)
    gap = np.abs(np.asarray(pasted, int) - np.asarray(whole, int)).mean()
    assert gap < 4 and np.asarray(whole).std() > 30
