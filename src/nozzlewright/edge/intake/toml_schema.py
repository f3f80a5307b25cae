"""What the TOML readers share: documents with line numbers, pressures with units, all faults.

A schema is a pydantic model derived from :class:`Table`. Its field names carry the trade's units
(``range_bar``) and its values stay in them; the reader that owns the schema turns them into SI.

Wherever a table has a pressure key such as ``from_bar``, the same pressure may be written as
``from = "150 at"``, ``from_at = 150``, ``from_mpa = 14.7`` ...; the model gets it in bar.
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from nozzlewright.errors import Fault, InputFault, UnitFault
from nozzlewright.measurement import PRESSURE_UNITS, pressure_unit
from nozzlewright.measurement.units import BAR

LARGEST_TOML_BYTES = 4_000_000
"""A file written by hand is never larger; anything above is not what it claims to be."""
_MOST_DOTS = 150
_DECIMAL = re.compile(r"(?<!\d)\d++\.\d++(?![ \t]*+\.)")

Key = str | int
Location = tuple[Key, ...]


class Objection(ValueError):
    """What a validator says of a value: becomes one :class:`Fault` with its own remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


# --- documents ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class TomlDocument:
    """A TOML file that was read, with the lines on which its keys stand."""

    path: Path
    data: Mapping[str, Any]
    digest: str
    """SHA-256 of the raw bytes, in hexadecimal."""
    lines: Mapping[Location, int]

    def where(self, location: Location = ()) -> str:
        """Return ``file, line n, table.key`` as near as it is known."""
        line = None
        for length in range(len(location), 0, -1):
            line = self.lines.get(location[:length])
            if line is not None:
                break
        parts = [self.path.name]
        if line is not None:
            parts.append(f"line {line}")
        if location:
            parts.append(dotted(location))
        return ", ".join(parts)


def dotted(location: Location) -> str:
    """Return a location as a person reads it; items are counted from 1.

    >>> dotted(("injector", 2, "shim_mm"))
    'injector[3].shim_mm'
    """
    text = ""
    for key in location:
        if isinstance(key, int):
            text += f"[{key + 1}]"
        else:
            text += f".{key}" if text else str(key)
    return text


def _refusal(path: Path, fault: type[InputFault]) -> Callable[..., InputFault]:
    name = path.name or str(path)

    def refuse(what: str, remedy: str, line: int | None = None) -> InputFault:
        return fault(Fault(what, name if line is None else f"{name}, line {line}", remedy))

    return refuse


def read_toml(path: Path, fault: type[InputFault]) -> TomlDocument:
    """Read a TOML file.

    Parameters
    ----------
    path : Path
        File to read
    fault : type of InputFault
        Error to raise, so that each reader speaks in its own

    Raises
    ------
    InputFault
        If the file is missing, unreadable, too large, not UTF-8 or not TOML.
    """
    refuse = _refusal(path, fault)
    try:
        if path.is_dir():
            raise refuse("this is a folder, not a file", "Name the TOML file itself")
        with path.open("rb") as file:
            raw = file.read(LARGEST_TOML_BYTES + 1)
    except FileNotFoundError:
        raise refuse(f"there is no such file ({path})", "Check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise refuse(
            f"the file cannot be read ({error})", "Check the name and its rights"
        ) from None
    return toml_document(path, raw, fault)


