"""A folder with one engine set: ``set.toml`` and the files that it names.

Nothing outside the folder is read, and every fault is found before anything is measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, model_validator

from nozzlewright.advice.setting_spring import SPRING_LENGTH
from nozzlewright.bench import (
    BenchConditions,
    ChatterGrade,
    Condition,
    EngineSet,
    FitterObservations,
    InspectionFinding,
    MeasuredSpring,
    SetInjector,
    Severity,
    SprayGrade,
    TipGrade,
    TipWatch,
)
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.edge.intake.conditions import (
    ConditionsTable,
    Temperature,
    blank_recording_path,
    conditions_from,
    override,
)
from nozzlewright.edge.intake.hand_card import HandCardTable, hand_readings, read_hand_card
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.edge.intake.toml_schema import (
    Count,
    Flag,
    IsoDate,
    Location,
    NonNegative,
    Objection,
    Positive,
    Table,
    Text,
    TomlDocument,
    checked,
    read_toml,
)
from nozzlewright.errors import ConditionsFault, Fault, InputFault, SetFault
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.said import say
from nozzlewright.workflow.setting_record import CALIPER_U_M

SET_FILE = "set.toml"
SHEET_FILE = "sheet.toml"
BENCH_FILE = "bench.toml"


class InspectionTable(Table):
    """One thing seen on a part."""

    part: Text
    seen: Text
    severity: Severity = Severity.NOTE


class SeenTable(Table):
    """What the fitter saw and heard."""

    spray: SprayGrade | None = None
    spray_note: Text = ""
    chatter: ChatterGrade | None = None
    seat: TipGrade | None = None
    drop_test: TipGrade | None = None
    leak_off_drops: Count | None = None
    leak_off_seconds: Positive | None = None
    outside_leak: Text = ""
    needle_slide: Flag | None = None
    inspection: tuple[InspectionTable, ...] = ()
    note: Text = ""

    @model_validator(mode="after")
    def _drops_in_a_time(self) -> SeenTable:
        if self.leak_off_drops is not None and self.leak_off_seconds is None:
            raise Objection(
                "drops at the leak-off are counted without a time", "Add leak_off_seconds = .."
            )
        return self

    @property
    def tip(self) -> dict[str, Any]:
        """The keys that ``bench.toml`` has under ``[tip]``, where they are stated."""
        keys = ("seat", "drop_test", "leak_off_drops", "leak_off_seconds", "outside_leak")
        return {key: getattr(self, key) for key in keys if getattr(self, key) not in (None, "")}


class SittingTable(Table):
    """One test of one injector."""

    recording: Text = ""
    pressure_column: Text | None = None
    time_column: Text | None = None
    pressure_unit: Text | None = None
    time_unit: Text | None = None
    sample_rate_hz: Positive | None = None
    hand_card: Text = ""
    hand: HandCardTable | None = None
    sitting: Text = ""
    temperature_c: Temperature | None = None
    temperature_u_c: NonNegative | None = None
    bench: dict[str, Any] = Field(default_factory=dict)
    seen: SeenTable = SeenTable()
    shim_mm: Annotated[float, Field(strict=True, ge=0.0, le=50.0)] | None = None
    spring_mm: Annotated[float, Field(strict=True, ge=1.0, le=500.0)] | None = None
    spring_off_mm: Annotated[float, Field(strict=True, ge=0.001, le=1.0)] | None = None
    spring_load_n: Annotated[float, Field(strict=True, ge=0.0, le=20_000.0)] | None = None

    @model_validator(mode="after")
    def _a_length_first(self) -> SittingTable:
        for name in ("spring_off_mm", "spring_load_n"):
            if self.spring_mm is None and getattr(self, name) is not None:
                raise Objection(
                    f"{name} says how a spring was measured, and its length is missing",
                    "Add spring_mm = .., the length as measured",
                )
        return self

    @model_validator(mode="after")
    def _one_piece_of_evidence(self) -> SittingTable:
        given = [
            name
            for name, value in (
                ("recording", self.recording),
                ("hand_card", self.hand_card),
                ("hand", self.hand),
            )
            if value
        ]
        if len(given) > 1:
            raise Objection(
                f"{' and '.join(given)} stand for one test",
                "Keep one: a test is either recorded or read by hand",
            )
        there = (self.shim_mm, self.spring_mm)
        if not given and self.seen == SeenTable() and there == (None, None):
            raise Objection(
                "nothing is in this test",
                "Add a recording, a hand card or what was seen; or leave the table out",
            )
        return self


class InjectorTable(Table):
    """One injector of the set."""

    cylinder: Annotated[int, Field(strict=True, ge=1, le=100)]
    id: Text = ""
    as_found: SittingTable | None = None
    as_left: SittingTable | None = None


class SetTable(Table):
    """The whole of ``set.toml``."""

    title: Text
    engine: Text = ""
    customer: Text = ""
    workshop: Text = ""
    fitter: Text = ""
    date: IsoDate = ""
    condition: Condition
    invented: Flag = False
    symptoms: Text = ""
    sheet: Text = SHEET_FILE
    bench: Text | None = None
    injector: Annotated[tuple[InjectorTable, ...], Field(max_length=100)]

    @model_validator(mode="after")
    def _injectors_differ(self) -> SetTable:
        if not self.injector:
            raise Objection("no injector is in the set", "Add [[injector]] tables")
        for what, values in (
            ("cylinder", [str(one.cylinder) for one in self.injector]),
            ("id", [one.id for one in self.injector if one.id]),
        ):
            double = sorted({value for value in values if values.count(value) > 1})
            if double:
                raise Objection(
                    f"two injectors have the {what} {', '.join(double)}",
                    f"Give each its own {what}",
                )
        return self


@dataclass(frozen=True)
class SittingFiles:
    """One test of one injector: its evidence, not yet read, and what is known beside it."""

    recording: Path | None
    hand: HandReadings | None
    conditions: BenchConditions
    blank_recording: Path | None
    """The blank-plug recording that belongs to these conditions."""
    seen: FitterObservations
    shim_mm: float | None
    reading_options: Mapping[str, str | float]
    """Columns, units and sample rate stated for the recording."""
    spring: MeasuredSpring | None = None

    def read(self) -> Recording | None:
        """Read the recording, or return None where there is none.

        Raises
        ------
        RecordingFault
            If it cannot be used.
        """
        if self.recording is None:
            return None
        return read_recording(self.recording, **self.reading_options)  # type: ignore[arg-type]


@dataclass(frozen=True)
class InjectorFiles:
    """One injector of the set, with its two tests."""

    cylinder: int
    identity: str
    as_found: SittingFiles | None
    as_left: SittingFiles | None


@dataclass(frozen=True)
class SetFolder:
    """What a set folder holds; recordings and the sheet are named, not yet read."""

    folder: Path
    sheet: Path
    bench: Path | None
    conditions: BenchConditions
    """As in ``bench.toml``, before what single tests change."""
    title: str
    engine: str
    customer: str
    workshop: str
    fitter: str
    date: str
    condition: Condition
    invented: bool
    symptoms: str
    injectors: tuple[InjectorFiles, ...]
    """In cylinder order."""
    digest: str
    """SHA-256 of ``set.toml``."""

    def engine_set(self, injectors: tuple[SetInjector, ...]) -> EngineSet:
        """Return the set with its injectors as measured."""
        return EngineSet(
            title=self.title,
            engine=self.engine,
            customer=self.customer,
            workshop=self.workshop,
            fitter=self.fitter,
            date=self.date,
            condition=self.condition,
            invented=self.invented,
            symptoms=self.symptoms,
            injectors=injectors,
        )


def read_set(folder: Path) -> SetFolder:
    """Read a set folder.

    Parameters
    ----------
    folder : Path
        Folder with ``set.toml``, the setting sheet, and usually ``bench.toml`` and recordings

    Raises
    ------
    SetFault
        With every fault of ``set.toml``, ``bench.toml`` and the hand cards together.
    """
    if not folder.is_dir():
        raise SetFault(
            Fault(
                f"this is a file, not a folder ({folder})"
                if folder.is_file()
                else f"there is no such folder ({folder})",
                folder.name or str(folder),
                f"Name the folder that holds {SET_FILE}",
            )
        )
    document = read_toml(folder / SET_FILE, SetFault)
    return _Reader(folder, document).read()


def _spring(table: SittingTable, where: str) -> MeasuredSpring | None:
    """Return the spring of a test as it was measured; None where it was not."""
    if table.spring_mm is None:
        return None
    off = table.spring_off_mm
    u_m = CALIPER_U_M if off is None else off * 1e-3 / 1.959963984540054
    length = Quantity(
        table.spring_mm * 1e-3,
        "m",
        {Cause(SPRING_LENGTH, where): u_m},
        say("measured on the bench"),
    )
    return MeasuredSpring(length, table.spring_load_n or 0.0)


class _Reader:
    """Gathers faults while it reads, so that all come together."""

    def __init__(self, folder: Path, document: TomlDocument) -> None:
        self.folder = folder
        self.document = document
        self.faults: list[Fault] = []
        self.bench_data: Mapping[str, Any] = {}
        self.bench_path: Path | None = None
        self.base_blank: Path | None = None
        self.taken: dict[Path, str] = {}

    def read(self) -> SetFolder:
        table, self.faults = checked(SetTable, self.document, self.document.data)
        bench_name = self.document.data.get("bench")
        conditions = self._conditions(bench_name if isinstance(bench_name, str) else None)
        if table is None:
            self._look_at_paths()
            raise SetFault(dict.fromkeys(self.faults))
        sheet = self._inside(table.sheet, ("sheet",))
        injectors = tuple(
            InjectorFiles(
                cylinder=one.cylinder,
                identity=one.id,
                as_found=self._sitting(one.as_found, ("injector", index, "as_found"), conditions),
                as_left=self._sitting(one.as_left, ("injector", index, "as_left"), conditions),
            )
            for index, one in enumerate(table.injector)
        )
        if self.faults or sheet is None or conditions is None:
            raise SetFault(dict.fromkeys(self.faults))
        return SetFolder(
            folder=self.folder,
            sheet=sheet,
            bench=self.bench_path,
            conditions=conditions,
            title=table.title,
            engine=table.engine,
            customer=table.customer,
            workshop=table.workshop,
            fitter=table.fitter,
            date=table.date,
            condition=table.condition,
            invented=table.invented,
            symptoms=table.symptoms,
            injectors=tuple(sorted(injectors, key=lambda one: one.cylinder)),
            digest=self.document.digest,
        )

    def _look_at_paths(self) -> None:
        """Look at the files that a faulty ``set.toml`` names, so that their faults come too."""
        data = self.document.data
        sheet = data.get("sheet", SHEET_FILE)
        if isinstance(sheet, str):
            self._inside(sheet, ("sheet",))
        injectors = data.get("injector")
        for index, one in enumerate(injectors if isinstance(injectors, list) else ()):
            for act in ("as_found", "as_left"):
                test = one.get(act) if isinstance(one, Mapping) else None
                for key in ("recording", "hand_card"):
                    name = test.get(key) if isinstance(test, Mapping) else None
                    if isinstance(name, str) and name:
                        self._inside(name, ("injector", index, act, key))

    def _conditions(self, name: str | None) -> BenchConditions | None:
        """Read ``bench.toml``; None where it has faults, which are kept."""
        if name is None and not (self.folder / BENCH_FILE).exists():
            return BenchConditions()
        path = self._inside(name or BENCH_FILE, ("bench",))
        if path is None:
            return None
        self.bench_path = path
        try:
            document = read_toml(path, ConditionsFault)
        except InputFault as fault:
            self.faults += fault.faults
            return None
        table, faults = checked(ConditionsTable, document, document.data)
        self.faults += faults
        if table is None:
            return None
        self.bench_data = document.data
        conditions = conditions_from(table)
        self.base_blank = self._blank(conditions, document.where(("blank_plug", "recording")))
        return conditions

    def _blank(self, conditions: BenchConditions, where: str) -> Path | None:
        beside = self.bench_path or self.folder / BENCH_FILE
        path = blank_recording_path(conditions, beside)
        return None if path is None else self._checked_path(path, where)

    def _sitting(
        self, table: SittingTable | None, at: Location, base: BenchConditions | None
    ) -> SittingFiles | None:
        if table is None:
            return None
        recording = self._inside(table.recording, (*at, "recording")) if table.recording else None
        if recording is not None:
            where = self.document.where((*at, "recording"))
            if recording in self.taken:
                self._add(
                    f"'{table.recording}' stands for two tests", where,
                    f"It is already named at {self.taken[recording]}",
                )  # fmt: skip
            self.taken[recording] = where
        hand = self._hand(table, at)
        conditions = None if base is None else self._changed(table, at, base)
        if conditions is None:
            return None
        seen = table.seen
        options = {
            key: getattr(table, key)
            for key in (
                "pressure_column", "time_column", "pressure_unit", "time_unit", "sample_rate_hz",
            )
            if getattr(table, key) is not None
        }  # fmt: skip
        return SittingFiles(
            recording=recording,
            hand=hand,
            conditions=conditions,
            blank_recording=(
                self.base_blank
                if conditions is base
                else self._blank(conditions, self.document.where((*at, "bench")))
            ),
            seen=FitterObservations(
                spray=seen.spray,
                spray_note=seen.spray_note,
                chatter=seen.chatter,
                seat=seen.seat,
                seat_watch=TipWatch(grade=seen.seat, outside_leak=seen.outside_leak),
                needle_slide=seen.needle_slide,
                inspection=tuple(
                    InspectionFinding(one.part, one.seen, one.severity) for one in seen.inspection
                ),
                note=seen.note,
            ),
            shim_mm=table.shim_mm,
            reading_options=options,
            spring=_spring(table, self.document.where((*at, "spring_mm"))),
        )

    def _changed(
        self, table: SittingTable, at: Location, base: BenchConditions
    ) -> BenchConditions | None:
        """Return the conditions with what this test changes laid over them."""
        changes: dict[str, Any] = dict(table.bench)
        if table.sitting:
            changes = override(changes, {"sitting": {"id": table.sitting}})
        fluid = {
            key: getattr(table, key)
            for key in ("temperature_c", "temperature_u_c")
            if getattr(table, key) is not None
        }
        if fluid:
            changes = override(changes, {"fluid": fluid})
        if table.seen.tip:
            changes = override(changes, {"tip": table.seen.tip})
        if not changes:
            return base
        merged = override(self.bench_data, changes)
        result, faults = checked(ConditionsTable, self.document, merged, (*at, "bench"))
        self.faults += faults
        return None if result is None else conditions_from(result)

    def _hand(self, table: SittingTable, at: Location) -> HandReadings | None:
        if table.hand is not None:
            return hand_readings(
                table.hand, source=self.document.where((*at, "hand")), digest=self.document.digest
            )
        if not table.hand_card:
            return None
        path = self._inside(table.hand_card, (*at, "hand_card"))
        if path is None:
            return None
        try:
            return read_hand_card(path)
        except InputFault as fault:
            self.faults += fault.faults
            return None

    def _inside(self, name: str, at: Location) -> Path | None:
        return self._checked_path(self.folder / name, self.document.where(at), name)

    def _checked_path(self, path: Path, where: str, name: str | None = None) -> Path | None:
        """Return a path that is a file inside the folder; else None, and the fault is kept."""
        shown = name if name is not None else path.name
        try:
            real, root = path.resolve(), self.folder.resolve()
            inside, there = real.is_relative_to(root), real.is_file()
        except (OSError, ValueError, RuntimeError):  # a null in the name, a ring of links
            self._add(f"'{shown}' is not a usable file name", where, "Name a file in the folder")
            return None
        if not inside:
            self._add(
                f"'{shown}' lies outside the set's folder", where,
                "Copy the file into the folder: a set is handed over as a whole",
            )  # fmt: skip
            return None
        if not there:
            self._add(
                f"there is no file '{shown}' in the folder", where,
                "Check the name; it is relative to the folder",
            )  # fmt: skip
            return None
        return path

    def _add(self, what: str, where: str, remedy: str) -> None:
        self.faults.append(Fault(what, where, remedy))
