"""What a column's heading says: time or pressure, and in which unit, in any usual writing."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from nozzlewright.errors import UnitFault
from nozzlewright.measurement import PRESSURE_UNITS, TIME_UNITS, pressure_unit


class About(StrEnum):
    """What a column holds, as far as its name or unit tells."""

    TIME = "time"
    PRESSURE = "pressure"
    UNKNOWN = ""


class CellKind(StrEnum):
    """What most cells of a column look like."""

    NUMBER = "number"
    STAMP = "time stamp"
    DATE = "date"
    TEXT = "text"
    MARK = "mark"
    EMPTY = "empty"


@dataclass(frozen=True)
class Unit:
    """A unit found in a heading."""

    name: str
    about: About
    absolute: bool = False
    """An absolute pressure, which a gauge does not show."""

    def __str__(self) -> str:
        return f"{self.name} absolute" if self.absolute else self.name

    @property
    def factor(self) -> float:
        """Pa or s for one of it."""
        return PRESSURE_UNITS[self.name] if self.about is About.PRESSURE else SECONDS[self.name]


@dataclass(frozen=True)
class Heading:
    """One column's heading, read."""

    text: str
    named: About
    """What the name says."""
    unit: Unit | None
    aside: bool
    """A set value, a limit, the weather: a pressure or time that is not the one recorded."""

    @property
    def shown(self) -> str:
        """The heading as a message shows it."""
        return f"'{self.text}'" if self.text else "without a name"


SECONDS: Mapping[str, float] = MappingProxyType({**TIME_UNITS, "ns": 1e-9})

_TIME_SPELLINGS: Mapping[str, str] = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "sek": "s", "sekunden": "s",
    "сек": "s", "с": "s", "ms": "ms", "msec": "ms", "msecs": "ms", "millis": "ms",
    "millisec": "ms", "millisecond": "ms", "milliseconds": "ms", "millisekunden": "ms", "мс": "ms",
    "us": "us", "µs": "us", "μs": "us", "usec": "us", "micros": "us", "microsec": "us",
    "microsecond": "us", "microseconds": "us", "ns": "ns", "nsec": "ns", "nanoseconds": "ns",
    "min": "min", "mins": "min", "minute": "min", "minutes": "min", "minuten": "min",
    "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
}  # fmt: skip
_PRESSURE_EXTRAS: Mapping[str, str] = {
    "bar/g": "bar", "bargauge": "bar", "psi/g": "psi", "psigauge": "psi", "kpag": "kPa",
    "kpa/g": "kPa", "mpag": "MPa", "mpa/g": "MPa", "millibar": "mbar", "n/mm2": "MPa",
    "n/mm^2": "MPa", "kn/m2": "kPa", "n/m2": "Pa", "kgcm2": "kgf/cm2", "kgfcm2": "kgf/cm2",
    "kgf/sqcm": "kgf/cm2", "kg/sqcm": "kgf/cm2", "atü": "at", "technicalatm": "at",
    "technicalatmosphere": "at", "standardatm": "atm", "standardatmosphere": "atm",
    "atmosphere": "atm", "atmospheres": "atm", "бар": "bar", "мбар": "mbar", "па": "Pa",
    "кпа": "kPa", "мпа": "MPa", "кгс/см2": "kgf/cm2", "атм": "atm", "pascals": "Pa",
}  # fmt: skip
_ABSOLUTE: Mapping[str, str] = {
    "bara": "bar", "bar/a": "bar", "barabs": "bar", "bar/abs": "bar", "mbara": "mbar",
    "mbarabs": "mbar", "psia": "psi", "psi/a": "psi", "psiabs": "psi", "kpaa": "kPa",
    "kpaabs": "kPa", "kpa/abs": "kPa", "mpaa": "MPa", "mpaabs": "MPa", "mpa/abs": "MPa",
    "ata": "at",
}  # fmt: skip

