"""``colony-sim copy``: the experiment files that come with the program, to be changed."""

from __future__ import annotations

from pathlib import Path

from colony_sim.atomic import make_folder, write_bytes
from colony_sim.commands.output import refuse_other_than_files
from colony_sim.errors import InputError
from colony_sim.experiment import shipped


def run_copy(name: str | None, *, to: Path, over: bool) -> None:
    """List the shipped files with their questions, or copy those of a name."""
    if name is None:
        print("These come with the program, all invented. To change one: colony-sim copy NAME.")
        width = max(map(len, shipped.names()))
        for each in shipped.names():
            print(f"{each:{width}}  {shipped.question(each)}")
        return
    copies = {path: to / path.name for path in shipped.files(name)}
    for copy in copies.values():
        if copy.exists() and not over:
            raise InputError(str(copy), "file", "exists", "a new file, or --over to replace it")
    refuse_other_than_files(copies.values())
    make_folder(to)
    for path, copy in copies.items():
        write_bytes(copy, path.read_bytes())
    print(f"Copied to {to}: {', '.join(path.name for path in copies)}.")
