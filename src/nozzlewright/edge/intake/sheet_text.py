"""A setting sheet as a form: what was typed becomes TOML, and TOML becomes what was typed.

The names of the fields are those of the form on the screen. What the form says is exactly what
:func:`nozzlewright.edge.intake.sheet.read_sheet` reads from the text; a fault that the reader finds
names the field in which it was typed.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import tomlkit
from pydantic import BaseModel
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from nozzlewright.bench import SettingSheet
from nozzlewright.edge.intake.printed import (
    SHOW_IN,
    Digits,
    Kind,
    Printed,
    Unsettled,
    agree,
    cross_check,
    read_printed,
)
from nozzlewright.edge.intake.sheet import SECTIONS, sheet_of
from nozzlewright.edge.intake.toml_schema import (
    Location,
    Objection,
    is_pressure_key,
    toml_document,
)
from nozzlewright.errors import Fault, SheetFault
from nozzlewright.measurement.units import BAR, STANDARD_ATMOSPHERE, TECHNICAL_ATMOSPHERE
from nozzlewright.said import Unit, figure, say

FILE = Path("sheet.toml")
"""Name of a sheet that is not a file yet, for its faults."""
YES = "yes"
MARGIN, FIXED = "margin", "fixed"
DRY, DAMP = "dry", "damp"
CLEAR, WEAK = "clear", "weak"
BETWEEN_SOURCE_AND_EDITION = "; "

_TEXTS: Mapping[str, Location] = MappingProxyType(
    {
        "title": ("title",),
        "injector": ("injector",),
        "rule": ("rule",),
        "atmosphere": ("atmosphere",),
        "washer": ("washer",),
        "new_target": ("opening", "new", "target"),
        "new_page": ("opening", "new", "page"),
        "used_target": ("opening", "used", "target"),
        "used_page": ("opening", "used", "page"),
        "seat_tolerance": ("seat", "tolerance"),
        "seat_words": ("seat", "printed"),
        "seat_page": ("seat", "page"),
        "fall_temperature": ("back_leakage", "reference_temperature"),
        "fall_viscosity": ("back_leakage", "reference_viscosity"),
        "fall_compliance": ("back_leakage", "reference_compliance"),
        "fall_page": ("back_leakage", "page"),
        "drops_pressure": ("leak_off", "pressure"),
        "drops_tolerance": ("leak_off", "tolerance"),
        "drops_words": ("leak_off", "printed"),
        "drops_page": ("leak_off", "page"),
        "chatter_words": ("chatter", "printed"),
        "chatter_page": ("chatter", "page"),
        "spray_words": ("spray", "printed"),
        "spray_page": ("spray", "page"),
        "spread": ("set", "spread"),
        "spread_words": ("set", "printed"),
        "spread_page": ("set", "page"),
        "shim_effect": ("adjustment", "shim_effect"),
        "shim_doubt": ("adjustment", "shim_effect_uncertainty"),
        "shim_thinnest": ("adjustment", "shim_range", "thinnest"),
        "shim_thickest": ("adjustment", "shim_range", "thickest"),
        "shim_step": ("adjustment", "shim_range", "step"),
        "screw_effect": ("adjustment", "screw_effect"),
        "screw_doubt": ("adjustment", "screw_effect_uncertainty"),
        "screw_pitch": ("adjustment", "screw_pitch"),
        "reassembly": ("adjustment", "reassembly"),
        "adjust_words": ("adjustment", "printed"),
        "adjust_page": ("adjustment", "page"),
        "guide_diameter": ("nozzle", "guide_diameter"),
        "seat_diameter": ("nozzle", "seat_diameter"),
        "guide_length": ("nozzle", "guide_length"),
        "body_diameter": ("nozzle", "body_diameter"),
        "spring_rate": ("nozzle", "spring_rate"),
        "spring_free": ("spring", "free_length"),
        "spring_least": ("spring", "least_free_length"),
        "spring_wire": ("spring", "wire_diameter"),
        "spring_mean": ("spring", "mean_diameter"),
        "spring_outer": ("spring", "outer_diameter"),
        "spring_solid": ("spring", "solid_length"),
        "spring_load": ("spring", "load"),
        "spring_loaded": ("spring", "loaded_length"),
        "needle_lift": ("spring", "needle_lift"),
        "spring_words": ("spring", "printed"),
        "spring_page": ("spring", "page"),
    }
)
"""Fields that are written as they are typed, each with its key."""

_NUMBERS: Mapping[str, Location] = MappingProxyType(
    {
        "seat_seconds": ("seat", "seconds"),
        "fall_least": ("back_leakage", "at_least_s"),
        "fall_most": ("back_leakage", "at_most_s"),
        "drops_seconds": ("leak_off", "seconds"),
        "chatter_openings": ("chatter", "minimum_openings_per_stroke"),
        "spring_active": ("spring", "active_coils"),
        "spring_total": ("spring", "total_coils"),
    }
)
_COUNTS: Mapping[str, Location] = MappingProxyType(
    {
        "drops_least": ("leak_off", "at_least_drops"),
        "drops_most": ("leak_off", "at_most_drops"),
    }
)
_FLAGS: Mapping[str, Location] = MappingProxyType(
    {
        "invented": ("invented",),
        "stack_allowed": ("adjustment", "stack_allowed"),
        "two_spring": ("nozzle", "two_spring"),
    }
)
_OTHER_KEYS: Mapping[str, str] = MappingProxyType(
    {
        "source": "document",
        "opening": "used",
        "opening.new": "new",
        "opening.used": "used",
        "seat": "seat_pressure",
        "seat.damp_allowed": "seat_tip",
        "back_leakage": "fall",
        "back_leakage.printed": "fall_words",
        "leak_off": "drops_pressure",
        "chatter": "chatter",
        "chatter.weak_allowed": "chatter",
        "spray": "spray_words",
        "set": "spread",
        "adjustment": "shim_effect",
        "adjustment.shim_sizes": "shim_list",
        "adjustment.shim_range": "shim_thinnest",
        "nozzle": "guide_diameter",
        "spring": "spring_free",
        "steps": "left_out",
        "steps.leave_out": "left_out",
    }
)

_ROW = re.compile(r"(torque|step)_(\d{1,3})_\w+")

_PAGE_OF: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "new_page": ("new", "new_target"),
        "used_page": ("used", "used_target"),
        "seat_page": ("seat_pressure", "seat_tolerance", "seat_seconds", "seat_tip", "seat_words"),
        "fall_page": (
            "fall", "fall_least", "fall_most", "fall_temperature", "fall_viscosity",
            "fall_compliance", "fall_words",
        ),
        "drops_page": (
            "drops_pressure", "drops_tolerance", "drops_seconds", "drops_least", "drops_most",
            "drops_words",
        ),
        "chatter_page": ("chatter", "chatter_openings", "chatter_words"),
        "spray_page": ("spray_words",),
        "spread_page": ("spread", "spread_words"),
        "adjust_page": (
            "shim_effect", "shim_doubt", "screw_effect", "screw_doubt", "screw_pitch",
            "reassembly", "adjust_words",
        ),
        "spring_page": (
            "spring_free", "spring_least", "spring_wire", "spring_mean", "spring_outer",
            "spring_active", "spring_total", "spring_solid", "spring_load", "spring_loaded",
            "needle_lift", "spring_words",
        ),
    }
)  # fmt: skip
"""For each field that asks for the page: the fields of which one makes it needed."""

_NEEDED = (
    ("seat_pressure", "seat_page", say("the pressure of the hold is not given"),
     say("Write it with its unit, as in 20 bar (290 psi)")),
    ("seat_seconds", "seat_page", say("the time of the hold is not given"),
     say("Write the seconds")),
    ("seat_tip", "seat_page", say("it is not said whether the tip may be damp"),
     say("Choose one")),
    ("fall", "fall_page", say("the two pressures of the fall are not given"),
     say("Write them with their unit, as in 150 to 100 bar (2176 to 1450 psi)")),
    ("fall_least fall_most", "fall_page", say("there is no limit for the time of the fall"),
     say("Write the least time, the most, or both")),
    ("drops_pressure", "drops_page", say("the pressure at which drops are counted is not given"),
     say("Write it with its unit, as in 103 bar (1500 psi)")),
    ("drops_seconds", "drops_page", say("the time over which drops are counted is not given"),
     say("Write the seconds")),
    ("drops_least drops_most", "drops_page", say("there is no limit for the drops"),
     say("Write the least number, the most, or both")),
    ("chatter", "chatter_page", say("it is not said what chatter is asked for"),
     say("Choose one")),
    ("spread", "spread_page", say("the spread of the set is not given"),
     say("Write it with its unit, as in 5 bar (73 psi)")),
)  # fmt: skip
"""What a limit cannot do without: fields, its page, what is wrong, remedy."""


# --- from the form to the text ------------------------------------------------------------------


def sheet_text(typed: Mapping[str, str], copied: bytes = b"") -> bytes:
    """Return the TOML of the sheet that a form states.

    Parameters
    ----------
    typed : mapping
        What stands in each field; one that is missing is empty. Rows are ``torque_1_part``,
        ``torque_1_value`` ... and ``step_1_title`` ...; steps left out are keys with blanks between
    copied : bytes
        The sheet with which the form began: its remarks, its order and what was not changed stay
        as they are written there

    Raises
    ------
    SheetFault
        With every fault found, by the reader too; ``where`` names the field.
    """
    form = _Typed(typed)
    tables = _tables(form)
    raw = tomlkit.dumps(_document(tables)).encode()
    faults = form.faults
    try:
        sheet_of(toml_document(FILE, raw, SheetFault))
    except SheetFault as fault:
        known = {one.where for one in faults}
        for one in fault.faults:
            name = form.field_at(one.where)
            if name not in known:
                faults += _as_while_typing(form, Fault(one.what, name, one.remedy))
    if faults:
        raise SheetFault(dict.fromkeys(faults))
    return _edited(copied, raw) if copied else raw


def _edited(copied: bytes, new: bytes) -> bytes:
    """Return a sheet that says what the new one says, written as far as it can be like the old."""
    try:
        document = tomlkit.parse(copied.decode("utf-8"))
        wanted = tomlkit.parse(new.decode("utf-8"))
        _write_over(document, wanted)
        edited = tomlkit.dumps(document).encode("utf-8")
        if tomllib.loads(edited.decode("utf-8")) == tomllib.loads(new.decode("utf-8")):
            return edited
    except (ValueError, TOMLKitError):
        pass
    # What cannot be edited is written anew: the content goes before the remarks.
    return new


def _write_over(old: MutableMapping[str, Any], new: Mapping[str, Any]) -> None:
    """Change a table in place into another one; what is alike stays as it is written."""
    for key in [key for key in old if key not in new]:
        del old[key]
    for key, value in new.items():
        there = old.get(key)
        if isinstance(there, MutableMapping) and isinstance(value, Mapping):
            _write_over(there, value)
        elif isinstance(there, AoT) and isinstance(value, AoT):
            for table, wanted in zip(there, value, strict=False):
                _write_over(table, wanted)
            for _ in range(len(value), len(there)):
                there.pop()
            for wanted in list(value)[len(there) :]:
                there.append(wanted)
        elif there is None or _unwrapped(there) != _unwrapped(value):
            old[key] = value


def _unwrapped(value: Any) -> Any:
    """Return a value of TOML as plain data."""
    return value.unwrap() if hasattr(value, "unwrap") else value


def _as_while_typing(form: _Typed, read: Fault) -> Sequence[Fault]:
    """Return a fault of units that disagree or ask in the words of the check while typing."""
    text, atmosphere = form[read.where], form["atmosphere"]
    _, objections = cross_check(text, atmosphere or None)
    asks = any(isinstance(one, Unsettled) for one in objections)
    if not asks and read.what not in {one.what for one in objections}:
        return (read,)
    return printed_check(text, atmosphere, read.where).faults


class _Typed:
    """What was typed, with the faults found in it."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self._typed = typed
        self.faults: list[Fault] = []
        self.rows: dict[str, list[int]] = {"torque": [], "step": []}
        """Numbers of the rows that are not empty."""
        self.own_words_of_fall = bool(self["fall_words"])
        found: dict[str, set[int]] = {"torque": set(), "step": set()}
        for name in typed:
            if (row := _ROW.fullmatch(name)) and self[name]:
                found[row[1]].add(int(row[2]))
        self.rows = {kind: sorted(numbers) for kind, numbers in found.items()}

    def __getitem__(self, name: str) -> str:
        return self._typed.get(name, "").strip()

    def any_of(self, names: Iterable[str]) -> bool:
        """Return whether one of the fields is not empty."""
        return any(self[name] for name in names)

    def object_to(self, name: str, what: str, remedy: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(what, name, remedy))

    def field_at(self, where: str) -> str:
        """Return the field in which stands what the reader found wrong."""
        key = where.rsplit(", ", 1)[-1]
        if row := re.match(r"torque\[(\d+)\](?:\.(\w+))?", key):
            part = {"page": "page", "printed": "words", "part": "part"}.get(row[2] or "", "value")
            return self._in_row("torque", int(row[1]), part)
        if row := re.match(r"steps\.add\[(\d+)\](?:\.(\w+))?", key):
            part = {"after": "after", "text": "text"}.get(row[2] or "", "title")
            return self._in_row("step", int(row[1]), part)
        while key:
            if key == "back_leakage.printed" and not self.own_words_of_fall:
                return "fall"
            if key in _FIELD_AT:
                return _FIELD_AT[key]
            key = key.rpartition(".")[0]
        return "title"

    def _in_row(self, kind: str, index: int, part: str) -> str:
        numbers = self.rows[kind]
        number = numbers[index - 1] if 0 < index <= len(numbers) else 1
        return f"{kind}_{number}_{part}"


