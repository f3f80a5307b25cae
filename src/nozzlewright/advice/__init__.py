"""What the fitter should do next, and why.

``plan``
    The next actions of an injector, the least work that can help first.
``effect``
    What shim or screw does, learned from the changes on record: :func:`learn`, :func:`effect_of`.
``setting``
    Shim or screw: the change, and the opening pressure to be expected.
``matching``
    Which injectors must move so that the set is even.
``cautions``
    What can hurt at a step.
"""

from nozzlewright.advice.effect import SetAside, SettingKnowledge, effect_of, learn
from nozzlewright.advice.effect_model import Change, Shift
from nozzlewright.advice.matching import to_be_matched
from nozzlewright.advice.next_action import ActionKind, Advice, NextAction
from nozzlewright.advice.plan import advise, advise_set
from nozzlewright.advice.setting import (
    SettingChange,
    change_to,
    nearest_shims,
    screw_effect,
    shim_effect,
)

__all__ = [
    "ActionKind",
    "Advice",
    "Change",
    "NextAction",
    "SetAside",
    "SettingChange",
    "SettingKnowledge",
    "Shift",
    "advise",
    "advise_set",
    "change_to",
    "effect_of",
    "learn",
    "nearest_shims",
    "screw_effect",
    "shim_effect",
    "to_be_matched",
]