def toml_document(path: Path, raw: bytes, fault: type[InputFault]) -> TomlDocument:
    """Return the content of a TOML file, wherever it came from.

    Parameters
    ----------
    path : Path
        Name for the faults
    raw : bytes
        The content
    fault : type of InputFault
        Error to raise, so that each reader speaks in its own

    Raises
    ------
    InputFault
        If it is too large, not UTF-8 or not TOML.
    """
    refuse = _refusal(path, fault)
    if len(raw) > LARGEST_TOML_BYTES:
        raise refuse(
            f"the file is larger than {LARGEST_TOML_BYTES / 1e6:.0f} MB",
            "A file of this kind is written by hand; check that it is the right one",
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        bad = raw[: error.start].count(b"\n") + 1
        raise refuse("the file is not UTF-8 text", "Save it as UTF-8", bad) from None
    if (dotted := _dotted_line(text)) is not None:
        # To read a key of that many parts takes the time of their number squared.
        raise refuse(f"the line has more than {_MOST_DOTS} dots", "Write the tables flat", dotted)
    try:
        # TOML knows two line ends; a lone carriage return is an old editor's third.
        data = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except RecursionError:
        raise refuse("brackets are nested too deeply", "Write the tables flat") from None
    except ValueError as error:
        place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", str(error))
        what = re.sub(r"\s*\(at [^)]*\)$", "", str(error)).split(": value has")[0]
        last = text.count("\n") + 1
        line = int(place[1]) if place and place[1] else last if place else None
        raise refuse(
            f"this is not valid TOML: {what[:1].lower()}{what[1:]}",
            'Write key = value, text in "quotes", numbers with a decimal point',
            line,
        ) from None
    return TomlDocument(path, data, hashlib.sha256(raw).hexdigest(), _lines_of(text))


_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_PAIR = re.compile(
    r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')


def _lines_of(text: str) -> dict[Location, int]:
    """Return the line of each key and table header, for pointing only; a miss costs precision."""
    lines: dict[Location, int] = {}
    table: Location = ()
    counts: dict[Location, int] = {}
    depth = 0
    fence = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if fence:
            if fence in line:
                fence = ""
            continue
        if depth == 0:
            if header := _HEADER.match(line):
                table = _resolved(_split_key(header[2]), counts)
                if header[1] == "[[":
                    counts[table] = counts.get(table, -1) + 1
                    lines.setdefault(table, number)
                    table = (*table, counts[table])
                lines.setdefault(table, number)
                continue
            if pair := _PAIR.match(line):
                keys = _split_key(pair[1])
                for length in range(1, len(keys) + 1):
                    lines.setdefault((*table, *keys[:length]), number)
        for mark in ('"""', "'''"):
            if line.count(mark) % 2:
                fence = mark
        bare = _QUOTED.sub("", line).split("#")[0]
        value = bare.split("=", 1)[1] if depth == 0 and "=" in bare else bare
        depth = max(0, depth + value.count("[") + value.count("{"))
        depth = max(0, depth - value.count("]") - value.count("}"))
    return lines


def _split_key(text: str) -> Location:
    return tuple(
        part.strip().strip("\"'") for part in re.findall(r"\"[^\"]*\"|'[^']*'|[^.]+", text)
    )


def _resolved(keys: Location, counts: Mapping[Location, int]) -> Location:
    """Return keys with the running index behind each array of tables but the last key."""
    path: Location = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if position < len(keys) - 1 and path in counts:
            path = (*path, counts[path])
    return path


# --- numbers and pressures ---------------------------------------------------------------------

LARGEST_NUMBER = 1e12
"""No value at a bench is larger; the bound keeps products of two finite."""
SMALLEST_NUMBER = 1e-12


def _not_next_to_nothing(value: float) -> float:
    if 0.0 < value < SMALLEST_NUMBER:
        raise Objection(f"{value:g} is next to nothing", "Check the value and its unit")
    return value


Number = Annotated[
    float, Field(strict=True, allow_inf_nan=False, ge=-LARGEST_NUMBER, le=LARGEST_NUMBER)
]
"""A finite number; text and true/false are refused."""
Positive = Annotated[
    float,
    Field(strict=True, allow_inf_nan=False, gt=0.0, le=LARGEST_NUMBER),
    AfterValidator(_not_next_to_nothing),
]
NonNegative = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.0, le=LARGEST_NUMBER)]
Count = Annotated[int, Field(strict=True, ge=0, le=1_000_000)]
Text = Annotated[str, Field(strict=True, max_length=2000)]
Flag = Annotated[bool, Field(strict=True)]


def _date(value: object) -> object:
    if isinstance(value, dt.date):  # a datetime too
        return value.isoformat()
    if isinstance(value, str):
        for kind in (dt.date, dt.datetime):
            with suppress(ValueError):
                return kind.fromisoformat(value.strip()).isoformat()
    raise Objection(f"{shown(value)} is not a date", "Write year-month-day: 2026-03-31")


IsoDate = Annotated[str, BeforeValidator(_date)]
"""A date, bare or in quotes; kept as ISO 8601 text."""
IsoDay = Annotated[IsoDate, AfterValidator(lambda text: text[: len("2026-03-31")])]
"""A date of which the day counts: a time of day beside it is left out."""


@dataclass(frozen=True)
class WrittenPressure:
    """A pressure as somebody wrote it."""

    value: float
    unit: str
    """As named in ``PRESSURE_UNITS``."""

    @property
    def bar(self) -> float:
        """The same pressure, [bar]."""
        if self.unit == "bar":
            return self.value
        return self.value * PRESSURE_UNITS[self.unit] / BAR


_NUMBER_AND_UNIT = re.compile(
    r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s.,].*?)?\s*$"
)
_EXAMPLE = 'Write a number, a space and the unit: "150 at", "14.7 MPa", "147 bar"'
_ASK_ATMOSPHERE = (
    "Look up which one the document means: 'technical atm' (at = 0.980665 bar, one kgf/cm2) or "
    "'standard atm' (1.01325 bar), and write that"
)