def _fields_by_key() -> dict[str, str]:
    """Return the field of each key of the reader."""
    return {
        ".".join(map(str, key)): name
        for fields in (_TEXTS, _NUMBERS, _COUNTS, _FLAGS)
        for name, key in fields.items()
    } | dict(_OTHER_KEYS)


_FIELD_AT = _fields_by_key()

Tables = dict[str, Any]


def _tables(form: _Typed) -> Tables:
    """Return the content of the sheet, in the order of the documentation."""
    tables: Tables = {}
    _head(form, tables)
    for name in _TEXTS:
        if form[name]:
            _put(tables, _TEXTS[name], form[name])
    for name in ("new", "used"):
        if form[name] and (band := _span(form, name)) is not None:
            ends = ("nominal", "tolerance") if band.tolerance else ("lower", "upper")
            for end, written in zip(ends, (band.first, band.second), strict=True):
                _put(tables, ("opening", name, end), written)
            _put(tables, ("opening", name, "printed"), form[name])
        elif form[f"{name}_target"] and not form[name]:
            form.object_to(name, say("the band is not given"), _BAND_EXAMPLE)
    if form["seat_pressure"]:
        fixed = form["seat_how"] == FIXED
        key = "pressure" if fixed else "margin_below_opening"
        _put(tables, ("seat", key), form["seat_pressure"])
    if form["fall"] and (fall := _span(form, "fall")) is not None:
        _put(tables, ("back_leakage", "from"), fall.first)
        _put(tables, ("back_leakage", "to"), fall.second)
        words = form["fall_words"] or _fall_in_words(form["fall"], form.__getitem__)
        _put(tables, ("back_leakage", "printed"), words)
    for name, place in (*_NUMBERS.items(), *_COUNTS.items()):
        if form[name] and (number := _number(form, name, whole=name in _COUNTS)) is not None:
            _put(tables, place, number)
    for name, place, yes, no in _EITHER:
        if form[name] in (yes, no):
            _put(tables, place, form[name] == yes)
    for name, place in _FLAGS.items():
        if form[name] == YES:
            _put(tables, place, value=True)
    if sizes := _sizes(form["shim_list"]):
        _put(tables, ("adjustment", "shim_sizes"), sizes)
    if torques := [_torque(form, number) for number in form.rows["torque"]]:
        tables["torque"] = torques
    _steps(form, tables)
    _missing(form)
    return tables


