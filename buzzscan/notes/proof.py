"""Which candidates are a string being picked, proved by pitch.

Conventions
-----------
Odds run from 0 to 1 and fall to 0 as soon as one thing that every picked string does is missing.

Limits
------
Odds are not yet the last word: the way of the run may still pass over a likely candidate or take
an unlikely one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from buzzscan.notes.hearing import LEAST_STRING_B, Heard, select

__all__ = ["note_odds", "weeded"]

FloatArray = npt.NDArray[np.float64]

_SHORTEST_S = 0.07
"""Two candidates nearer than this are one note: half of the fastest notes looked for."""
_LATER_DB = 6.0
"""Of two likely ones the later is the pick, as nothing new sounds after it, unless far softer."""
_HARDLY_A_PICK, _MAY_BE_A_PICK = 0.1, 0.3
"""Odds up to which the later is none, where the earlier may be one: a click of a string that keeps
striking a fret is as loud as its pick."""
_LANDING_S, _LANDING_DB = 0.14, 9.0
"""A finger lands on its fret up to this long before the pick, and sounds the note far softer."""
_SAME_CENTS = 60.0
_SETTLED_DB = 4.0
"""By how much less the sound rises where a string comes clear of a fret than at the pick."""
_CLEARS_S, _NO_ATTACK_DB = 0.4, 5.0
"""A string that struck a fret comes clear within this, and without an attack."""
_SAME_STRING_CENTS, _CLEARING_CENTS = (-20.0, 20.0), (-20.0, 75.0)
"""One note's pitch, heard twice; and by how much a string sounds sharp while it strikes a fret
and its partials are on no line."""
_LIKELY, _QUIET_DB = 0.6, (13.0, 23.0)
_NEW, _RISE_DB, _TONE_RISE_LESS_DB = (0.06, 0.25), (-6.0, -2.0), 3.0
"""Share of a candidate's partials that is new, and their rise, or that of its tone alone, which
counts for less: at the end of a note nothing is new, and all falls."""
_PARTIALS, _FEW_PARTIALS, _PURE_SHARE = (1.0, 4.0), (0.0, 2.0), (0.7, 0.9)
"""Partials that make a note, and those that do where they are all there is: high on the neck a dull
pickup leaves two."""
_EDGE_DB, _EDGE_LESS, _LEVEL_RISE_DB = (5.0, 10.0), (4.0, 5.0), (1.0, 6.0)
"""Rise of the attack that shows a pick, and by how much less of it does where the partials rise
as well."""
_STILL, _STILL_NEW = (0.9, 0.98), (0.4, 0.8)
"""A squeak may drown the attack, but not partials that are new and hold still."""
_STRING_PARTIALS, _STRING_RISE_DB, _STRING_NEW = (4.0, 8.0), (3.0, 8.0), (0.3, 0.6)
"""Partials, their rise and their newness by which a string is one beyond doubt."""
_AGAIN_SHARE, _AGAIN_NEW, _TONE_SHARE = (0.4, 0.8), (0.12, 0.3), (0.1, 0.5)
"""Share of the level that is the tone's: of all of it, where a string is picked again on the same
fret, which adds little power, but is new all the same; and of what is new."""
_STEADY, _STRUCK_SHARE = (0.68, 0.93), (0.4, 0.6)
"""How steady a string's partials are, and the share of the level from which that of a struck one
need not be."""
_NO_TONE, _UNSTEADY, _SPEECH, _QUIET = 0.3, 0.2, 0.2, 0.5
"""What is left of the odds of a candidate that fails in one of these alone: none of them is proof
that no string was picked."""
_VOICE_PARTIALS = 8
"""Partials in a straight series: a voice or a wind instrument, as no string is that thin."""
_PICKED_GAIN_DB, _PICKED_RISE_DB = 8.0, 15.0
"""Rise of an attack, and of its partials, that a voice does not reach within a few ms."""
_STRUCK_GAIN_DB, _STRUCK_PARTIALS = (8.0, 13.0), (8.0, 12.0)
"""An attack this sharp into this many partials is a string. Where it strikes a fret at once its
partials are thrown off for some periods, and so are no more steady than a voice's."""
_STIFF_ERRORS, _MISFIT_CENTS = (2.0, 5.0), (3.0, 6.0)
"""Standard errors by which a string's B stands out from 0, and how far off its line its partials
may be: those of talk glide while they are looked at, and so show neither."""
_SPEECH_UNDER_DB = (5.0, 9.0)
"""Talk is softer than the run."""


