"""Read what a plan is asked for: a plan file (TOML), options that stand above it, or both."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment import shipped
from colony_sim.experiment.files import (
    LARGEST_SEED,
    MOST_BREEDERS,
    MOST_LARVAE,
    Nothing,
    flatten,
)
from colony_sim.experiment.units import (
    KEYS,
    METRIC,
    House,
    house,
    in_model_units,
    read,
    using,
)
from colony_sim.inputs import read_text, refuse_long_keys
from colony_sim.planning import rack_now, room
from colony_sim.planning.animals import for_animals
from colony_sim.planning.wants import (
    AFTER_DAYS,
    AFTER_DAYS_BINS,
    PROBABILITY,
    STRETCH_DAYS,
    YEAR_STRETCHES,
    Have,
    Want,
    for_birds,
    stretches,
)

OPTIONS = ARGUMENT
BREEDERS = 300
AREA = 12.0
YEARS, YEARS_BINS = 3, 2
"""Years run, from beetles and from bins that are there, which need no start-up."""
_A_DATE = "a date from 2000-01-01 on, such as 2030-03-01"


@dataclass(frozen=True)
class Bounds:
    """What a key may be: whole number or not, and its limits."""

    whole: bool
    low: float
    high: float
    unit: str = ""

    def check(self, where: str, key: str, value: Any) -> float:
        """`value` in its type, or `InputError`."""
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if number and self.low <= value <= self.high and (not self.whole or value == int(value)):
            return int(value) if self.whole else float(value)
        noun = "a whole number" if self.whole else "a number"
        unit = f" ({self.unit})" if self.unit else ""
        raise InputError(where, key, value, f"{noun} from {self.low:g} to {self.high:g}{unit}")


RULES: dict[str, dict[str, Bounds]] = {
    "plan": {"years": Bounds(True, 2, 10, "years"), "seed": Bounds(True, 0, LARGEST_SEED)},
    "want": {
        "grams_per_day": Bounds(False, 0.01, 1e6, "g of live larvae a day"),
        "birds": Bounds(True, 1, 1_000_000, "birds"),
        "larvae_each": Bounds(False, 0.1, 1000, "larvae a bird a day"),
        "larva_mg": Bounds(False, 20, 400, "mg"),
        "probability": Bounds(False, 0.5, 0.99, "share of runs"),
        "after_days": Bounds(True, 0, 3000, "days from the start"),
    },
    "have": {
        "bins": Bounds(True, 2, 200, "bins"),
        "bin_area_dm2": Bounds(False, 1, 200, "dm2; a box of 40 by 30 cm has 12"),
        "minutes_per_week": Bounds(False, 1, 10_080, "minutes a week"),
        "breeders": Bounds(True, 2, MOST_BREEDERS, "beetles"),
        "larvae": Bounds(True, 0, MOST_LARVAE, "larvae"),
        "bran_price_per_kg": Bounds(False, 0, 1000, "money a kg of bran"),
    },
}
UNITS = {
    "want.grams_per_day": "g/d", "want.larva_mg": "mg", "have.bin_area_dm2": "dm2",
    "have.minutes_per_week": "min/week", "plan.cup_of_bran_g": "g", "plan.slice_of_carrot_g": "g",
}  # fmt: skip
"""Units of the keys for which a text with a unit may be written."""
_OF_OPTIONS = {
    **{key.split(".")[1]: unit for key, unit in UNITS.items()},
    **dict.fromkeys(("temperature", "coldest", "warmest"), "C"),
}
_NAMELESS = ("bin_area_dm2", "temperature", "coldest", "warmest")
"""Options whose name does not say their unit."""
_ALSO = {
    "plan": ("name", "start", "invented", *KEYS), "want": ("animals",), "have": ("log", "bin"),
}  # fmt: skip
"""Keys that are no numbers."""
_LISTED = {
    key: RULES["have"]["breeders" if key == "beetles" else "larvae"] for key in rack_now.LISTED
}
_TABLES = ("plan", "want", "have", "climate", "biology")


@dataclass(frozen=True)
class Request:
    """A plan asked for, checked.

    Attributes
    ----------
    name : str
        Of the plan; its folder is ``NAME-plan``.
    want, have : Want, Have
    climate : Climate
        Of the room; day 1 is the start.
    room_table : dict
        The ``[climate]`` table it was made from.
    start : date
        Day 1.
    years, seed : int
        Calendar years to run, and the seed.
    biology : dict
        Keys of the biology that differ from the defaults.
    text : str
        The plan file as read; empty if there was none.
    invented : bool
        Whether the plan file declares its scenario invented.
    house : House
        In which units quantities are shown.
    rack : RackNow or None
        The bins as they are on the day before the start; None: the plan begins from beetles.
    """

    name: str
    want: Want
    have: Have
    climate: Climate
    room_table: dict[str, Any]
    start: date
    years: int
    seed: int
    biology: dict[str, Any]
    text: str
    invented: bool = False
    house: House = METRIC
    rack: rack_now.RackNow | None = None

    @property
    def from_log(self) -> bool:
        """Whether the plan begins from a log, in the possible colonies nearest to it."""
        return self.rack is not None and self.rack.source == "log"

    @property
    def days(self) -> int:
        """Days of a run: whole calendar years from the start."""
        return (_years_on(self.start, self.years) - self.start).days


def read_request(path: Path | None, options: Mapping[str, Any]) -> Request:
    """A plan file with options above it.

    Parameters
    ----------
    path : Path or None
        The plan file, if there is one.
    options : mapping
        By key: the keys of `RULES`, ``start``, ``temperature``, ``coldest``, ``warmest``,
        ``coldest_day``, ``logger``, ``units``, ``animals``, ``log``; None means not given. A
        quantity may be a text with its unit.

    Raises
    ------
    InputError
    """
    where = str(path) if path is not None else OPTIONS
    text = "" if path is None else read_text(path)
    tables = _tables(text, where) if path is not None else {}
    given = {key: value for key, value in options.items() if value is not None}
    chosen = _house(tables, given, where)
    with using(chosen):
        tables = in_model_units(tables, where, UNITS)
        given = {key: _number(key, value) for key, value in given.items()}
    head, wants, haves = (dict(tables.get(name, {})) for name in ("plan", "want", "have"))
    for name, table in (("plan", head), ("want", wants), ("have", haves)):
        _check(name, table, where)
    own = {name: {k: given[k] for k in RULES[name] if k in given} for name in RULES}
    for name, table in own.items():
        _check(name, table, OPTIONS)
    if given.get("animals") is not None:
        own["want"]["animals"] = given["animals"]
    if {"grams_per_day", "birds", "animals"} & set(own["want"]):
        # One way to say what is wanted replaces the other.
        wants = {k: v for k, v in wants.items() if k in ("probability", "after_days")}
    invented = head.get("invented", False)
    if not isinstance(invented, bool):
        raise InputError(where, "plan.invented", invented, "true or false")
    table, source, base = _room(given, tables, path, where)

    def climate_from(day: date) -> Climate:
        return room.by_calendar(table, day, source, base)

    said = given.get("start", head.get("start"))
    begins = where if "start" not in given else None
    haves = {**haves, **own["have"]}
    listed, log = haves.pop("bin", None), _log(given, haves.pop("log", None), path, where)
    rack = None
    if log is not None:
        asked = None if said is None else _start(said, begins)
        rack, start = rack_now.from_log(log, asked, climate_from)
    else:
        start = _start(said, begins)
        rack = None if listed is None else rack_now.from_list(_bins(listed, where), start)
    usual = {} if rack is None else {"after_days": AFTER_DAYS_BINS}
    want = _want({**usual, **wants, **own["want"]}, where)
    have = _have(haves, where, rack)
    climate = climate_from(start)
    years = YEARS if rack is None else YEARS_BINS
    head = {"years": years, "seed": 1, **head, **own["plan"]}
    request = Request(
        name=str(head.get("name", path.stem if path is not None else "rack")),
        want=want, have=have, climate=climate, room_table=dict(table), start=start,
        years=head["years"], seed=head["seed"], biology=_biology(tables, where), text=text,
        invented=invented, house=chosen, rack=rack,
    )  # fmt: skip
    if stretches(want.after_days, request.days) < YEAR_STRETCHES:
        most = request.days - YEAR_STRETCHES * STRETCH_DAYS
        raise InputError(
            where, "after_days", want.after_days,
            f"at most {most} with {request.years} years: a year must be left to judge",
        )  # fmt: skip
    return request


def _house(tables: Mapping[str, Any], given: Mapping[str, Any], where: str) -> House:
    return House.of(tables.get("plan", {}), where, "plan.").in_units(given.get("units"))


def _number(key: str, value: Any) -> Any:
    """An option's text as a number: with a unit, or without one, which is then the model's."""
    unit = _OF_OPTIONS.get(key)
    if unit is None or not isinstance(value, str):
        return value
    try:
        number = float(value)
    except ValueError:
        return read(value, unit, OPTIONS, key)
    if house().system == "us" and key in _NAMELESS:
        # 40 would be a cold room in one country and a deadly one in another.
        example = "192 sq in" if unit == "dm2" else "62 F"
        raise InputError(OPTIONS, key, value, f'a number with its unit, such as "{example}"')
    return number


def _tables(text: str, where: str) -> dict[str, Any]:
    refuse_long_keys(text, where)
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # Of TOML, of too many digits, of nesting.
        raise InputError(where, "file", "not TOML", f"a plan file in TOML ({error})") from None
    if "experiment" in tables or "policy" in tables:
        raise InputError(
            where, "file", "an experiment file",
            "a plan file with [want] and [have]; for an experiment use colony-sim compare",
        )  # fmt: skip
    for name, table in tables.items():
        if name not in _TABLES:
            raise InputError(where, name, table, _hint(name, _TABLES, "tables"))
        if not isinstance(table, dict):
            raise InputError(where, name, table, f"a table [{name}]")
    return tables


def _check(name: str, table: dict[str, Any], where: str) -> None:
    known = [*RULES[name], *_ALSO[name]]
    for key, value in table.items():
        shown = key if where == OPTIONS else f"{name}.{key}"
        if key not in known:
            raise InputError(where, shown, value, _hint(key, known, "keys"))
        if key in RULES[name]:
            table[key] = RULES[name][key].check(where, shown, value)
        elif key == "name" and not (
            isinstance(value, str)
            and 0 < len(value) <= 64
            and all(c in "abcdefghijklmnopqrstuvwxyz0123456789_-" for c in value)
            and value[0] not in "_-"
        ):
            allowed = "1 to 64 of the characters a-z 0-9 _ -, the first a letter or digit"
            raise InputError(where, shown, value, allowed)


def _hint(key: str, known: Collection[str], what: str) -> str:
    near = get_close_matches(key, known, n=1, cutoff=0.6)
    start = f"did you mean {near[0]}? " if near else ""
    return f"{start}one of the {what} {', '.join(known)}"


def _start(value: Any, where: str | None) -> date:
    key, where = ("plan.start", where) if where not in (None, OPTIONS) else ("start", OPTIONS)
    if value is None:
        raise InputError(where, key, Nothing(), _A_DATE)
    if isinstance(value, datetime) or not isinstance(value, date | str):
        raise InputError(where, key, value, _A_DATE)
    if isinstance(value, str):
        try:
            # Only 2030-03-01: 01/03/2030 is March here and January there.
            value = datetime.strptime(value, "%Y-%m-%d").date()
        except ValueError:
            raise InputError(where, key, value, _A_DATE) from None
    if not 2000 <= value.year <= 9000:
        raise InputError(where, key, value.isoformat(), _A_DATE)
    return value


def _want(table: dict[str, Any], where: str) -> Want:
    rest = {
        "probability": table.get("probability", PROBABILITY),
        "after_days": table.get("after_days", AFTER_DAYS),
    }
    grams, birds = table.get("grams_per_day"), table.get("birds")
    key = "want.grams_per_day" if where != OPTIONS else "grams_per_day"
    if "animals" in table:
        other = [name for name in ("grams_per_day", "birds", "larvae_each") if name in table]
        if other:
            allowed = "either animals, or grams_per_day, or birds with larvae_each"
            raise InputError(where, other[0], table[other[0]], allowed)
        return for_animals(table["animals"], table.get("larva_mg"), where, **rest)
    flock = [name for name in ("birds", "larvae_each", "larva_mg") if table.get(name) is not None]
    if grams is not None:
        if flock:
            allowed = "either grams_per_day, or birds with larvae_each"
            raise InputError(where, flock[0], table[flock[0]], allowed)
        return Want(grams, **rest)
    if birds is None:
        raise InputError(where, key, Nothing(), "grams_per_day, or birds with larvae_each")
    return for_birds(birds, table.get("larvae_each"), table.get("larva_mg"), **rest)


def _have(table: dict[str, Any], where: str, rack: rack_now.RackNow | None) -> Have:
    key = "have.bins" if where != OPTIONS else "bins"
    if rack is not None:
        for name in ("breeders", "larvae"):
            if name in table:
                allowed = "without it: the insects are those in the bins that are there"
                raise InputError(where, name, table[name], allowed)
        if table.setdefault("bins", max(2, rack.bins)) < rack.bins:
            allowed = f"at least the {rack.bins} bins that are in use"
            raise InputError(where, key, table["bins"], allowed)
    if "bins" not in table:
        raise InputError(where, key, Nothing(), "the number of bins in the rack")
    return Have(
        bins=table["bins"],
        bin_area_dm2=table.get("bin_area_dm2", AREA),
        breeders=table.get("breeders", BREEDERS) if rack is None else 0,
        minutes_per_week=table.get("minutes_per_week"),
        larvae=table.get("larvae", 0),
        bran_price_per_kg=table.get("bran_price_per_kg"),
    )


def _log(given: Mapping[str, Any], said: Any, path: Path | None, where: str) -> Path | None:
    """The log that the plan begins from: that of the options, or that of the plan file."""
    if given.get("log") is not None:
        return Path(given["log"])
    if said is None:
        return None
    if not isinstance(said, str) or not said:
        raise InputError(where, "have.log", said, "the path of a bin log (CSV)")
    beside = Path(said) if path is None else path.parent / said
    # A plan file that was copied out still finds a log that comes with the program.
    return beside if beside.exists() else shipped.find(Path(said), shipped.LOG)


def _bins(listed: Any, where: str) -> list[dict[str, int]]:
    """What is in each bin of a short list."""
    allowed = f"one [[have.bin]] a bin, with {', '.join(_LISTED)}"
    if not isinstance(listed, list) or not all(isinstance(bin_, dict) for bin_ in listed):
        raise InputError(where, "have.bin", listed, allowed)
    found = []
    for number, bin_ in enumerate(listed, start=1):
        for key in bin_:
            if key not in _LISTED:
                raise InputError(where, f"have.bin {number}: {key}", bin_[key], allowed)
        found.append({
            key: int(_LISTED[key].check(where, f"have.bin {number}: {key}", value))
            for key, value in bin_.items()
        })  # fmt: skip
    if not any(sum(bin_.values()) for bin_ in found):
        raise InputError(where, "have.bin", "no insect", allowed)
    return found


def _room(
    given: Mapping[str, Any], tables: Mapping[str, Any], path: Path | None, where: str
) -> tuple[dict[str, Any], str, Path | None]:
    """The climate table, where it comes from and the folder its files are in."""
    wave = {key: given[key] for key in ("coldest", "warmest") if key in given}
    ways = [name for name in ("temperature", "logger") if name in given]
    ways += ["coldest"] if wave else []
    if len(ways) > 1:
        allowed = "one of `temperature`, `coldest` with `warmest`, `logger`"
        raise InputError(OPTIONS, ways[1], given.get(ways[1]), allowed)
    if "coldest_day" in given and not wave:
        allowed = "only with `coldest` and `warmest`"
        raise InputError(OPTIONS, "coldest_day", given["coldest_day"], allowed)
    if "temperature" in ways:
        table = {"kind": "constant", "temperature_c": given["temperature"]}
        return table, OPTIONS, None
    if "logger" in ways:
        return {"kind": "logger", "csv": str(given["logger"])}, OPTIONS, Path()
    if wave:
        for name in ("coldest", "warmest"):
            if name not in wave:
                raise InputError(OPTIONS, name, Nothing(), "degrees C, beside the other end")
        day = given.get("coldest_day", room.COLDEST_DAY)
        return room.wave_table(wave["coldest"], wave["warmest"], day), OPTIONS, None
    if "climate" not in tables:
        key = "climate" if path is not None else "temperature"
        allowed = "the room: `temperature`, `coldest` with `warmest`, or `logger`"
        if path is not None:
            allowed = "a [climate] table, or one of the options for the room"
        raise InputError(where, key, Nothing(), allowed)
    return dict(tables["climate"]), where, path.parent if path is not None else None


def _biology(tables: Mapping[str, Any], where: str) -> dict[str, Any]:
    values = flatten(tables.get("biology", {}), where)
    entries = catalogue()
    for key, value in values.items():
        if key in entries and entries[key].group != "biology":
            raise InputError(where, key, value, "biology keys; the plan chooses the handling")
    Parameters.default().with_values(values, where=where)
    return values


def _years_on(start: date, years: int) -> date:
    try:
        return start.replace(year=start.year + years)
    except ValueError:  # 29 February
        return date(start.year + years, 3, 1)