_EITHER: tuple[tuple[str, Location, str, str], ...] = (
    ("seat_tip", ("seat", "damp_allowed"), DAMP, DRY),
    ("chatter", ("chatter", "weak_allowed"), WEAK, CLEAR),
)
"""Fields with two answers: name, key, the one that is true, the one that is false."""

_BAND_EXAMPLE = say("Write both ends with their unit, as in 175 to 183 bar, or 200 ± 5 bar")


def _head(form: _Typed, tables: Tables) -> None:
    for name, what in (
        ("title", say("the sheet has no name")),
        ("injector", say("the injector is not described")),
        ("document", say("the document is not named")),
        ("edition", say("the edition of the document is not given")),
    ):
        if not form[name]:
            remedy = say("Write it, in your own words or as the document has it")
            if name == "edition":
                remedy = say("Write its number or its year")
            form.object_to(name, what, remedy)
        elif name in _TEXTS:
            tables[name] = form[name]
    source = [form[name] for name in ("document", "edition") if form[name]]
    tables["source"] = BETWEEN_SOURCE_AND_EDITION.join(source)


def _missing(form: _Typed) -> None:
    """Object to limits that lack what they cannot do without, or the page on which they stand."""
    for page, fields in _PAGE_OF.items():
        if form.any_of(fields) and not form[page]:
            form.object_to(
                page,
                say("the page is not given"),
                say("Write where in the document it stands; “no pages” is an answer too"),
            )
    for names, page, what, remedy in _NEEDED:
        if form.any_of((*_PAGE_OF[page], page)) and not form.any_of(names.split()):
            form.object_to(names.split()[0], what, remedy)
    if form["spray_page"] and not form["spray_words"]:
        form.object_to(
            "spray_words", say("the spray is not described"), say("Write the document's words")
        )