def stated_pressure_unit(text: str) -> str:
    """Return the unit named in a sheet or in conditions, where an atmosphere must be said.

    Raises
    ------
    Objection
        If the unit is unknown, or an atmosphere of which it is not said which.

    >>> stated_pressure_unit("technical atm"), stated_pressure_unit("kp/cm²")
    ('at', 'kgf/cm2')
    """
    plain = " ".join(text.split())
    named = re.fullmatch(r"(standard|technical)\s+(?:atm|atmospheres?)\.?", plain.lower())
    if named:
        return "atm" if named[1] == "standard" else "at"
    if plain.lower().rstrip(".") in {"atm", "atmosphere", "atmospheres"}:
        raise Objection(f"'{plain}' may mean two units of pressure", _ASK_ATMOSPHERE)
    if plain.lower() in {"kg", "kgf", "kp", "lb", "lbs", "pounds"}:
        raise Objection(f"'{plain}' is a weight, not a pressure", "Write kgf/cm2 or psi in full")
    try:
        return pressure_unit(plain)
    except UnitFault as error:
        raise Objection(
            f"'{plain}' is not a unit of pressure known here",
            str(error).split("; ", 1)[-1][:1].upper() + str(error).split("; ", 1)[-1][1:],
        ) from None


def parse_pressure(text: str) -> WrittenPressure:
    """Return the pressure in text such as ``150 at``.

    Raises
    ------
    Objection
        If there is no number, no unit, or a unit that leaves a doubt.

    >>> parse_pressure("175 at").bar
    171.616375
    """
    match = _NUMBER_AND_UNIT.match(text)
    if match is None:
        remedy = _EXAMPLE
        if re.match(r"^\s*[+-]?\d[\d.]*,\d", text):
            remedy += "; with a decimal point and without thousands separators"
        raise Objection(f"{shown(text)} is not a pressure", remedy)
    if not match[2]:
        raise Objection(f"{shown(text)} has no unit", _EXAMPLE)
    unit = stated_pressure_unit(match[2])
    value = float(match[1])
    if not abs(value) < LARGEST_NUMBER:
        raise Objection(f"{shown(text)} is beyond any pressure", _EXAMPLE)
    return WrittenPressure(value, unit)


@dataclass(frozen=True)
class _Written:
    """A pressure under a key that is not the schema's own, on its way to the validator."""

    key: str
    value: object
    unit: str | None
    """Unit that the key names; None where the key names none."""


@dataclass(frozen=True)
class _Clash:
    """One pressure written twice."""

    keys: tuple[str, ...]


_KEY_UNITS: Mapping[str, str] = {
    "pa": "Pa", "hpa": "hPa", "kpa": "kPa", "mpa": "MPa", "mbar": "mbar", "bar": "bar",
    "psi": "psi", "kgf_cm2": "kgf/cm2", "kg_cm2": "kgf/cm2", "at": "at", "atm": "",
    "technical_atm": "at", "standard_atm": "atm",
}  # fmt: skip


def _in_bar(value: object) -> object:
    if isinstance(value, _Clash):
        raise Objection(
            f"one pressure is written twice ({' and '.join(value.keys)})", "Keep one of them"
        )
    key, unit = "", "bar"
    if isinstance(value, _Written):
        if value.unit == "":
            raise Objection(f"the key {value.key} may mean two units", _ASK_ATMOSPHERE)
        if value.unit is None and not isinstance(value.value, str):
            raise Objection(f"{shown(value.value)} has no unit", _EXAMPLE)
        key, unit = value.key, value.unit or ""
        value = value.value
    if isinstance(value, str):
        written = parse_pressure(value)
        if unit and written.unit != unit:
            stem = re.sub(r"_[a-z0-9]+$", "", key) if key else "the key without _bar"
            raise Objection(
                f"the key says {unit}, the value says {written.unit}",
                f'Use {stem}, as in {stem if key else "from"} = "{value}"',
            )
        return written.bar
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Objection(f"{shown(value)} stands where a pressure belongs", _EXAMPLE)
    if not abs(value) < LARGEST_NUMBER:
        raise Objection(f"{shown(value)} is beyond any pressure", _EXAMPLE)
    return WrittenPressure(float(value), unit).bar


