"""The first partial alone: followed over a note, and where it lies.

Conventions
-----------
Frequencies in Hz, one sigma. Times are seconds after the onset.

Limits
------
A note needs `LEAST_SPAN_S` after `START_S`. Two polarisations whose beat is longer than the note
are read as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.measures.level_slope import LEAST_SPAN_S, START_S
from buzzscan.measures.tracking import FRAMES_PER_INDEPENDENT, Track, track_partial
from buzzscan.partials import PartialFit
from buzzscan.units import hz_to_cents

__all__ = ["Followed", "OwnPitch", "follow_first_partial", "read_own_pitch"]

FloatArray = npt.NDArray[np.float64]

_ANOTHER_SOUND_CENTS = 40.0
_LEAST_OVER_NOISE = 6.0
"""Power over the noise's from which a phase is read without a slip of a turn."""
_LEAST_FRAMES = 5
_EARLY_RAD = np.array([0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0])
_EARLY_S = 0.08
"""What the room's build-up and the end of the note before do to the phase at `START_S`: from
nothing, on a dry take, to all. It fades with the room (a T60 of 0.5 s fades so)."""
_STEADY_RAD = np.array([0.001, 0.003, 0.01, 0.03, 0.1, 0.3])
"""What stays: beats, hum, neighbours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """The first partial over a note, or None with the reason why it cannot be followed."""

    track: Track | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPitch:
    """Where the first partial lies by its own phase.

    Parameters
    ----------
    hz, error_hz
        Frequency and its standard error.
    times_s, taps_per_s
        The frequency is the sum of the phase at these times, in turns, times these.
    """

    hz: float
    error_hz: float
    times_s: FloatArray
    taps_per_s: FloatArray

    def mean_energy(self, fall_per_s: float) -> float:
        """Return the energy re the onset of a string whose amplitude falls so, as it is weighed.

        A frequency that is off by exp(−2σt) turns the phase by its integral.
        """
        integral = np.exp(-2.0 * fall_per_s * self.times_s) / (-2.0 * fall_per_s)
        return float(self.taps_per_s @ integral)


def follow_first_partial(
    samples: npt.NDArray[np.floating],
    fit: PartialFit,
    *,
    sample_rate_hz: float,
    stop_s: float,
) -> Followed:
    """Return the first partial from `START_S` on, against the pitch of the fit.

    Parameters
    ----------
    samples
        Mono, shape (n,), from the onset on.
    fit
        The note's partials.
    sample_rate_hz
        Rate of `samples`.
    stop_s
        End of the note.
    """
    reason = _why_no_track(fit, stop_s)
    if reason:
        return Followed(track=None, reason=reason)
    track = track_partial(
        samples,
        sample_rate_hz=sample_rate_hz,
        frequency_hz=fit.pitch_hz,
        start_s=START_S,
        stop_s=stop_s,
        noise_db_per_hz=fit.noises_db[0],
    )
    reason = f"note lasts {stop_s:.2f} s: too few periods to see a fall" if track is None else ""
    return Followed(track=track, reason=reason)


def _why_no_track(fit: PartialFit, stop_s: float) -> str:
    """Return why the first partial cannot be followed, empty if it can."""
    if not fit.numbers or fit.numbers[0] != 1:
        return "first partial is not heard over the noise"
    off = abs(hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz))
    if off > _ANOTHER_SOUND_CENTS:
        return f"another sound {off:.0f} cents away covers the first partial"
    if stop_s - START_S < LEAST_SPAN_S:
        return f"note lasts {stop_s:.2f} s, need {START_S + LEAST_SPAN_S:.2f} s"
    return ""


def read_own_pitch(track: Track) -> OwnPitch | None:
    """Return the frequency from the slope of the phase, None where too little is clear.

    In a room the beginning tells least: its build-up, and the note before, turn the phase until
    they have died away. How much they do, and how much unrest stays, is not known beforehand:
    lines are drawn for a grid of both, and count by how likely each makes the phases (their
    marginal likelihood, offset and slope integrated out).

    Parameters
    ----------
    track
        The first partial over time.
    """
    low = np.flatnonzero(track.powers < _LEAST_OVER_NOISE * track.noise)
    n = int(low[0]) if len(low) else len(track.times_s)
    if n < _LEAST_FRAMES:
        return None
    t, phase = track.times_s[:n], np.unwrap(np.angle(track.values[:n]))
    variance = _variances(t, 0.5 * track.noise / track.powers[:n])
    w = 1.0 / variance
    total = w.sum(axis=1)
    from_middle = t - ((w @ t) / total)[:, None]
    taps = w * from_middle
    spread = (taps * from_middle).sum(axis=1)
    taps /= spread[:, None]
    slope = taps @ phase
    miss = phase - ((w @ phase) / total)[:, None] - slope[:, None] * from_middle
    unlikely = np.log(variance).sum(axis=1) + (w * miss**2).sum(axis=1)
    log_odds = -0.5 * (unlikely / FRAMES_PER_INDEPENDENT + np.log(total) + np.log(spread))
    odds = np.exp(log_odds - log_odds.max())
    odds /= odds.sum()
    mean = float(odds @ slope)
    error = float(np.sqrt(odds @ ((slope - mean) ** 2 + FRAMES_PER_INDEPENDENT / spread)))
    turn = 2.0 * np.pi
    return OwnPitch(
        hz=track.frequency_hz + mean / turn,
        error_hz=error / turn,
        times_s=t,
        taps_per_s=odds @ taps,
    )


def _variances(times_s: FloatArray, by_noise: FloatArray) -> FloatArray:
    """Return the phases' variances in rad², a row for each pair of early and steady unrest."""
    fading = np.exp(-2.0 * (times_s - START_S) / _EARLY_S)
    early = (_EARLY_RAD**2)[:, None, None] * fading
    both = early + (_STEADY_RAD**2)[:, None] + by_noise
    return np.asarray(both.reshape(-1, len(times_s)))