def _put(tables: Tables, key: Location, value: object) -> None:
    table = tables
    for part in key[:-1]:
        table = table.setdefault(str(part), {})
    table[str(key[-1])] = value


def _document(tables: Tables) -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    for key, value in tables.items():
        if not isinstance(value, dict) and key != "torque":
            document.add(key, tomlkit.item(value))
    for section in _ORDER:
        if section in tables:
            document.add(section, tomlkit.item(_in_order(tables[section])))
    return document


_ORDER = (
    "opening", "seat", "back_leakage", "leak_off", "chatter", "spray", "set", "adjustment",
    "nozzle", "spring", "torque", "steps",
)  # fmt: skip
_LAST = ("printed", "page")


def _in_order(value: Any) -> Any:
    """Return a table with its words and page last; an array of tables as it is."""
    if not isinstance(value, dict):
        return value
    keys = sorted(value, key=lambda key: (isinstance(value[key], dict), key in _LAST))
    return {key: _in_order(value[key]) for key in keys}


def _number(form: _Typed, name: str, *, whole: bool) -> float | int | None:
    text = form[name]
    found = re.fullmatch(r"(\d{1,9})(?:[.,](\d{1,6}))?\s*s?", text)
    if found is None or (whole and found[2]):
        example = say("Write a whole number") if whole else say("Write a number such as 10 or 7.5")
        form.object_to(name, say("“{text}” is not a number", text=text[:40]), example)
        return None
    return int(found[1]) if whole or not found[2] else float(f"{found[1]}.{found[2]}")