_TIME_WORDS = frozenset({
    "time", "times", "t", "zeit", "zeitstempel", "uhrzeit", "temps", "tiempo", "tempo", "tid",
    "tijd", "aika", "czas", "zaman", "timestamp", "stamp", "elapsed", "clock", "datetime", "ts",
    "время", "时间", "時間", "시간"
})  # fmt: skip
_PRESSURE_WORDS = frozenset({
    "pressure", "press", "pres", "p", "druck", "pression", "presión", "presion", "pressione",
    "pressão", "pressao", "druk", "tryk", "tryck", "paine", "ciśnienie", "cisnienie", "basınç",
    "basinc", "trykk", "давление", "压力", "壓力", "圧力", "압력"
})  # fmt: skip
_ASIDE_WORDS = frozenset({
    "set", "setpoint", "sp", "target", "soll", "sollwert", "limit", "limits", "ambient",
    "atmospheric", "barometric", "baro", "barometer", "reference", "ref", "raw", "min", "max",
    "minimum", "maximum", "mean", "avg", "average", "std", "sd", "rms", "dt", "delta", "diff",
    "difference", "period", "interval", "duration", "delay", "rate", "resolution", "offset"
})  # fmt: skip


def pressure_unit_spelled(text: str) -> Unit | None:
    """Return the unit of pressure that a piece of text is, or None.

    >>> str(pressure_unit_spelled("kg/cm²")), str(pressure_unit_spelled("psia"))
    ('kgf/cm2', 'psi absolute')
    """
    plain = text.strip(" .*'\"")
    key = plain.lower().replace("²", "2").replace("**", "^").replace("_", "/")
    key = re.sub(r"[\s.()]+", "", key)
    if not key or len(key) > 24:
        return None
    if key in _ABSOLUTE:
        return Unit(_ABSOLUTE[key], About.PRESSURE, absolute=True)
    if key in _PRESSURE_EXTRAS:
        return Unit(_PRESSURE_EXTRAS[key], About.PRESSURE)
    for spelling in (plain, key):
        try:
            return Unit(pressure_unit(spelling), About.PRESSURE)
        except UnitFault:
            continue
    return None


def time_unit_spelled(text: str) -> Unit | None:
    """Return the unit of time that a piece of text is, or None."""
    name = _TIME_SPELLINGS.get(text.strip(" .*'\"").lower())
    return None if name is None else Unit(name, About.TIME)


def unit_spelled(text: str) -> Unit | None:
    """Return the unit of pressure or time that a piece of text is, or None."""
    return pressure_unit_spelled(text) or time_unit_spelled(text)


_BRACKETED = re.compile(r"[\[({<]\s*([^\[\](){}<>]*?)\s*[\])}>]")
_GAUGE_MARK = re.compile(r"(?i)\b(m?bar|psi|[km]?pa)\s*\(\s*(g|gauge|a|abs)\.?\s*\)")
_SEPARATOR = re.compile(r"[\s_/,:;.|\-]+|(?<=[a-zа-яß])(?=[A-ZА-Я])|(?<=[\])}>])")


def read_heading(text: str, unit_text: str = "") -> Heading:
    """Read a heading, and the cell of a units row under it.

    Parameters
    ----------
    text : str
        Heading as written: ``pressure_bar``, ``p [kPa]``, ``Druck/bar``, ``Time, ms`` ...
    unit_text : str
        Cell of the units row, or empty

    >>> heading = read_heading("Druck/bar")
    >>> heading.named.value, str(heading.unit)
    ('pressure', 'bar')
    """
    plain = text.strip().strip("\"'\ufeff").strip()
    plain = _GAUGE_MARK.sub(r"\1\2", plain)
    unit, name = _split_unit(plain)
    below = unit_text.strip().strip("\"'").strip()
    if below:
        bracketed = _BRACKETED.fullmatch(below)
        stated = unit_spelled(bracketed[1] if bracketed else below)
        if stated is not None:
            unit, name = stated, plain
    # A capital T alone is a temperature as often as a time.
    words = [word.lower() for word in _SEPARATOR.split(name) if word and word != "T"]
    named = _named(words)
    if unit is not None and named is not About.UNKNOWN and unit.about is not named:
        # 'pressure_min' is the least pressure, not a pressure in minutes.
        words.append(unit.name)
        unit = None
    aside = any(word in _ASIDE_WORDS for word in words)
    return Heading(text.strip().strip("\"'\ufeff").strip(), named, unit, aside)


def _split_unit(text: str) -> tuple[Unit | None, str]:
    for match in reversed(list(_BRACKETED.finditer(text))):
        unit = unit_spelled(match[1])
        if unit is not None:
            return unit, text[: match.start()] + " " + text[match.end() :]
    whole = unit_spelled(text)
    if whole is not None and text.lower() not in _TIME_WORDS | _PRESSURE_WORDS:
        return whole, ""
    for cut in _SEPARATOR.finditer(text):
        before = text[: cut.start()].rstrip()
        unit = unit_spelled(text[cut.end() :])
        if unit is None or not before:
            continue
        last = _SEPARATOR.split(before)[-1]
        if last.lower() == "per" or ("/" in cut[0] and unit_spelled(last) is not None):
            return None, text  # a rate, such as bar/s
        return unit, before
    return None, text


