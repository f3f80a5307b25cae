"""Entries of the record in plain words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from nozzlewright.edge.web import show, states
from nozzlewright.edge.web.findings_shown import SEVERITIES
from nozzlewright.edge.web.own_words import in_words
from nozzlewright.edge.web.steps_shown import title_of
from nozzlewright.edge.web.texts import N_, _, said
from nozzlewright.measurement import Cause, Quantity
from nozzlewright.records import EntryKind
from nozzlewright.report.wording import number, with_unit
from nozzlewright.said import from_data

KINDS: Mapping[EntryKind, str] = {
    EntryKind.PERSON: N_("Person"),
    EntryKind.SHEET: N_("Setting sheet"),
    EntryKind.RIG_CHECK: N_("Rig of the day"),
    EntryKind.BOOKED_IN: N_("Booked in"),
    EntryKind.SHEET_CHOSEN: N_("Setting sheet chosen"),
    EntryKind.TAGGED: N_("Tagged"),
    EntryKind.PHOTO: N_("Photo"),
    EntryKind.TAKEN_IN_HAND: N_("Taken in hand"),
    EntryKind.LAID_DOWN: N_("Closed"),
    EntryKind.STEP_DONE: N_("Step done"),
    EntryKind.SEEN: N_("Seen and heard"),
    EntryKind.TEST: N_("Test"),
    EntryKind.STRIPPED: N_("Stripped"),
    EntryKind.FINDING: N_("Finding"),
    EntryKind.ASSEMBLED: N_("Assembled"),
    EntryKind.TORQUED: N_("Tightened"),
    EntryKind.SETTING_CHANGED: N_("Setting changed"),
    EntryKind.VERDICT: N_("Verdict"),
    EntryKind.SHELVED: N_("Laid on the shelf"),
    EntryKind.SECOND_PERSON: N_("Second person"),
    EntryKind.HANDED_OVER: N_("Handed over"),
    EntryKind.RUNNING_CHECK: N_("Running check"),
    EntryKind.WITHDRAWN: N_("Taken back"),
    EntryKind.PRACTICE: N_("Practice"),
    EntryKind.DRAWER: N_("Shims in the drawer"),
    EntryKind.MATCH: N_("Match chosen"),
    EntryKind.SPRINGS: N_("Springs on the shelf"),
    EntryKind.STUDY: N_("Repeatability study"),
    EntryKind.CAUSE: N_("Cause of the trouble"),
    EntryKind.LEARNED: N_("Learned from closed jobs"),
}
"""Heads of entries in the story."""

GRADES: Mapping[str, str] = {
    "good": N_("good"),
    "poor": N_("poor"),
    "clear": N_("clear"),
    "weak": N_("weak"),
    "none": N_("none"),
    "dry": N_("dry"),
    "damp": N_("damp"),
    "drop": N_("drop"),
}
"""What eye and ear may say."""

STUDY_OF: Mapping[str, str] = {
    "opening pressure": N_("opening pressure"),
    "drop time": N_("drop time"),
    "seat": N_("tip while pressure is held"),
    "spray": N_("spray"),
    "chatter": N_("chatter"),
}
"""What a study of fitters reads."""

SITTINGS: Mapping[str, str] = {"as found": N_("as found"), "as left": N_("as left")}


def kind_words(kind: EntryKind) -> str:
    """Return the head of an entry, in the language of this screen."""
    return _(KINDS[kind])


def words(kind: EntryKind, body: Mapping[str, Any]) -> str:
    """Return what an entry says, in the language and units of this screen; may be empty."""
    tell = _WORDS.get(kind)
    parts = list(tell(body)) if tell is not None else []
    if body.get("note"):
        parts.append(f"“{body['note']}”")
    return "; ".join(part for part in parts if part)


def millimetres(value: float) -> str:
    """Return a thickness with its unit, to a hundredth.

    >>> millimetres(1.3).replace("\N{NO-BREAK SPACE}", " ")
    '1.30 mm'
    """
    return show.localised(with_unit(number(value, 2), "mm"))


def newton_metres(value: float) -> str:
    """Return a torque with its unit.

    >>> newton_metres(65.0).replace("\N{NO-BREAK SPACE}", " ")
    '65 Nm'
    """
    return show.localised(with_unit(f"{value:.4g}", "Nm"))


def measured(noted: Any, unit: str) -> Quantity | None:
    """Return a value that an entry keeps as value and standard uncertainty; None without one."""
    if not isinstance(noted, list | tuple) or len(noted) != 2:
        return None
    return Quantity(float(noted[0]), unit, {Cause("as noted"): float(noted[1])})


def seen_words(body: Mapping[str, Any]) -> list[str]:
    """Return what eye and ear noticed, one part each."""
    parts = []
    for key, template in (
        ("spray", _("spray %(grade)s")),
        ("chatter", _("chatter %(grade)s")),
        ("seat", _("tip %(grade)s")),
        ("drop_test", _("tip %(grade)s while the drop was timed")),
    ):
        if body.get(key):
            parts.append(template % {"grade": _(GRADES.get(body[key], str(body[key])))})
    if body.get("spray_note"):
        parts.append(f"“{body['spray_note']}”")
    if body.get("needle_slide") is not None:
        parts.append(_("needle slides freely") if body["needle_slide"] else _("needle sticks"))
    if body.get("angle"):
        parts.append(_("where: %(angle)s") % {"angle": body["angle"]})
    if body.get("leak_off_drops") is not None and body.get("leak_off_seconds"):
        counted = {
            "count": body["leak_off_drops"],
            "seconds": show.localised(f"{body['leak_off_seconds']:g}"),
        }
        parts.append(_("drops at the leak-off: %(count)s in %(seconds)s s") % counted)
    if body.get("outside_leak"):
        parts.append(_("leaks outside: %(where)s") % {"where": body["outside_leak"]})
    if body.get("no_result"):
        parts.append(_("no result: %(reason)s") % {"reason": _(str(body["no_result"]))})
    return parts


def _booked(body: Mapping[str, Any]) -> list[str]:
    cylinders = _("%(count)s cylinders") % {"count": body.get("cylinders", "")}
    return [str(body.get("engine", "")), str(body.get("customer", "")), cylinders]


def _tagged(body: Mapping[str, Any]) -> list[str]:
    parts = [
        _("cylinder %(number)s") % {"number": body["cylinder"]},
        _("serial %(serial)s") % {"serial": body["serial"]} if body.get("serial") else "",
        _("pair %(pair)s") % {"pair": body["pair"]},
        str(body.get("markings", "")),
    ]
    return [*parts, *_shim(body)]


def _shim(body: Mapping[str, Any]) -> list[str]:
    if body.get("shim_mm") is None:
        return []
    return [_("shim %(thickness)s") % {"thickness": millimetres(body["shim_mm"])}]


def _laid_down(body: Mapping[str, Any]) -> list[str]:
    tray = body.get("tray")
    return [_("its parts lie in tray %(tray)s") % {"tray": tray}] if tray else []


def _done(body: Mapping[str, Any]) -> list[str]:
    step = title_of(str(body["step"]))
    if body.get("left_out"):
        why = {"step": step, "why": body["left_out"]}
        return [_("%(step)s: left out, because %(why)s") % why]
    return [step]


def _tested(body: Mapping[str, Any]) -> list[str]:
    values: Mapping[str, Any] = body.get("summary") or {}
    opening = measured(values.get("opening_pa"), "Pa")
    shown_s = measured(values.get("drop_as_shown_s"), "s")
    reference_s = measured(values.get("drop_at_reference_s"), "s")
    parts = [
        _(SITTINGS.get(str(body.get("sitting")), "")),
        title_of(str(body.get("step", ""))),
        _("by hand") if body.get("by_hand") else "",
    ]
    if opening is not None:
        parts.append(_("opens at %(pressure)s") % {"pressure": show.pressure(opening)})
    if shown_s is not None:
        parts.append(_("drop time %(time)s as shown") % {"time": show.seconds(shown_s)})
    if reference_s is not None:
        time = {"time": show.seconds(reference_s)}
        parts.append(_("%(time)s at the sheet's reference") % time)
    return [*parts, *seen_words(body.get("seen") or {}), *_shim(body)]


def _stripped(body: Mapping[str, Any]) -> list[str]:
    parts = _shim(body)
    if body.get("screw_turns_out") is not None:
        turns = show.localised(f"{body['screw_turns_out']:g}")
        parts.append(_("screw backed off by %(turns)s turns") % {"turns": turns})
    return parts


def _found(body: Mapping[str, Any]) -> list[str]:
    severity = _(SEVERITIES[str(body["severity"])][0])
    parts = [f"{in_words(str(body['part']))}: {in_words(str(body['seen']))} ({severity})"]
    if body.get("length_mm") is not None:
        parts.append(spring_length(body))
    if body.get("goes_in"):
        parts.append(_("the one that goes in"))
    return parts


def spring_length(body: Mapping[str, Any]) -> str:
    """Return the length of a spring as it was measured, free or under its load."""
    length = show.localised(f"{body['length_mm']:.2f}")
    if body.get("length_off_mm") is not None:
        length += f" ± {show.localised(format(body['length_off_mm'], 'g'))}"
    length = with_unit(length, "mm")
    if body.get("load_n"):
        load = with_unit(show.localised(f"{body['load_n']:g}"), "N")
        return _("%(length)s under %(load)s") % {"length": length, "load": load}
    return _("%(length)s free") % {"length": length}


def _matched(body: Mapping[str, Any]) -> list[str]:
    return [said(from_data(body["work"])), said(from_data(body["words"]))]


def _sprung(body: Mapping[str, Any]) -> list[str]:
    count = body.get("count")
    many = _("endless") if count is None else str(count)
    size = {
        "length_mm": int(body["length_um"]) / 1e3,
        "length_off_mm": float(body["off_um"]) / 1e3,
        "load_n": body.get("load_n"),
    }
    if "changed" in body:
        many = f"{int(body['changed']):+d}"
    why = str(body.get("why", ""))
    return [str(body.get("injector", "")), f"{many} × {spring_length(size)}", why]


def _assembled(body: Mapping[str, Any]) -> list[str]:
    new = _("new pair %(pair)s") if body.get("new_pair") else _("pair %(pair)s")
    parts = [new % {"pair": body["pair"]}]
    renewed = [in_words(str(part)) for part in body.get("renewed", ())]
    if renewed:
        parts.append(_("renewed: %(parts)s") % {"parts": ", ".join(renewed)})
    return [*parts, *_shim(body)]


def _torqued(body: Mapping[str, Any]) -> list[str]:
    torque = newton_metres(body["torque_nm"]) if body.get("torque_nm") is not None else ""
    parts = [f"{in_words(str(body.get('part', '')))} {torque}".strip()]
    if body.get("wrench"):
        parts.append(_("wrench %(wrench)s") % {"wrench": body["wrench"]})
    return parts


def _set(body: Mapping[str, Any]) -> list[str]:
    parts = []
    if body.get("shim_to_mm") is not None:
        to = millimetres(body["shim_to_mm"])
        if body.get("shim_from_mm") is not None:
            change = {"before": millimetres(body["shim_from_mm"]), "after": to}
            parts.append(_("shim from %(before)s to %(after)s") % change)
        else:
            parts.append(_("shim %(thickness)s") % {"thickness": to})
    if body.get("screw_turns") is not None:
        parts.append(turns_words(float(body["screw_turns"])))
    foretold = measured((body.get("foretold") or {}).get("opening_pa"), "Pa")
    if foretold is not None:
        parts.append(_("foretold %(pressure)s") % {"pressure": show.pressure(foretold)})
    return parts


def _counted(body: Mapping[str, Any]) -> list[str]:
    """Return what an entry of the shim drawer says."""
    if "shims" in body:
        return [_("%(count)s sizes counted") % {"count": len(body["shims"])}]
    changed = dict(body.get("changed", {}))
    parts = [f"{int(by):+d} × {millimetres(int(size) / 1e3)}" for size, by in changed.items()]
    return [*parts, str(body.get("why", ""))]


def turns_words(turns: float) -> str:
    """Return a turn of the adjusting screw with its sense."""
    size = {"turns": show.localised(f"{abs(turns):g}")}
    return (
        _("screw in by %(turns)s turns") % size
        if turns >= 0
        else (_("screw out by %(turns)s turns") % size)
    )


def _verdict(body: Mapping[str, Any]) -> list[str]:
    return [_(SITTINGS.get(str(body["sitting"]), "")), states.outcome(str(body["outcome"]))[1]]


def _shelved(body: Mapping[str, Any]) -> list[str]:
    return [str(body.get("where", ""))]


def _second(body: Mapping[str, Any]) -> list[str]:
    if "agrees" not in body:
        return []
    return [_("agrees") if body["agrees"] else _("does not agree")]


def _handed_over(body: Mapping[str, Any]) -> list[str]:
    return [_("to %(person)s") % {"person": body["to"]}] if body.get("to") else []


def _ran(body: Mapping[str, Any]) -> list[str]:
    if "well" not in body:
        return []
    return [_("the engine runs well") if body["well"] else _("the engine does not run well")]


def _studied(body: Mapping[str, Any]) -> list[str]:
    plan = body.get("plan")
    if plan:
        count = {"fitters": len(plan["fitters"]), "injectors": len(plan["parts"])}
        of = _(STUDY_OF.get(str(plan["of"]), str(plan["of"])))
        return [str(plan["title"]), of, _("%(fitters)s fitters, %(injectors)s injectors") % count]
    if "part_name" not in body:
        return []
    place = {"fitter": body["fitter_name"], "injector": body["part_name"]}
    parts = [_("%(fitter)s, injector %(injector)s") % place]
    if body.get("pressure_pa") is not None:
        parts.append(show.pressure(float(body["pressure_pa"])))
    if body.get("time_s") is not None:
        parts.append(show.seconds(float(body["time_s"])))
    if body.get("grade"):
        parts.append(_(GRADES.get(str(body["grade"]), str(body["grade"]))))
    return parts


def _cause(body: Mapping[str, Any]) -> list[str]:
    from nozzlewright.advice.causes import published, seen_words

    table = published()
    parts = []
    for key in body.get("settled", ()):
        cause = table.by_cause.get(str(key))
        parts.append(said(cause.name) if cause is not None else str(key))
    for key, state in dict(body.get("observed", {})).items():
        one = table.by_observation.get(str(key))
        if one is None:
            continue
        if state:
            weights = [float(name == state) for name, _words in one.states]
            parts.append(_("seen: %(what)s") % {"what": said(seen_words(one, weights))})
        else:
            parts.append(_("not weighed: %(what)s") % {"what": said(one.name)})
    return parts


def _withdrawn(body: Mapping[str, Any]) -> list[str]:
    return [str(body.get("why", ""))]


_WORDS: Mapping[EntryKind, Callable[[Mapping[str, Any]], list[str]]] = {
    EntryKind.BOOKED_IN: _booked,
    EntryKind.TAGGED: _tagged,
    EntryKind.LAID_DOWN: _laid_down,
    EntryKind.STEP_DONE: _done,
    EntryKind.SEEN: seen_words,
    EntryKind.TEST: _tested,
    EntryKind.STRIPPED: _stripped,
    EntryKind.FINDING: _found,
    EntryKind.ASSEMBLED: _assembled,
    EntryKind.TORQUED: _torqued,
    EntryKind.SETTING_CHANGED: _set,
    EntryKind.DRAWER: _counted,
    EntryKind.MATCH: _matched,
    EntryKind.SPRINGS: _sprung,
    EntryKind.VERDICT: _verdict,
    EntryKind.SHELVED: _shelved,
    EntryKind.SECOND_PERSON: _second,
    EntryKind.HANDED_OVER: _handed_over,
    EntryKind.RUNNING_CHECK: _ran,
    EntryKind.STUDY: _studied,
    EntryKind.WITHDRAWN: _withdrawn,
    EntryKind.CAUSE: _cause,
}
