"""Instrument files: where a gauge hangs and how its numbers become pressures.

One small TOML file for one instrument. Its ``kind`` says which tables it has.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from nozzlewright.edge.intake.live.folder_watch import FolderSpec
from nozzlewright.edge.intake.live.line import LineSpec
from nozzlewright.edge.intake.live.modbus import ModbusSpec, RtuConnection, TcpConnection
from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.edge.intake.toml_schema import (
    NonNegative,
    Number,
    Objection,
    Positive,
    Table,
    Text,
    TomlDocument,
    nearest,
    read_toml,
    shown,
    stated_pressure_unit,
    toml_document,
    validated,
)
from nozzlewright.errors import ConditionsFault, Fault
from nozzlewright.measurement import PRESSURE_UNITS

InstrumentSpec = ModbusSpec | LineSpec | FolderSpec
"""What an instrument file says."""

Name = Annotated[str, Field(strict=True, min_length=1, max_length=80)]
Port = Annotated[str, Field(strict=True, min_length=1, max_length=200)]
Baud = Annotated[int, Field(strict=True, ge=300, le=4_000_000)]
Milliseconds = Annotated[float, Field(strict=True, ge=10.0, le=10_000.0, allow_inf_nan=False)]


def _unit(value: object) -> object:
    if not isinstance(value, str):
        raise Objection(f"{shown(value)} is not a unit", 'Write it in quotes: unit = "bar"')
    return stated_pressure_unit(value)


Unit = Annotated[str, BeforeValidator(_unit)]
Pair = Annotated[tuple[Number, Number], Field(strict=False)]


class ScaleTable(Table):
    """How a number of the instrument becomes a pressure."""

    unit: Unit | None = None
    factor: Number | None = None
    offset: Number | None = None
    raw: Pair | None = None
    shows: Pair | None = None
    valid_raw: Pair | None = None

    @model_validator(mode="after")
    def _one_way(self) -> ScaleTable:
        if (self.raw is None) != (self.shows is None):
            raise Objection(
                "raw and shows belong together",
                "Write both: raw = [4000, 20000] and shows = [0, 400]",
            )
        if self.raw is not None and (self.factor is not None or self.offset is not None):
            raise Objection("the scale is stated twice", "Keep factor and offset, or raw and shows")
        if self.raw is not None and self.raw[0] == self.raw[1]:
            raise Objection("the two raw values are the same", "Give two that differ")
        if self.factor == 0.0 or (self.shows is not None and self.shows[0] == self.shows[1]):
            raise Objection("every reading would be one pressure", "Check factor, or shows")
        if self.valid_raw is not None and not self.valid_raw[0] < self.valid_raw[1]:
            raise Objection(
                "the valid raw values do not rise", "Write the lower one first: [3600, 21000]"
            )
        return self

    def scale(self) -> Scale:
        """Return the scale in SI; factor 1 and no offset where nothing is stated."""
        pa = 1.0 if self.unit is None else PRESSURE_UNITS[self.unit]
        factor, offset = self.factor, self.offset
        if self.raw is not None and self.shows is not None:
            factor = (self.shows[1] - self.shows[0]) / (self.raw[1] - self.raw[0])
            offset = self.shows[0] - factor * self.raw[0]
        return Scale((1.0 if factor is None else factor) * pa, (offset or 0.0) * pa, self.valid_raw)


class _WithUnit(ScaleTable):
    unit: Unit


class _TcpTable(Table):
    host: Port
    port: Annotated[int, Field(strict=True, ge=1, le=65_535)] = 502
    device_id: Annotated[int, Field(strict=True, ge=0, le=255)] = 1
    framing: Literal["tcp", "rtu"] = "tcp"
    timeout_ms: Milliseconds = 250.0


class _SerialTable(Table):
    port: Port
    baud: Baud = 9600
    data_bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1


class _RtuTable(_SerialTable):
    baud: Baud = 19_200
    parity: Literal["none", "even", "odd"] = "even"
    device_id: Annotated[int, Field(strict=True, ge=1, le=247)] = 1
    timeout_ms: Milliseconds = 250.0


class _RegisterTable(Table):
    register_: Annotated[int, Field(strict=True, ge=0, le=65_535, alias="register")]
    function: Literal[3, 4] = 3
    type: Literal["int16", "uint16", "int32", "uint32", "float32"]
    word_order: Literal["big", "little"] = "big"
    byte_order: Literal["big", "little"] = "big"
    period_ms: NonNegative = 0.0


class _LineTable(Table):
    pattern: Text
    ask: Text = ""
    silent_after_s: Positive = 2.0

    @field_validator("pattern")
    @classmethod
    def _names_the_pressure(cls, pattern: str) -> str:
        try:
            groups = re.compile(pattern).groupindex
        except re.error as error:
            raise Objection(
                f"{shown(pattern)} is not a regular expression ({error})",
                "Write it in single quotes, so that TOML leaves its backslashes alone",
            ) from None
        if "pressure" not in groups:
            raise Objection(
                "the pattern does not say where the pressure stands",
                r"Name it: pattern = '(?P<pressure>[-+]?\d+\.?\d*)'",
            )
        return pattern


class ModbusTcpTable(Table):
    """An instrument reached over Modbus TCP."""

    kind: Literal["modbus-tcp"]
    name: Name
    connection: _TcpTable
    reading: _RegisterTable
    pressure: _WithUnit

    def spec(self) -> ModbusSpec:
        """Return what the file says, in SI."""
        at = self.connection
        link = TcpConnection(at.host, at.port, at.device_id, at.framing, at.timeout_ms / 1e3)
        return _modbus(self.name, link, self.reading, self.pressure)


class ModbusRtuTable(Table):
    """An instrument reached over Modbus RTU."""

    kind: Literal["modbus-rtu"]
    name: Name
    connection: _RtuTable
    reading: _RegisterTable
    pressure: _WithUnit

    def spec(self) -> ModbusSpec:
        """Return what the file says, in SI."""
        at = self.connection
        link = RtuConnection(
            at.port, at.baud, at.data_bits, at.parity, at.stop_bits, at.device_id,
            at.timeout_ms / 1e3,
        )  # fmt: skip
        return _modbus(self.name, link, self.reading, self.pressure)


def _modbus(
    name: str, link: TcpConnection | RtuConnection, reading: _RegisterTable, scale: ScaleTable
) -> ModbusSpec:
    return ModbusSpec(
        name=name,
        connection=link,
        register=reading.register_,
        function=reading.function,
        type=reading.type,
        word_order=reading.word_order,
        byte_order=reading.byte_order,
        period_s=reading.period_ms / 1e3,
        scale=scale.scale(),
    )


class LineTable(Table):
    """An instrument that sends one reading a line over a serial port."""

    kind: Literal["line"]
    name: Name
    connection: _SerialTable
    reading: _LineTable
    pressure: ScaleTable = ScaleTable()

    @model_validator(mode="after")
    def _has_a_unit(self) -> LineTable:
        if self.pressure.unit is None and "unit" not in re.compile(self.reading.pattern).groupindex:
            raise Objection(
                "nothing says in which unit the pressure is",
                'Add [pressure] unit = "bar", or name the unit in the pattern: (?P<unit>\\w+)',
            )
        return self

    def spec(self) -> LineSpec:
        """Return what the file says, in SI."""
        at, how = self.connection, self.reading
        return LineSpec(
            name=self.name,
            port=at.port,
            baud=at.baud,
            data_bits=at.data_bits,
            parity=at.parity,
            stop_bits=at.stop_bits,
            pattern=how.pattern,
            ask=how.ask,
            silent_after_s=how.silent_after_s,
            scale=self.pressure.scale(),
            unit_stated=self.pressure.unit is not None,
        )


class FolderTable(Table):
    """A folder into which another program puts finished recordings."""

    kind: Literal["folder"]
    name: Name
    folder: Port
    settle_s: Positive = 2.0

    def spec(self) -> FolderSpec:
        """Return what the file says."""
        return FolderSpec(self.name, Path(self.folder).expanduser(), self.settle_s)


INSTRUMENT_TABLES: dict[
    str, type[ModbusTcpTable] | type[ModbusRtuTable] | type[LineTable] | type[FolderTable]
] = {
    "modbus-tcp": ModbusTcpTable,
    "modbus-rtu": ModbusRtuTable,
    "line": LineTable,
    "folder": FolderTable,
}
"""Schema of each kind of instrument file."""


def read_instrument(source: Path | str) -> InstrumentSpec:
    """Read an instrument file.

    Parameters
    ----------
    source : Path or str
        The file, or its text

    Raises
    ------
    ConditionsFault
        If it cannot be read or breaks the schema: every fault together.
    """
    if isinstance(source, Path):
        document = read_toml(source, ConditionsFault)
    else:
        document = toml_document(Path("instrument file"), source.encode(), ConditionsFault)
    return validated(_table_of(document), document, ConditionsFault).spec()


def _table_of(
    document: TomlDocument,
) -> type[ModbusTcpTable] | type[ModbusRtuTable] | type[LineTable] | type[FolderTable]:
    kind = document.data.get("kind")
    if isinstance(kind, str) and kind in INSTRUMENT_TABLES:
        return INSTRUMENT_TABLES[kind]
    known = ", ".join(INSTRUMENT_TABLES)
    if kind is None:
        what, remedy = "nothing says what kind of instrument it is", f"Add kind = one of: {known}"
    else:
        meant = nearest(kind, INSTRUMENT_TABLES) if isinstance(kind, str) else None
        what = f"{shown(kind)} is no kind of instrument known here"
        remedy = f"Use one of: {known}" + (f"; did you mean '{meant}'?" if meant else "")
    raise ConditionsFault(Fault(what, document.where(("kind",)), remedy))