Pressure = Annotated[float, BeforeValidator(_in_bar), Field(allow_inf_nan=False)]
"""A pressure, [bar]: a number under a key that ends in ``_bar``, or text with its unit."""
PositivePressure = Annotated[
    float,
    BeforeValidator(_in_bar),
    Field(allow_inf_nan=False, gt=0.0),
    AfterValidator(_not_next_to_nothing),
]
NonNegativePressure = Annotated[float, BeforeValidator(_in_bar), Field(allow_inf_nan=False, ge=0.0)]


def _each_in_bar(value: object) -> object:
    if isinstance(value, _Written) and isinstance(value.value, list):
        return [_Written(value.key, item, value.unit) for item in value.value]
    if isinstance(value, _Clash):
        return [value]
    return value.value if isinstance(value, _Written) else value


Pressures = Annotated[
    tuple[PositivePressure, ...], BeforeValidator(_each_in_bar), Field(max_length=10_000)
]
"""A list of pressures, [bar], under a key that ends in ``_bar`` or its other spellings."""
NonNegativePressures = Annotated[
    tuple[NonNegativePressure, ...], BeforeValidator(_each_in_bar), Field(max_length=10_000)
]


class Table(BaseModel):
    """Base of every schema table: unknown keys are faults, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _accept_pressures_in_other_units(cls, data: object) -> object:
        if not isinstance(data, Mapping):
            return data
        kept = dict(data)
        for field in cls.model_fields:
            if not is_pressure_key(field):
                continue
            given = [key for key in spellings(field) if key in data and key not in cls.model_fields]
            if field in data:
                given.insert(0, field)
            if len(given) > 1:
                kept[field] = _Clash(tuple(given))
            elif given and given[0] != field:
                kept[field] = _Written(given[0], data[given[0]], _unit_in_key(field, given[0]))
            for key in given:
                if key != field:
                    del kept[key]
        return kept


def is_pressure_key(field: str) -> bool:
    """Return whether a schema key holds a pressure (``from_bar``, not ``mm3_per_bar``)."""
    return field.endswith("_bar") and not field.endswith("_per_bar")


def spellings(field: str) -> tuple[str, ...]:
    """Return every other key under which a pressure may be written.

    >>> "from_at" in spellings("from_bar"), "from" in spellings("from_bar")
    (True, True)
    """
    stem = field.removesuffix("_bar")
    return (stem, *(f"{stem}_{unit}" for unit in _KEY_UNITS if unit != "bar"))


def pressure_stem(key: str) -> str:
    """Return what is common to all spellings of one pressure key.

    >>> pressure_stem("from_at"), pressure_stem("from_bar"), pressure_stem("at_c")
    ('from', 'from', 'at_c')
    """
    for unit in sorted(_KEY_UNITS, key=len, reverse=True):
        if key.endswith(f"_{unit}"):
            return key.removesuffix(f"_{unit}")
    return key


def _unit_in_key(field: str, key: str) -> str | None:
    stem = field.removesuffix("_bar")
    return None if key == stem else _KEY_UNITS[key.removeprefix(f"{stem}_")]


# --- validation --------------------------------------------------------------------------------

Model = TypeVar("Model", bound=BaseModel)


def validated(model: type[Model], document: TomlDocument, fault: type[InputFault]) -> Model:
    """Return the document as a model.

    Raises
    ------
    InputFault
        With every fault found.
    """
    result, faults = checked(model, document, document.data)
    if result is None:
        raise fault(faults)
    return result


def _dotted_line(text: str) -> int | None:
    """Return the first line with a key, or text, of very many dots; those of numbers aside."""
    for number, line in enumerate(text.replace("\r", "\n").split("\n"), 1):
        if line.count(".") > _MOST_DOTS and _DECIMAL.sub("", line).count(".") > _MOST_DOTS:
            return number
    return None


def checked(
    model: type[Model], document: TomlDocument, data: object, at: Location = ()
) -> tuple[Model | None, list[Fault]]:
    """Return a part of a document as a model, or None with every fault found in it.

    Parameters
    ----------
    model : type
        Schema of that part
    document : TomlDocument
        Where the part stands, for the faults
    data : object
        The part, as parsed
    at : tuple
        Location of the part in the document
    """
    try:
        return model.model_validate(data), []
    except ValidationError as error:
        faults = [
            _fault_of(dict(detail), model, document, data, at)
            for detail in error.errors(include_url=False)
        ]
        return None, list(dict.fromkeys(faults))
    except RecursionError:
        return None, [Fault("tables are nested too deeply", document.where(at), "Write them flat")]


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant, or None.

    >>> nearest("temprature_c", ["temperature_c", "name"])
    'temperature_c'
    """
    found = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def shown(value: object) -> str:
    """Return a value as a fault shows it: short, text in quotes."""
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    try:
        text = f"'{value}'" if isinstance(value, str) else str(value)
    except ValueError:  # an integer beyond the digits that Python prints
        return "a number beyond any use"
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}..."


