"""What a customer wrote, understood as symptoms: never silently.

Whatever is understood is said back with the very words that it was understood from, and so is what
was not understood: the person at the screen corrects it by a tap.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

NEGATIONS = (
    r"(?:\b(?:no|not(?! only)|without|never|(?:does|did|do|has|have|is|was)n['’]?t|"
    r"kein\w*|ohne|nicht(?! nur)|nie)\b\s+(?:\w+\s+){0,1})"
)
"""What before a symptom says that it is not there."""
AFTERWARDS = r"(?:\s+(?:nicht(?! nur)|nie)\b)"
"""What behind a symptom says so, in German."""

_WORDS = r"""
hard_start_hot=yes
    hard_to_start_when_(?:hot|warm) | (?:bad|hard|poor)\w*_start\w*_(?:when_)?(?:hot|warm) |
    start\w*_(?:badly|poorly|hard)_(?:when_)?(?:hot|warm) | hot_start\w* | heiß_?start\w* |
    heissstart\w* | springt_(?:warm|heiß|heiss)_schlecht_an
hard_start=yes
    hard_to_start | hard_start\w* | start\w*_(?:badly|poorly|hard) |
    (?:does|did|do|will|would)_not_start | (?:does|did|do|would|wo)n['’]?t_start |
    (?:poor|bad|difficult|slow)\w*_(?:to_)?start\w* | no_start\b |
    springt_(?:\w+_)?(?:schlecht|nicht)_an | startet_(?:schlecht|nicht) | schlechter_start |
    kaltstart\w*
runs_on=yes
    runs?_on | won['’]?t_stop | (?:does|will)_not_(?:stop|shut_off) | läuft_nach | geht_nicht_aus |
    stellt_nicht_ab
blue_smoke=yes
    blu\w*(?:[_-]white)?_smok\w* | smok\w*_(?:is_)?blue | blau\w*_(?:rauch\w*|qualm\w*) |
    blaurauch | (?:raucht|qualmt)_blau
white_smoke=yes
    whit\w*_smok\w* | smok\w*_(?:is_)?white | weiß\w*_(?:rauch\w*|qualm\w*) |
    weiss\w*_(?:rauch\w*|qualm\w*) | wei(?:ß|ss)rauch | (?:raucht|qualmt)_wei(?:ß|ss)
black_smoke=yes
    (?:black|dark|gr[ae]y)_smok\w* | smok\w*_(?:black|under_load|at_idle) | smok\w* | soot\w* |
    schwarz\w*_(?:rauch\w*|qualm\w*) | schwarzrauch | ru(?:ß|ss)\w* | raucht | qualmt |
    (?:auspuff)?rauch\b | qualm\b
knock=yes
    knock\w* | hammer\w* | detonat\w* | rap(?:s|ping)\b | pound\w* | klopf\w* | nagel\w* |
    schlägt | hämmer\w*
dead_cylinder=yes
    dead_cylinder | cylinder_(?:is_)?dead | does_not_fire | not_firing | zylinder_(?:ist_)?tot |
    zündet_nicht | toter_zylinder
misfire=yes
    mis+fir\w* | misses\b | (?:engine|keeps|runs)_missing | missing_(?:at|under) | skips?\b |
    skipping | aussetz\w* | setzt_aus |
    fehlzünd\w*
hunting=yes
    hunt\w* | surg\w* | uneven_idle | sägt | schwankt | ruckelt | drehzahlschwank\w*
stalls=yes
    stall\w* | dies_at_idle | geht_(?:im_leerlauf_)?aus | stirbt_ab
rough=yes
    rough\w* | uneven\w* | shak\w* | vibrat\w* | unrund | läuft_unruhig | rauer_lauf |
    schüttelt
low_power=yes
    (?:low|weak|lacks?|lost|loss_of|less|little|no)_(?:\w+_)?power | weak\b | won['’]?t_pull |
    does(?:_not|n['’]?t)_pull | (?:keine|wenig)_leistung | leistung\w*_fehlt |
    leistungs(?:mangel|verlust) | zieht_(?:schlecht|nicht) | keine_kraft
fuel_use=yes
    (?:high|more|much)_(?:fuel_)?consumption | uses_(?:much_|more_|a_lot_of_)?fuel |
    mehrverbrauch | hoher_verbrauch | verbraucht_(?:zu_)?viel | säuft
exhaust_hot=yes
    (?:hot|high)_exhaust\w* | exhaust_\w*_?(?:too_)?(?:hot|high) |
    abgas\w*_(?:zu_)?(?:hei(?:ß|ss)|hoch) | hohe_abgastemperatur
oil_diluted=yes
    (?:fuel|diesel)_in_(?:the_)?(?:engine_)?oil |
    oil_(?:level_)?(?:is_)?(?:rising|rises|up|thin|diluted) | dilut\w* | ölverdünn\w* |
    diesel_im_öl | öl(?:stand)?_steigt
coolant_loss=yes
    (?:loses|losing|uses|loss_of)_(?:coolant|water) | sweet_smell\w* | smells_sweet |
    kühlmittelverlust | verliert_(?:kühl)?wasser | riecht_süß\w*
oil_use=yes
    (?:uses|burns|burning|consumes)_oil | oil_consumption | ölverbrauch | verbraucht_öl |
    verbrennt_öl
blow_by=yes
    chuff\w* | blow(?:s|ing)?[_-]?by | blows_past | bläst_(?:durch|am) | blasgeräusch | zischt
bubbles=yes
    bubbles | air_in_(?:the_)?(?:return|fuel) | (?:luft)?blasen |
    luft_im_(?:rücklauf|kraftstoff)
piston_burnt=yes
    (?:burnt|burned|holed)_(?:piston|crown) | piston_(?:is_)?(?:burnt|burned|holed) |
    kolben_(?:ver)?brannt | kolbenschaden
since_overhaul=yes
    since_(?:the_)?(?:\w+_)?(?:overhaul|service|repair|work) |
    after_(?:the_)?(?:\w+_)?(?:overhaul|service|repair) |
    seit_(?:der_)?(?:überholung|reparatur|wartung) |
    nach_(?:der_)?(?:überholung|reparatur|wartung)
dirty_fuel=yes
    (?:dirty|bad|old)_fuel | (?:dirt|water)_in_(?:the_)?(?:fuel|tank) |
    (?:wasser|schmutz|dreck)_im_(?:tank|kraftstoff|diesel) | schlechter_diesel
scope=all
    all_(?:cylinders|of_them) | every_cylinder | alle_zylinder\w* | allen_zylindern
scope=one
    (?:only_)?(?:one|a_single)_cylinder | nur_ein(?:en|em)?_zylinder
swap=injector
    follow(?:s|ed)_the_injector | went_with_the_injector | wandert_mit_der_düse
swap=line
    follow(?:s|ed)_the_(?:line|pipe) | wandert_mit_der_leitung
swap=cylinder
    stay(?:s|ed)_(?:with|at)_the_cylinder | no_change_(?:on|after)_swap\w* |
    bleibt_am_zylinder
compression_test=low
    (?:low|poor|bad)_compression | compression_(?:is_)?(?:low|bad|poor) |
    kompression_(?:ist_)?(?:schlecht|zu_niedrig) | wenig_kompression
compression_test=even
    compression_(?:is_)?(?:good|even|ok|fine) | good_compression | kompression_(?:ist_)?gut
"""
"""Observation and state, then in lines below it the words for it, English and German: patterns with
``_`` for a blank, between ``|``. What is particular comes first."""

SPRAY_WORDS: tuple[tuple[str, str], ...] = (
    ("jet_missing", r"missing|blocked|choked|only \w+ jets?|fehlt|verstopft"),
    ("solid_jet", r"solid|long jet|voller strahl"),
    ("one_sided", r"one[- ]sided|deflect\w*|lopsided|crooked|to one side|oblique|einseitig|schief"),
    ("dribble", r"dribbl\w*|drip\w*|after[- ]drip|hangs over|wet tip|tropf\w*|nachtropf\w*"),
    ("streaky", r"streak\w*|coarse|stream\w*|hoarse|feather\w*|diffus\w*|strähn\w*|grob"),
)
"""What is said of a poor spray."""

_SMALL = frozenset(
    re.findall(
        r"\w+",
        "a an and at by for from has have in is it of on or the to too very was when with while "
        "das der die ein eine er es im ist mit sehr und von wenn zu am auf bei beim",
    )
)
"""Words that need no understanding."""


@cache
def _patterns() -> tuple[tuple[str, str, re.Pattern[str]], ...]:
    rows: list[tuple[str, str, str]] = []
    for line in _WORDS.split("\n"):
        if line.startswith(" "):
            observation, state, words = rows[-1]
            more = "|".join(word.strip() for word in _outer(line) if word.strip())
            rows[-1] = (observation, state, "|".join(part for part in (words, more) if part))
        elif line:
            rows.append((*_pair(line), ""))
    return tuple(
        (
            observation,
            state,
            # A negation that belongs to the symptom ("does not start") is part of its own words.
            re.compile(
                rf"(?P<no>{NEGATIONS})?\b(?:{words.replace('_', ' ')})(?P<after>{AFTERWARDS})?"
            ),
        )
        for observation, state, words in rows
    )


def _pair(line: str) -> tuple[str, str]:
    observation, _, state = line.partition("=")
    return observation, state


def _outer(line: str) -> list[str]:
    """Return what stands between the bars that stand by themselves."""
    return re.split(r"\s\|(?:\s|$)", line)


@dataclass(frozen=True)
class Understood:
    """A symptom, and the words that it was understood from."""

    observation: str
    state: str
    words: str


@dataclass(frozen=True)
class ReadText:
    """A text, what was understood of it and what was not."""

    text: str
    understood: tuple[Understood, ...]
    left: tuple[str, ...]
    """Pieces in which words stand that were not understood."""


def read_symptoms(text: str) -> ReadText:
    """Return the symptoms that a text tells of, in English or German.

    Parameters
    ----------
    text : str
        What the customer or the fitter wrote

    Returns
    -------
    ReadText
        What was understood, each with its words, and the pieces that were not

    Examples
    --------
    >>> read = read_symptoms("white smoke when cold, no knock; belt squeals")
    >>> [(one.observation, one.state, one.words) for one in read.understood]
    [('white_smoke', 'yes', 'white smoke'), ('knock', 'no', 'no knock')]
    >>> read.left
    ('cold', 'belt squeals')
    """
    rest = text.lower()
    if len(rest) != len(text):  # a letter that is two when small
        text = rest
    found: list[tuple[int, Understood]] = []
    for observation, state, pattern in _patterns():
        for hit in pattern.finditer(rest):
            if any(one.observation == observation for _, one in found):
                continue
            said = state
            if hit["no"] or hit["after"]:
                said = "no" if state == "yes" else ""
            if said:
                words = text[hit.start() : hit.end()].strip()
                found.append((hit.start(), Understood(observation, said, words)))
            blank = "\0" * (hit.end() - hit.start())
            rest = rest[: hit.start()] + blank + rest[hit.end() :]
    left = []
    for piece in re.split(r"[\0,.;:!?()\n]+", rest):
        unknown = [word for word in piece.split() if word not in _SMALL]
        if any(len(word) > 2 for word in unknown):
            left.append(" ".join(unknown))
    found.sort(key=lambda row: row[0])
    return ReadText(text, tuple(one for _, one in found), tuple(left))


def read_spray(note: str) -> str:
    """Return the state of a poor spray that a note tells of; empty where it tells of none.

    >>> read_spray("one jet hangs over and drips"), read_spray("not nice")
    ('dribble', '')
    """
    low = note.lower()
    return next((state for state, words in SPRAY_WORDS if re.search(rf"\b(?:{words})", low)), "")