def _sizes(text: str) -> list[str]:
    """Return the sizes in a list such as ``1.00; 1.05 mm``; one without a unit is in mm."""
    parts = (part.strip() for part in re.split(r"[;\n]|,\s", text))
    return [f"{part} mm" if re.fullmatch(r"[\d.,]+", part) else part for part in parts if part]


_TORQUE_KEYS: Mapping[str, str] = MappingProxyType(
    {"part": "part", "value": "value", "words": "printed", "page": "page"}
)


def _torque(form: _Typed, number: int) -> Tables:
    row = {part: form[f"torque_{number}_{part}"] for part in _TORQUE_KEYS}
    if not row["part"]:
        form.object_to(
            f"torque_{number}_part", say("the part is not named"), say("Write what is tightened")
        )
    if not row["value"]:
        form.object_to(
            f"torque_{number}_value",
            say("the torque is not given"),
            say("Write it with its unit, as in 40 ± 5 Nm"),
        )
    if not row["page"]:
        form.object_to(
            f"torque_{number}_page",
            say("the page is not given"),
            say("Write where in the document it stands; “no pages” is an answer too"),
        )
    return {_TORQUE_KEYS[part]: text for part, text in row.items() if text}


def _steps(form: _Typed, tables: Tables) -> None:
    if left_out := form["left_out"].split():
        _put(tables, ("steps", "leave_out"), left_out)
    added: list[Tables] = []
    for number in form.rows["step"]:
        row = {part: form[f"step_{number}_{part}"] for part in ("title", "after", "text", "key")}
        for part, what in (
            ("title", say("the step has no name")),
            ("after", say("it is not said which step it follows")),
        ):
            if not row[part]:
                form.object_to(f"step_{number}_{part}", what, say("Fill it in, or empty the row"))
        row["key"] = row["key"] or key_for(row["title"], number)
        order = ("key", "title", "after", "text")
        added.append({part: row[part] for part in order if row[part]})
    if added:
        _put(tables, ("steps", "add"), added)


def key_for(title: str, number: int) -> str:
    """Return a step's short name, made from its title.

    >>> key_for("Prüfe den Stößel!", 1), key_for("2. Spülen", 3)
    ('prufe-den-stossel', 'step-3')
    """
    folded = unicodedata.normalize("NFKD", title).casefold()
    letters = "".join(one for one in folded if not unicodedata.combining(one))
    key = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:31].strip("-")
    return key if re.match(r"[a-z]", key) else f"step-{number}"


