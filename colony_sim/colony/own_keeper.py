"""Who works in a colony; and one's own, named by source so that worker processes can make it."""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import inspect
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol

from colony_sim.errors import InputError
from colony_sim.source import source_bytes

_ALLOWED = (
    "a class with work() of a module or file that a worker process can import, or its name, "
    "module:Class or rules.py:Class; none of a notebook, of the script itself or of a function"
)


class KeeperLike(Protocol):
    """Anyone who works in a colony.

    `keeper.Keeper` follows the handling keys of the parameters; a keeper of one's own is a
    subclass of it, or anything made from the colony that has the following. It sees and changes
    the colony through what it was made from: bins, insects, substrate, bin log. Insects that it
    takes out must be booked (`colony.hands.Hands._remove`), or the ledgers do not close. Its
    choices must be keyed draws (`population.draws`): the same seed must give the same run.

    Attributes
    ----------
    minutes : float
        Work of the day (min), for the daily series.
    """

    minutes: float

    def work(self) -> None:
        """Do the work of the day; called each day after the insects have lived it."""


MakeKeeper = Callable[[Any], KeeperLike]
"""Makes who works in a colony from its `rack.Rack`, on day 0 when the founders are in: a class, or
a function."""


@dataclass(frozen=True)
class OwnKeeper:
    """Makes the keeper of a colony (see `MakeKeeper`) from source that others can find.

    Attributes
    ----------
    source : str
        Name of a module, or path of a file that ends in .py.
    name : str
        Of the class or function in it.
    digest : str
        SHA-256 of its source: of the files of the class and of its bases outside this package.
    """

    source: str
    name: str
    digest: str

    def __call__(self, rack: Any) -> KeeperLike:
        """The keeper of a colony.

        Raises
        ------
        InputError
            If the source is not found here, or is not what it was.
        """
        make = _find(self.source, self.name)
        if _digest(make) != self.digest:
            raise InputError(
                "keeper", "source", f"{self.source}:{self.name}",
                f"unchanged source (SHA-256 {self.digest[:12]})",
            )  # fmt: skip
        return make(rack)


_HANDED_IN: set[OwnKeeper] = set()


def was_handed_in(keeper: OwnKeeper) -> bool:
    """Whether this program was given this keeper: code that only a folder names is not run."""
    return keeper in _HANDED_IN


def own_keeper(given: MakeKeeper | str) -> OwnKeeper:
    """Name a keeper by its source; it may be lived again from a results folder from then on.

    Parameters
    ----------
    given : callable or str
        A class or function of a module or file, or its name: ``module:Class`` or
        ``rules.py:Class``.

    Raises
    ------
    InputError
        If a worker process could not import it.
    """
    if isinstance(given, str):
        place, _, said = given.rpartition(":")
        if place.endswith(".py"):
            place = str(Path(place).resolve())
        return _handed_in(OwnKeeper(place, said, _digest(_find(place, said))))
    source, name = getattr(given, "__module__", None), getattr(given, "__qualname__", None)
    if not source or not name or source == "__main__" or "<" in name:
        raise InputError("keeper", "class", f"{source}.{name}" if name else given, _ALLOWED)
    try:
        importable = importlib.util.find_spec(source) is not None
    except (ImportError, ValueError):
        importable = False
    if not importable:
        # Loaded from a file by hand: workers do so as well.
        source = str(Path(_file(given)).resolve())
    return _handed_in(OwnKeeper(source, name, _digest(_find(source, name))))


def _handed_in(keeper: OwnKeeper) -> OwnKeeper:
    _HANDED_IN.add(keeper)
    return keeper


def _find(source: str, name: str) -> Any:
    """The class or function of this name."""
    try:
        found: Any = _load(Path(source)) if source.endswith(".py") else _import(source)
        for part in name.split("."):
            found = getattr(found, part)
    except (ImportError, AttributeError, OSError, ValueError) as error:
        said = f"{source}:{name}"
        raise InputError("keeper", "source", said, f"{_ALLOWED} ({error})") from None
    if not callable(found) or (inspect.isclass(found) and not hasattr(found, "work")):
        raise InputError("keeper", "source", f"{source}:{name}", _ALLOWED)
    return found


def _import(source: str) -> ModuleType:
    importlib.invalidate_caches()
    return importlib.import_module(source)


def _load(path: Path) -> ModuleType:
    """A file as a module, executed once as long as it stays the same."""
    name = f"_own_keeper_{hashlib.sha256(str(path).encode() + path.read_bytes()).hexdigest()}"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None and spec.loader is not None  # The path ends in .py.
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        try:
            spec.loader.exec_module(module)
        except BaseException:
            del sys.modules[name]
            raise
    return sys.modules[name]


def _file(made: Any) -> str:
    try:
        return inspect.getsourcefile(made) or inspect.getfile(made)
    except (TypeError, OSError):
        raise InputError("keeper", "class", made, _ALLOWED) from None


def _digest(made: Any) -> str:
    shipped = __name__.split(".")[0]
    digest = hashlib.sha256()
    for part in getattr(made, "__mro__", (made,)):
        if part.__module__.split(".")[0] in (shipped, "mesa", "builtins"):
            continue
        digest.update(source_bytes(_file(part)))
    return digest.hexdigest()
