"""What the fitter should do next, and why.

``plan``
    The next actions of an injector, the least work that can help first.
``effect``
    What shim or screw does, learned from the changes on record: :func:`learn`, :func:`effect_of`.
``setting``
    Shim or screw: the change, and the opening pressure to be expected.
``matching``
    Which injectors are to be touched, and how, so that the set is even.
``match_model``
    The same as an integer programme, solved to proof.
``causes``
    The cause finder, a package of its own: what is likely to be wrong, and what to look at next.
``rig_care``
    What to do about the rig that was checked, and what comes due on it.
``cautions``
    What can hurt at a step.
"""

from nozzlewright.advice.effect import SetAside, SettingKnowledge, effect_of, learn
from nozzlewright.advice.effect_model import SeenChange, SeenShift
from nozzlewright.advice.matching import (
    Act,
    Chances,
    MatchCase,
    Matching,
    MatchPlan,
    MatchStep,
    Purchase,
    Spare,
    Springs,
    Weights,
    case_of,
    match_set,
    matched,
    purchase,
    to_be_matched,
)
from nozzlewright.advice.next_action import ActionKind, Advice, NextAction
from nozzlewright.advice.plan import advise, advise_set
from nozzlewright.advice.setting import (
    Choice,
    SettingChange,
    SettingMeans,
    change_to,
    reading_after,
    screw_effect,
    shim_effect,
    shims_to_be_had,
)

__all__ = [
    "Act",
    "ActionKind",
    "Advice",
    "Chances",
    "Choice",
    "MatchCase",
    "MatchPlan",
    "MatchStep",
    "Matching",
    "NextAction",
    "Purchase",
    "SeenChange",
    "SeenShift",
    "SetAside",
    "SettingChange",
    "SettingKnowledge",
    "SettingMeans",
    "Spare",
    "Springs",
    "Weights",
    "advise",
    "advise_set",
    "case_of",
    "change_to",
    "effect_of",
    "learn",
    "match_set",
    "matched",
    "purchase",
    "reading_after",
    "screw_effect",
    "shim_effect",
    "shims_to_be_had",
    "to_be_matched",
]