# --- two values in one field --------------------------------------------------------------------


@dataclass(frozen=True)
class _Span:
    """Two pressures that stand in a text: the ends of a band or fall, or middle and tolerance."""

    first: str
    """With its unit."""
    second: str
    tolerance: bool
    whole: str
    """The piece of the text that says so, repeated units included."""


def _span(form: _Typed, name: str) -> _Span | None:
    """Return the two pressures in a field; None, and a fault, where there are none."""
    fall = name == "fall"
    remedy = (
        say("Write both with their unit, as in 150 to 100 bar (2176 to 1450 psi)")
        if fall
        else _BAND_EXAMPLE
    )
    try:
        spans = _spans_in(form[name])
    except Objection as objection:
        form.object_to(name, objection.what, objection.remedy)
        return None
    if len(spans) == 1 and not (fall and spans[0].tolerance):
        return spans[0]
    what = say("two pressures with a unit belong here")
    if spans:
        what = say("more than one pair of pressures stands here")
    form.object_to(name, what, remedy)
    return None


def _spans_in(text: str) -> list[_Span]:
    """Return the spans of pressure in a text, each once, whatever units repeat it."""
    found = read_printed(text)
    spans: list[_Span] = []
    for index, one in enumerate(found):
        if one.unit.kind is not Kind.PRESSURE or not one.second or one.beside:
            continue
        end = one.end
        for other in found[index + 1 :]:
            if not other.beside:
                break
            end = other.end
        closing = re.match(r"\s*[)\]]", text[end:])
        if closing and re.search(r"[(\[]", text[one.end : end]):
            end += closing.end()
        numbers = re.findall(r"(?<![\w^/.,])\d+(?:[.,]\d+)*", one.text)
        written = [f"{number} {one.unit.name}" for number in numbers]
        if len(written) != 2 or not all(
            _says(text, value) for text, value in zip(written, (one.first, one.second), strict=True)
        ):
            raise Objection(say("“{text}” cannot be told apart", text=one.text), str(_BAND_EXAMPLE))
        first, second = written
        spans.append(_Span(first, second, one.tolerance, text[one.start : end]))
    return spans


def _says(text: str, value: Sequence[Digits]) -> bool:
    found = read_printed(text)
    return len(found) == 1 and found[0].first == tuple(value)


def _fall_in_words(window: str, typed: Callable[[str], str]) -> str:
    """Return what the reader would say of a fall, with the window as it was typed."""
    limits = [
        f"not {side} {typed(name)} s"
        for side, name in (("under", "fall_least"), ("over", "fall_most"))
        if typed(name)
    ]
    return f"{window}, {' and '.join(limits)}" if limits else window


# --- from the text to the form ------------------------------------------------------------------


def sheet_values(raw: bytes) -> dict[str, str]:
    """Return what the form of a sheet shows, to be changed and written anew.

    Raises
    ------
    SheetFault
        If it is no sheet that can be used.
    """
    document = toml_document(FILE, raw, SheetFault)
    sheet_of(document)
    data = {key: value for key, value in document.data.items() if key not in SECTIONS}
    data |= {
        name: _plain(SECTIONS[name], document.data[name])
        for name in SECTIONS
        if name in document.data
    }
    typed: dict[str, str] = {}
    source = str(data.get("source", ""))
    before, between, edition = source.rpartition(BETWEEN_SOURCE_AND_EDITION)
    typed["document"], typed["edition"] = (before, edition) if between else (source, "")
    for name, key in (*_TEXTS.items(), *_NUMBERS.items(), *_COUNTS.items()):
        value = _got(data, key)
        if value is not None:
            typed[name] = value if isinstance(value, str) else f"{value:g}"
    for name, key, yes, no in _EITHER:
        if (value := _got(data, key)) is not None:
            typed[name] = yes if value else no
    for name, key in _FLAGS.items():
        if _got(data, key):
            typed[name] = YES
    opening = data.get("opening", {})
    common = not (opening.get("new") or opening.get("used"))
    for name in ("new", "used"):
        band = opening if common else opening.get(name)
        if band:
            typed |= _band_typed(name, band)
    seat = data.get("seat", {})
    for how, stem in ((MARGIN, "margin_below_opening"), (FIXED, "pressure")):
        if stem in seat:
            typed["seat_how"], typed["seat_pressure"] = how, seat[stem]
    if fall := data.get("back_leakage"):
        typed |= _fall_typed(fall, typed)
    sizes = data.get("adjustment", {}).get("shim_sizes")
    if sizes:
        typed["shim_list"] = "; ".join(sizes)
    for number, row in enumerate(data.get("torque", []), 1):
        for part, name in _TORQUE_KEYS.items():
            if row.get(name):
                typed[f"torque_{number}_{part}"] = row[name]
    steps = data.get("steps", {})
    if steps.get("leave_out"):
        typed["left_out"] = " ".join(steps["leave_out"])
    for number, row in enumerate(steps.get("add", []), 1):
        for part in ("key", "title", "after", "text"):
            if row.get(part):
                typed[f"step_{number}_{part}"] = row[part]
    return typed


