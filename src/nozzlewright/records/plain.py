"""Findings as JSON text, and back: what was measured is kept as it was understood then."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from nozzlewright.bench import GaugeFindings, RigCheck
from nozzlewright.measurement import Cause
from nozzlewright.said import as_data, from_data

if TYPE_CHECKING:
    from cattrs.preconf.json import JsonConverter

FORMAT = "nozzlewright findings 1"


def findings_text(findings: GaugeFindings) -> str:
    """Return findings as JSON text; nothing is rounded."""
    return str(
        _converter().dumps(
            {"format": FORMAT, "findings": _converter().unstructure(findings)}, allow_nan=False
        )
    )


def findings_from(text: str | bytes) -> GaugeFindings:
    """Return the findings that a text holds.

    Raises
    ------
    ValueError
        If the text is not that of findings.
    """
    from cattrs import BaseValidationError

    try:
        data = _converter().loads(text, dict[str, Any])
        if data.get("format") != FORMAT:
            raise ValueError(f"its format is {data.get('format')!r}, not {FORMAT!r}")
        return _converter().structure(data["findings"], GaugeFindings)
    except (BaseValidationError, KeyError, TypeError) as fault:
        raise ValueError(f"no findings can be read from it ({fault})") from fault


def rig_check_data(check: RigCheck) -> Any:
    """Return a check of the rig as plain data; nothing is rounded."""
    return _converter().unstructure(check)


def rig_check_from(data: Any) -> RigCheck:
    """Return the check that plain data hold.

    Raises
    ------
    ValueError
        If the data are not those of a check.
    """
    from cattrs import BaseValidationError

    try:
        return _converter().structure(data, RigCheck)
    except (BaseValidationError, KeyError, TypeError) as fault:
        raise ValueError(f"no check of a rig can be read from it ({fault})") from fault


@cache
def _converter() -> JsonConverter:
    from cattrs.gen import make_dict_unstructure_fn, override
    from cattrs.preconf.json import make_converter

    converter = make_converter()
    parts = Mapping[Cause, float]

    def as_pairs(contributions: Mapping[Cause, float]) -> list[list[Any]]:
        return [[converter.unstructure(cause), part] for cause, part in contributions.items()]

    def from_pairs(pairs: list[list[Any]], _: object) -> dict[Cause, float]:
        return {converter.structure(cause, Cause): float(part) for cause, part in pairs}

    # What old records do not have is left out where it says nothing.
    converter.register_unstructure_hook(
        Cause,
        make_dict_unstructure_fn(
            Cause,
            converter,
            degrees=override(omit_if_default=True),
            rests_on=override(omit_if_default=True),
        ),
    )
    # A message keeps its template, so that it can be said in another language later.
    converter.register_unstructure_hook(str, as_data)
    # Words of an enumeration are strings too, and become members of it again.
    converter.register_structure_hook(
        str, lambda data, kind: from_data(data) if kind is str else kind(data)
    )
    converter.register_unstructure_hook_func(lambda kind: kind == parts, as_pairs)
    converter.register_structure_hook_func(lambda kind: kind == parts, from_pairs)
    return converter