def _gate(value: FloatArray, low: float | FloatArray, high: float | FloatArray) -> FloatArray:
    """Return 0 below low, 1 above high, and a line between."""
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def note_odds(heard: Heard) -> FloatArray:
    """Return for each candidate how sure it is that a string was picked there, 0–1.

    A squeak or a thump adds nothing new at the pitch that sounds, or has no pitch; at a note's
    end the partials fall; a voice does not hold its partials still.
    """
    count = heard.n_found.astype(np.float64)
    new = _gate(heard.new, *_NEW)
    rise = _gate(np.maximum(heard.rise_db, heard.tone_rise_db - _TONE_RISE_LESS_DB), *_RISE_DB)
    pure = _gate(heard.share, *_PURE_SHARE) * _gate(count, *_FEW_PARTIALS)
    partials = np.maximum(_gate(count, *_PARTIALS), pure)
    again = _gate(heard.whole_share, *_AGAIN_SHARE) * _gate(heard.new, *_AGAIN_NEW)
    tone = _at_least(_NO_TONE, np.maximum(_gate(heard.share, *_TONE_SHARE), again))
    stiff = _gate(heard.b / heard.b_sd, *_STIFF_ERRORS)
    stiff *= 1.0 - _gate(heard.misfit, *_MISFIT_CENTS)
    string = stiff * _gate(count, *_STRING_PARTIALS)
    plain = string * _gate(heard.rise_db, *_STRING_RISE_DB)
    odds = new * rise * partials * _edge(heard, plain) * tone * _steady(heard, count, plain)
    return _softer(heard, odds, stiff=stiff, string=string)


def _at_least(least: float, gate: FloatArray) -> FloatArray:
    """Return a gate that lets this much through where it is shut."""
    return least + (1.0 - least) * gate


def _edge(heard: Heard, plain: FloatArray) -> FloatArray:
    """Return how sure an attack shows: where the partials hardly rise, it must stand out itself.

    Parameters
    ----------
    plain
        How sure each candidate is a string beyond doubt.
    """
    level = _gate(heard.rise_db, *_LEVEL_RISE_DB)
    low, high = (db - less * level for db, less in zip(_EDGE_DB, _EDGE_LESS, strict=True))
    edge = np.maximum(0.5 * level, _gate(heard.gain_db, low, high))
    edge = np.maximum(edge, _gate(heard.steady, *_STILL) * _gate(heard.new, *_STILL_NEW))
    return np.maximum(edge, plain * _gate(heard.new, *_STRING_NEW))


def _steady(heard: Heard, count: FloatArray, plain: FloatArray) -> FloatArray:
    """Return how sure the partials hold still as those of a string and of no voice do."""
    voice = (heard.n_found >= _VOICE_PARTIALS) & (heard.b + 0.5 * heard.b_sd < LEAST_STRING_B)
    # A string that keeps striking a fret is locked to the strikes and just as straight, but no
    # voice starts like a pick.
    voice &= (heard.gain_db < _PICKED_GAIN_DB) | (heard.rise_db < _PICKED_RISE_DB)
    struck = _gate(heard.gain_db, *_STRUCK_GAIN_DB) * _gate(count, *_STRUCK_PARTIALS)
    steady = _at_least(_UNSTEADY, _gate(heard.steady, *_STEADY))
    steady = np.maximum(steady, np.maximum(struck, plain) * _gate(heard.share, *_STRUCK_SHARE))
    return np.where(voice, _UNSTEADY, steady)