def _plain(model: type[BaseModel], data: object) -> dict[str, Any]:
    """Return a table of a sound sheet with every pressure as text with its unit."""
    table: dict[str, Any] = _stems(model.model_validate(data).model_dump(exclude_defaults=True))
    return table


def _stems(value: Any) -> Any:
    if isinstance(value, list):
        return [_stems(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        key.removesuffix("_bar") if is_pressure_key(key) else key: _stems(one)
        for key, one in value.items()
        if one is not None
    }


def _got(data: Mapping[str, Any], key: Location) -> Any:
    value: Any = data
    for part in key:
        value = value.get(part) if isinstance(value, Mapping) else None
    return value


def _band_typed(name: str, band: Mapping[str, str]) -> dict[str, str]:
    """Return the fields of a band: as printed, where its ends stand there."""
    if "nominal" in band:
        first, second, between = band["nominal"], band["tolerance"], " ± "
    else:
        first, second, between = band["lower"], band["upper"], " to "
    printed = band.get("printed", "")
    typed = {name: _with_span(printed, first, second, between)}
    if "target" in band:
        typed[f"{name}_target"] = band["target"]
    if "page" in band:
        typed[f"{name}_page"] = band["page"]
    return typed


def _with_span(printed: str, first: str, second: str, between: str) -> str:
    """Return the text as printed where both pressures stand in it alone, else put before it."""
    spans = _spans_or_none(printed)
    if len(spans) == 1 and _same(spans[0].first, first) and _same(spans[0].second, second):
        return printed
    bare = _pair(first, second, between)
    # What is printed says something else: then it stands behind, if that leaves the two clear.
    both = f"{bare} — {printed}" if printed else bare
    return both if len(_spans_or_none(both)) == 1 else bare


def _spans_or_none(text: str) -> list[_Span]:
    try:
        return _spans_in(text)
    except Objection:
        return []


def _same(a: str, b: str) -> bool:
    one, other = read_printed(a), read_printed(b)
    return bool(one and other) and (one[0].first, one[0].unit.name) == (
        other[0].first,
        other[0].unit.name,
    )


def _bare(text: str) -> str:
    """Return a value without what repeats it in other units."""
    found = read_printed(text)
    return found[0].text if found else text


def _pair(first: str, second: str, between: str) -> str:
    """Return two values as one, with their unit once where it is the same.

    >>> _pair("175 bar", "183 bar (2654 psi)", " to "), _pair("14 MPa", "100 bar", " to ")
    ('175 to 183 bar', '14 MPa to 100 bar')
    """
    one, other = _bare(first), _bare(second)
    number, blank, unit = one.partition(" ")
    same = blank and unit == other.partition(" ")[2]
    return f"{number if same else one}{between}{other}"


def _fall_typed(fall: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, str]:
    printed = str(fall.get("printed", ""))
    first, second = _bare(fall["from"]), _bare(fall["to"])
    spans = [
        span for span in _spans_or_none(printed)
        if _same(span.first, first) and _same(span.second, second)
    ]  # fmt: skip
    window = spans[0].whole if spans else _pair(first, second, " to ")
    own = printed != _fall_in_words(window, lambda name: typed.get(name, ""))
    return {"fall": window} | ({"fall_words": printed} if printed and own else {})


# --- a sheet that is a file, and values while they are typed --------------------------------------


def checked_sheet(raw: bytes, name: str) -> SettingSheet:
    """Return the sheet in a file that was sent.

    Raises
    ------
    SheetFault
        With every fault found; each says line and key, and ``where`` is the name given.
    """
    try:
        return sheet_of(toml_document(FILE, raw, SheetFault))
    except SheetFault as fault:
        raise SheetFault(
            Fault(
                say(
                    "{where}: {what}",
                    where=one.where.removeprefix(f"{FILE.name}, "),
                    what=one.what,
                ),
                name,
                one.remedy,
            )
            for one in fault.faults
        ) from None


@dataclass(frozen=True)
class PrintedCheck:
    """What a text as printed says, and where its units disagree."""

    values: tuple[str, ...]
    """Each value as a message, in trade units."""
    faults: tuple[Fault, ...]


_SHOWN: Mapping[Kind, tuple[str, str]] = MappingProxyType(
    {
        Kind.PRESSURE: ("bar", ".1f"),
        Kind.EFFECT: ("bar/mm", ".4g"),
        Kind.TURN: ("bar", ".1f"),
        Kind.TORQUE: ("Nm", ".4g"),
        Kind.LENGTH: ("mm", ".4g"),
        Kind.VISCOSITY: ("mm2/s", ".4g"),
        Kind.COMPLIANCE: ("mm3/bar", ".4g"),
        Kind.RATE: ("N/mm", ".4g"),
        Kind.FORCE: ("N", ".4g"),
    }
)
"""Unit and form in which a value is said."""


def printed_check(text: str, atmosphere: str = "", where: str = "") -> PrintedCheck:
    """Return what a text as printed says, and by how much its units disagree.

    Parameters
    ----------
    text : str
        As in ``175 to 183 bar (2538 to 2654 psi)``
    atmosphere : str
        ``technical``, ``standard``, or empty where the sheet does not say
    where : str
        Name for the faults
    """
    found, objections = cross_check(text, atmosphere or None)
    faults = []
    main: Printed | None = None
    values: list[str] = []
    for one in found:
        if one.beside and main is not None:
            if not agree(main, one):
                faults.append(_apart(main, one, where))
        else:
            main = one
            values.append(_value(one))
    # Those of units that disagree come last, and were said above with how far they lie apart.
    others = objections[: len(objections) - len(faults)]
    faults += [
        _unsettled(one, where) if isinstance(one, Unsettled) else Fault(one.what, where, one.remedy)
        for one in others
    ]
    return PrintedCheck(tuple(values), tuple(faults))


def _unsettled(objection: Unsettled, where: str) -> Fault:
    """Return the fault of atmospheres that may be either kind, as a form mends it."""
    printed = objection.printed
    value = printed.first[0].value
    what = say(
        "“{text}” may be technical or standard atmospheres: {technical} or {standard}",
        text=printed.text,
        technical=_figure(printed, value),
        standard=_figure(printed, value * STANDARD_ATMOSPHERE / TECHNICAL_ATMOSPHERE),
    )
    if objection.fits == "technical":
        remedy = say(
            "“{beside}” beside it fits the technical atmosphere: if the document means that, "
            "choose it at the top of this form",
            beside=objection.beside,
        )
    elif objection.fits:
        remedy = say(
            "“{beside}” beside it fits the standard atmosphere: if the document means that, "
            "choose it at the top of this form",
            beside=objection.beside,
        )
    else:
        remedy = say("Look up which the document means, and choose it at the top of this form")
    return Fault(what, where, remedy)


def _value(one: Printed) -> str:
    low, high = one.band
    if low.value == high.value:
        return _figure(one, low.value)
    return say("{low} to {high}", low=_figure(one, low.value), high=_figure(one, high.value))


def _figure(one: Printed, value: float) -> str:
    name, spec = _SHOWN[one.unit.kind]
    si = dict(SHOW_IN[one.unit.kind]).get(name, BAR)
    said = say("{value} {unit}", value=figure(value / si, spec, name), unit=Unit(name))
    return say("{pressure} per turn", pressure=said) if one.unit.kind is Kind.TURN else said


def _apart(main: Printed, beside: Printed, where: str) -> Fault:
    """Return the fault of two units that disagree, with how far they lie apart."""
    pairs = list(zip(main.band, beside.band, strict=True))
    a, b = max(pairs, key=lambda pair: abs(pair[0].value - pair[1].value))
    return Fault(
        say(
            "“{first}” is {first_value}, “{second}” beside it is {second_value}: {apart} apart",
            first=main.text,
            first_value=_figure(main, a.value),
            second=beside.text,
            second_value=_figure(beside, b.value),
            apart=_figure(main, abs(a.value - b.value)),
        ),
        where,
        say("One of them is a misprint. Find out which, and write the right one alone"),
    )
