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

from buzzscan.notes.hearing import Heard, select

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
_VOICE_PARTIALS, _VOICE_B = 8, 7e-6
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
    new = _gate(heard.new, 0.06, 0.25)
    rise = _gate(np.maximum(heard.rise_db, heard.tone_rise_db - 3.0), -6.0, -2.0)
    count = heard.n_found.astype(np.float64)
    # High on the neck a dull pickup leaves two partials, but then they are all there is.
    pure = _gate(heard.share, 0.7, 0.9) * _gate(count, 0.0, 2.0)
    partials = np.maximum(_gate(count, 1.0, 4.0), pure)
    # Where the partials hardly rise, the attack itself must stand out.
    level = _gate(heard.rise_db, 1.0, 6.0)
    edge = np.maximum(0.5 * level, _gate(heard.gain_db, 5.0 - 4.0 * level, 10.0 - 5.0 * level))
    # A squeak may drown the attack, but not partials that are new and hold still, or are a
    # string's beyond doubt.
    edge = np.maximum(edge, _gate(heard.steady, 0.9, 0.98) * _gate(heard.new, 0.4, 0.8))
    stiff = _gate(heard.b / heard.b_sd, *_STIFF_ERRORS)
    stiff *= 1.0 - _gate(heard.misfit, *_MISFIT_CENTS)
    string = stiff * _gate(count, 4.0, 8.0)
    plain = string * _gate(heard.rise_db, 3.0, 8.0)
    edge = np.maximum(edge, plain * _gate(heard.new, 0.3, 0.6))
    # A string picked again on the same fret adds little power, but is new all the same.
    again = _gate(heard.whole_share, 0.4, 0.8) * _gate(heard.new, 0.12, 0.3)
    tone = 0.3 + 0.7 * np.maximum(_gate(heard.share, 0.1, 0.5), again)
    steady = 0.2 + 0.8 * _gate(heard.steady, 0.68, 0.93)
    voice = (heard.n_found >= _VOICE_PARTIALS) & (heard.b + 0.5 * heard.b_sd < _VOICE_B)
    # A string that keeps striking a fret is locked to the strikes and just as straight, but no
    # voice starts like a pick.
    voice &= (heard.gain_db < _PICKED_GAIN_DB) | (heard.rise_db < _PICKED_RISE_DB)
    struck = _gate(heard.gain_db, *_STRUCK_GAIN_DB) * _gate(count, *_STRUCK_PARTIALS)
    steady = np.maximum(steady, np.maximum(struck, plain) * _gate(heard.share, 0.4, 0.6))
    steady = np.where(voice, 0.2, steady)
    odds = np.asarray(new * rise * partials * edge * tone * steady, np.float64)
    # Talk is far softer than the run; a soft pick is let in again by the place it fits.
    likely = odds > _LIKELY
    usual = float(np.median(heard.level_db[likely])) if likely.any() else 0.0
    under_db = usual - heard.level_db
    sharp = _gate(heard.gain_db, *_STRUCK_GAIN_DB)
    odds *= 1.0 - 0.8 * (1.0 - stiff) * (1.0 - sharp) * _gate(under_db, *_SPEECH_UNDER_DB)
    return odds * (1.0 - 0.5 * (1.0 - string) * _gate(under_db, *_QUIET_DB))


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
