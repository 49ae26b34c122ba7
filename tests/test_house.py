"""The packages stand on floors, and the picture of them in the contributor's guide is current."""

from __future__ import annotations

import house


def test_imports_of_packages_run_one_way():
    assert house.floors()["biology"] == 0
    assert max(house.floors(), key=house.floors().get) == "commands"


def test_every_package_says_which_question_it_answers():
    assert all(question.endswith("?") for question in house.packages().values())


def test_picture_is_current():
    assert house.PICTURE.read_text("utf-8") == house.picture(), "python tests/house.py renews it"