def _fault_of(
    detail: dict[str, Any],
    model: type[BaseModel],
    document: TomlDocument,
    data: object,
    at: Location,
) -> Fault:
    location: Location = _as_written(tuple(detail["loc"]), data)
    where = document.where((*at, *location))
    kind, value = detail["type"], detail.get("input")
    context = detail.get("ctx", {})
    if isinstance(context.get("error"), Objection):
        objection = context["error"]
        return Fault(objection.what, where, objection.remedy)
    if kind == "extra_forbidden":
        known = sorted(_known_keys(model, location[:-1]))
        meant = nearest(str(location[-1]), known)
        remedy = f"Did you mean '{meant}'?" if meant else f"Known here: {', '.join(known)}"
        return Fault(f"'{location[-1]}' is not a key of this table", where, remedy)
    if kind == "missing":
        return Fault(f"the key '{location[-1]}' is missing", where, f"Add {location[-1]} = ...")
    if kind in {"enum", "literal_error"}:
        expected = str(context.get("expected", ""))
        words = re.findall(r"'([^']*)'", expected)
        meant = nearest(value, words) if isinstance(value, str) else None
        remedy = f"Use one of {expected}" + (f"; did you mean '{meant}'?" if meant else "")
        return Fault(f"{shown(value)} is not one of the words known here", where, remedy)
    bounds = {
        "greater_than": "must be more than {gt:g}",
        "greater_than_equal": "must not be less than {ge:g}",
        "less_than": "must be less than {lt:g}",
        "less_than_equal": "must not be more than {le:g}",
    }
    if kind in bounds:
        rule = bounds[kind].format(**context)
        return Fault(f"{shown(value)} {rule}", where, "Check the value and its unit")
    wanted = {
        "float_type": "a number", "int_type": "a whole number", "int_from_float": "a whole number",
        "bool_type": "true or false", "string_type": "text in quotes",
        "model_type": "a table", "model_attributes_type": "a table", "dict_type": "a table",
        "list_type": "a list", "tuple_type": "a list", "finite_number": "a finite number",
    }  # fmt: skip
    if kind in wanted:
        return Fault(
            f"{shown(value)} stands where {wanted[kind]} belongs", where, f"Write {wanted[kind]}"
        )
    message = str(detail.get("msg", "not usable"))
    return Fault(
        f"{shown(value)} cannot be used ({message[:1].lower()}{message[1:]})",
        where,
        "Compare it with the reference of this file in the documentation",
    )


def _as_written(location: Location, data: object) -> Location:
    """Return a location with the pressure key that the person wrote, not the schema's."""
    written: list[Key] = []
    for key in location:
        if (
            isinstance(key, str)
            and isinstance(data, Mapping)
            and key not in data
            and is_pressure_key(key)
        ):
            key = next((other for other in spellings(key) if other in data), key)
        written.append(key)
        if isinstance(data, Mapping):
            data = data.get(key)
        elif isinstance(data, list) and isinstance(key, int) and key < len(data):
            data = data[key]
        else:
            data = None
    return tuple(written)


def _known_keys(model: type[BaseModel], location: Location) -> set[str]:
    current: set[type[BaseModel]] = {model}
    for key in location:
        if isinstance(key, int):
            continue
        current = {
            inner
            for outer in current
            if key in outer.model_fields
            for inner in _models_in(outer.model_fields[key].annotation)
        }
    return {field.alias or name for one in current for name, field in one.model_fields.items()}


def _models_in(annotation: object) -> set[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return {annotation}
    origin = get_origin(annotation)
    if origin in {Union, UnionType, Annotated} or origin in {list, tuple, dict}:
        return {inner for part in get_args(annotation) for inner in _models_in(part)}
    return set()


__all__ = [
    "LARGEST_TOML_BYTES",
    "Count",
    "Flag",
    "IsoDate",
    "IsoDay",
    "Location",
    "NonNegative",
    "NonNegativePressure",
    "NonNegativePressures",
    "Number",
    "Objection",
    "Positive",
    "PositivePressure",
    "Pressure",
    "Pressures",
    "Table",
    "Text",
    "TomlDocument",
    "WrittenPressure",
    "checked",
    "dotted",
    "is_pressure_key",
    "nearest",
    "parse_pressure",
    "pressure_stem",
    "read_toml",
    "shown",
    "spellings",
    "stated_pressure_unit",
    "toml_document",
    "validated",
]