def _named(words: Sequence[str]) -> About:
    for word in words:
        bare = word.rstrip("0123456789#")
        if bare in _PRESSURE_WORDS or "pressure" in bare or "druck" in bare:
            return About.PRESSURE
        if bare in _TIME_WORDS or "timestamp" in bare:
            return About.TIME
    return About.UNKNOWN


class ColumnFault(ValueError):
    """Why a column cannot be told, with what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


def pressure_column(
    headings: Sequence[Heading], kinds: Sequence[CellKind], wanted: str | int | None
) -> int:
    """Return the index of the column that holds the gauge pressure.

    Raises
    ------
    ColumnFault
        If none does, or if more than one may.
    """
    if wanted is not None:
        return _asked_for(headings, wanted, "pressure_column")
    ranks = [
        _pressure_rank(heading) if kind in {CellKind.NUMBER, CellKind.MARK} else 0
        for heading, kind in zip(headings, kinds, strict=True)
    ]
    return _best(
        headings,
        ranks,
        "pressure",
        "Head the column with its name and unit ('pressure [unit]'), or name it with "
        "pressure_column; the unit is the one in the papers of the logger or sensor",
    )


def time_column(
    headings: Sequence[Heading], kinds: Sequence[CellKind], wanted: str | int | None
) -> int | None:
    """Return the index of the column that holds time, or None where there is none.

    Raises
    ------
    ColumnFault
        If more than one may.
    """
    if wanted is not None:
        return _asked_for(headings, wanted, "time_column")
    ranks = [_time_rank(heading, kind) for heading, kind in zip(headings, kinds, strict=True)]
    if not any(ranks):
        return None
    return _best(headings, ranks, "time", "Name the one to use with time_column")


def _pressure_rank(heading: Heading) -> int:
    has_unit = heading.unit is not None and heading.unit.about is About.PRESSURE
    if heading.named is About.TIME or not (has_unit or heading.named is About.PRESSURE):
        return 0
    if heading.aside:
        return 1 if has_unit else 0
    return 2 + 2 * has_unit + (has_unit and heading.named is About.PRESSURE)


def _time_rank(heading: Heading, kind: CellKind) -> int:
    has_unit = heading.unit is not None and heading.unit.about is About.TIME
    if heading.named is About.PRESSURE or heading.aside:
        return 0
    if kind is CellKind.NUMBER and has_unit:
        if heading.named is About.TIME:
            return 6
        return 5 if unit_spelled(heading.text) is not None else 1
    if kind is CellKind.STAMP:
        return 3 + (heading.named is About.TIME)
    if kind is CellKind.NUMBER and heading.named is About.TIME:
        return 2
    return 0


def _best(headings: Sequence[Heading], ranks: Sequence[int], what: str, remedy: str) -> int:
    best = max(ranks, default=0)
    if best == 0:
        listed = ", ".join(heading.shown for heading in headings[:20])
        raise ColumnFault(f"no column is known to hold {what} (columns: {listed})", remedy)
    found = [index for index, rank in enumerate(ranks) if rank == best]
    if len(found) > 1:
        listed = ", ".join(f"{headings[index].shown} (column {index + 1})" for index in found[:20])
        raise ColumnFault(
            f"{len(found)} columns may hold {what}: {listed}",
            f"Name the one to use with {what}_column, or remove the others",
        )
    return found[0]


def _asked_for(headings: Sequence[Heading], wanted: str | int, option: str) -> int:
    if isinstance(wanted, str):
        plain = wanted.strip().lower()
        found = [i for i, heading in enumerate(headings) if heading.text.lower() == plain]
        if found:
            return found[0]
        number = int(plain) if plain.isascii() and plain.isdigit() and len(plain) < 7 else 0
    else:
        number = wanted
    if 1 <= number <= len(headings):
        return number - 1
    listed = ", ".join(heading.shown for heading in headings[:20])
    raise ColumnFault(
        f"{option} asks for '{wanted}', which is not there (columns: {listed})",
        f"Give a heading as written, or a number from 1 to {len(headings)}",
    )
