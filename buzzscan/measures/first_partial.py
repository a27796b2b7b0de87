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
from buzzscan.measures.tracking import Track, track_partial
from buzzscan.partials import PartialFit
from buzzscan.units import hz_to_cents

__all__ = ["Followed", "OwnPitch", "follow_first_partial", "read_own_pitch"]

FloatArray = npt.NDArray[np.float64]

_LEAST_SEEN_S = 0.5 * LEAST_SPAN_S
"""So short a stretch tells nothing by itself; its fall counts among others of its pitch."""
_ANOTHER_SOUND_CENTS = 40.0
_LEAST_OVER_NOISE = 6.0
"""Power over the noise's from which a phase is read without a slip of a turn."""
_LEAST_FRAMES, _MOST_POINTS = 5, 16
_STRIDE = 2
"""Frames to a point: windows half overlap, so that their noises are nearly independent."""
_NOISE_SHARE = 2.0
"""Variance of the phase over that by the noise and unrest of each point alone, for the overlap."""
_EARLY_RAD = np.array([0.003, 0.03, 0.1, 0.3, 1.0])
_EARLY_S = 0.08
"""What the room's build-up and the end of the note before do to the phase at `START_S`: from
nothing, on a dry take, to all. It fades with the room (a T60 of 0.5 s fades so)."""
_STEADY_RAD = np.array([0.001, 0.01, 0.03, 0.1, 0.3])
"""What stays, at the partial's loudest: a second polarisation, hum, neighbours. It turns the phase
the more the weaker the partial is, so that the dip of a beat and a late end tell little."""
_BEYOND = 1e30
"""Far above what the products of whitened phases come to: keeps a bordered matrix definite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """The first partial over a note, or None with the reason why it cannot be followed.

    With a track and a reason, the note is too short to tell anything by itself.
    """

    track: Track | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPitch:
    """Where the first partial lies by its own phase.

    Parameters
    ----------
    hz, error_hz
        Frequency and its standard error.
    mean_energy
        Energy of the string re the onset, as the reading weighs the time.
    """

    hz: float
    error_hz: float
    mean_energy: float


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
    if track is None:
        reason = f"note lasts {stop_s:.2f} s: too few periods to see a fall"
    elif stop_s - START_S < LEAST_SPAN_S:
        reason = _too_short(stop_s)
    return Followed(track=track, reason=reason)


def _why_no_track(fit: PartialFit, stop_s: float) -> str:
    """Return why the first partial cannot be followed, empty if it can."""
    if not fit.numbers or fit.numbers[0] != 1:
        return "first partial is not heard over the noise"
    off = abs(hz_to_cents(fit.frequencies_hz[0], fit.pitch_hz))
    if off > _ANOTHER_SOUND_CENTS:
        return f"another sound {off:.0f} cents away covers the first partial"
    return _too_short(stop_s) if stop_s - START_S < _LEAST_SEEN_S else ""


def _too_short(stop_s: float) -> str:
    return f"note lasts {stop_s:.2f} s, need {START_S + LEAST_SPAN_S:.2f} s"


def read_own_pitch(track: Track, *, fall_per_s: float) -> OwnPitch | None:
    """Return the frequency from the slope of the phase, None where too little is clear.

    In a room the beginning tells least. What the room still lacks of its final sound, or still
    has of the note before, is the tail of its response from that time on; a tail is the sum of
    all later ones, so that the phase it turns walks at random, by ever smaller steps. How far,
    and how much unrest stays, is not known beforehand: lines are drawn for a grid of both, and
    count by how likely each makes the phases (generalised least squares; marginal likelihood
    with offset and slope integrated out, Harville, Biometrika 61, 1974).

    Parameters
    ----------
    track
        The first partial over time.
    fall_per_s
        Fall of the string's amplitude, for `OwnPitch.mean_energy`.
    """
    points = _clear_points(track)
    if len(points) == 0:
        return None
    t, powers = track.times_s[points], track.powers[points]
    phase = np.unwrap(np.angle(track.values[: points[-1] + 1]))[points]
    # A frequency that is off by exp(−2σt) turns the phase by its integral.
    energy = np.exp(-2.0 * fall_per_s * t) / (-2.0 * fall_per_s)
    lines = np.stack([np.ones(len(t)), t - t.mean(), phase, energy])
    covariances = _covariances(
        t, weakness=powers.max() / powers, by_noise=0.5 * track.noise / powers
    )
    slopes, variances, odds = _slopes(*_whitened(covariances, lines))
    turning, mean_energy = (odds @ slopes).tolist()
    variance = float(odds @ ((slopes[:, 0] - turning) ** 2 + variances))
    return OwnPitch(
        hz=track.frequency_hz + turning / (2.0 * np.pi),
        error_hz=float(np.sqrt(variance)) / (2.0 * np.pi),
        mean_energy=mean_energy,
    )


def _clear_points(track: Track) -> npt.NDArray[np.intp]:
    """Return which frames to read, none where too few stand over the noise from the first on."""
    low = np.flatnonzero(track.powers <= _LEAST_OVER_NOISE * track.noise)
    n = int(low[0]) if len(low) else len(track.times_s)
    if n < _LEAST_FRAMES:
        return np.zeros(0, np.intp)
    stride = max(_STRIDE, -(-n // _MOST_POINTS))
    return np.arange((n - 1) % stride, n, stride)


def _slopes(
    products: FloatArray, log_spread: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return slopes over time of phase and energy, their variance, and the odds of each model.

    Parameters
    ----------
    products
        Of the whitened rows one, time, phase and energy, shape (models, 4, 4).
    log_spread
        Half the log determinant of each model's covariance.
    """
    total, lean = products[:, 0, 0], products[:, 0] / products[:, :1, 0]
    # Offset taken off: the products that are left are those about each row's mean.
    left = products - lean[:, :, None] * products[:, :1]
    spread = left[:, 1, 1]
    slopes = left[:, 1, 2:] / spread[:, None]
    unlikely = left[:, 2, 2] - slopes[:, 0] * left[:, 1, 2] + np.log(total * spread)
    log_odds = -0.5 * unlikely - log_spread
    odds = np.exp(log_odds - log_odds.max())
    return slopes, 1.0 / spread, odds / odds.sum()


def _covariances(times_s: FloatArray, *, weakness: FloatArray, by_noise: FloatArray) -> FloatArray:
    """Return the phases' covariance in rad² for each pair of early and steady unrest."""
    fading = np.exp(-2.0 * (times_s - START_S) / _EARLY_S)
    early = (_EARLY_RAD**2)[:, None, None, None] * np.minimum(fading[:, None], fading)
    alone = _NOISE_SHARE * ((_STEADY_RAD**2)[:, None] * weakness + by_noise)
    both = early + alone[:, :, None] * np.eye(len(times_s))
    return np.asarray(both.reshape(-1, len(times_s), len(times_s)))


def _whitened(covariances: FloatArray, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return all products of rows through each inverse, and half the log determinants.

    One Cholesky factor of the matrix bordered by the rows holds both: a row of it is the
    whitened row.
    """
    n, k = covariances.shape[1], len(rows)
    bordered = np.zeros((len(covariances), n + k, n + k))
    bordered[:, :n, :n] = covariances
    bordered[:, n:, :n] = rows
    corner = np.arange(n, n + k)
    bordered[:, corner, corner] = _BEYOND
    factor = np.linalg.cholesky(bordered)
    white = factor[:, n:, :n]
    diagonal = np.diagonal(factor, axis1=1, axis2=2)[:, :n]
    return white @ white.transpose(0, 2, 1), np.log(diagonal).sum(axis=1)