def _softer(heard: Heard, odds: FloatArray, *, stiff: FloatArray, string: FloatArray) -> FloatArray:
    """Return the odds, those of what is far softer than the run lowered.

    Talk is; a soft pick is let in again by the place it fits.

    Parameters
    ----------
    stiff, string
        How sure each candidate's partials are those of a stiff string, and enough of them.
    """
    likely = odds > _LIKELY
    usual = float(np.median(heard.level_db[likely])) if likely.any() else 0.0
    under_db = usual - heard.level_db
    sharp = _gate(heard.gain_db, *_STRUCK_GAIN_DB)
    talk = (1.0 - stiff) * (1.0 - sharp) * _gate(under_db, *_SPEECH_UNDER_DB)
    quiet = (1.0 - string) * _gate(under_db, *_QUIET_DB)
    return np.asarray(
        odds * _at_least(_SPEECH, 1.0 - talk) * _at_least(_QUIET, 1.0 - quiet), np.float64
    )


def weeded(heard: Heard, sample_rate_hz: int) -> Heard:
    """Return the candidates without those that are part of another one's attack."""
    odds = note_odds(heard)
    keep = np.ones(len(odds), np.bool_)
    told_by = np.arange(len(odds))
    cents = 1200.0 * np.log2(heard.pitch_hz)
    last = -1
    for i in range(len(odds)):
        if last >= 0:
            gap_s = (heard.onset[i] - heard.onset[last]) / sample_rate_hz
            louder_db = heard.level_db[i] - heard.level_db[last]
            same = abs(cents[i] - cents[last]) < _SAME_CENTS
            near = gap_s < _SHORTEST_S or _clears(heard, cents, last, i, gap_s=gap_s)
            if near and _settles(heard, odds, last, i):
                keep[i] = False
                if _tells_better(heard, last, i):
                    told_by[last] = i
                continue
            if gap_s < _SHORTEST_S:
                better = (odds[i] > 0.5, louder_db) > (odds[last] > 0.5, -_LATER_DB)
                better &= bool(odds[i] > _HARDLY_A_PICK or odds[last] < _MAY_BE_A_PICK)
                keep[last if better else i] = False
                if not better:
                    continue
            elif gap_s < _LANDING_S and louder_db > _LANDING_DB and same:
                keep[last] = False
        last = i
    return select(_retold(heard, told_by), keep)


def _clears(heard: Heard, cents: FloatArray, first: int, then: int, *, gap_s: float) -> bool:
    """Return whether the later of two is at the pitch that the earlier comes to, with no attack."""
    sharp = _CLEARING_CENTS if heard.misfit[first] > _MISFIT_CENTS[0] else _SAME_STRING_CENTS
    pitch = sharp[0] < cents[first] - cents[then] < sharp[1]
    soon = gap_s < _LANDING_S and heard.gain_db[then] < _STRUCK_GAIN_DB[0]
    dull = heard.gain_db[then] < _NO_ATTACK_DB and heard.rise_db[then] < _LATER_DB
    return bool(pitch and (soon or (gap_s < _CLEARS_S and dull)))


def _settles(heard: Heard, odds: FloatArray, first: int, then: int) -> bool:
    """Return whether the later of two is the earlier one, clear of the fret that it struck.

    The earlier is a sharp attack, the later none and no louder.
    """
    sharp = heard.gain_db[first] > max(_STRUCK_GAIN_DB[0], heard.gain_db[then] + _SETTLED_DB)
    louder = heard.level_db[then] - heard.level_db[first] > _LATER_DB
    picked = odds[first] > 0.5 and heard.rise_db[first] > _LATER_DB
    return bool(picked and sharp and not louder)


def _tells_better(heard: Heard, first: int, then: int) -> bool:
    """Return whether the later of two shows a string's partials where the earlier does not."""
    off = heard.misfit[first] > _MISFIT_CENTS[0] > heard.misfit[then]
    return bool(off and heard.n_found[then] >= _STRUCK_PARTIALS[0])


def _retold(heard: Heard, told_by: npt.NDArray[np.intp]) -> Heard:
    """Return candidates with pitch and partials as others heard them."""
    fields = ("scores", "pitch_hz", "b", "b_sd", "misfit", "n_found")
    return replace(heard, **{name: getattr(heard, name)[told_by] for name in fields})
