"""Pitch and inharmonicity fitted to the partials of each candidate.

Conventions
-----------
Partial h of a stiff string lies at ``h · f0 · sqrt(1 + B·h²)`` (Fletcher, JASA 36, 1964). The
first partial, ``f0 · sqrt(1 + B)``, is what a tuner reads and what `pitch_hz` says.

Limits
------
Made for placing: some cents and some tenths of ln B. `buzzscan.measures` measures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.notes.spectra import Spectra

__all__ = ["N_STRONG", "CandidateFits", "fit_candidates"]

FloatArray = npt.NDArray[np.float64]

_STAGES = (3, 5, 7, 10, 14, 22)
"""Partials used in turn: each fit tells where the next partials must be looked for."""
_START_BS = (6e-5, 6e-4, 3e-3, 9e-3)
"""Inharmonicities to start from: low on the neck, high up a thick string, a stiff bass string."""
_FAIR = (1.0, 0.96, 0.9, 0.85)
"""A stiffer start must explain plainly more: with few partials any B would do."""
_FEW, _FAR_CENTS = 7, 20.0
N_STRONG = 6
"""Partials that are followed across the onset."""
_STRONG_TOP_HZ = 4500.0
_LEAST_OVER_FLOOR = 12.0
"""Power of a partial over the median of its surroundings for it to count."""
_UNKNOWN_B_SD = 1e-2
_HIT_CENTS = 4.0
"""Partials of real strings leave the formula by some cents: their ends give way a little."""
_CENTS_OF_SQUARE = float(600.0 / np.log(2.0))
"""Cents of a small relative change of a squared frequency."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateFits:
    """Fits, one per row.

    Parameters
    ----------
    pitch_hz
        First partial in Hz.
    b, b_sd
        B and its standard error (large where B cannot be told).
    n_found
        Partials found over the floor.
    misfit
        Root mean square distance in cents of the partials from where a stiff string has them.
    rise_db
        Median rise of the partials found, from before the onset to after.
    share
        Share of the power added at the onset that lies on the partials, 0–1.
    whole_share
        Share of all power after the onset that lies on the partials, 0–1.
    strong_hz, strong_power
        The strongest partials, shape (fits, `N_STRONG`); 0 where there are fewer.
    """

    pitch_hz: FloatArray
    b: FloatArray
    b_sd: FloatArray
    n_found: npt.NDArray[np.intp]
    misfit: FloatArray
    rise_db: FloatArray
    share: FloatArray
    whole_share: FloatArray
    strong_hz: FloatArray
    strong_power: FloatArray


def fit_candidates(
    spectra: Spectra, rows: npt.NDArray[np.intp], starts_hz: FloatArray
) -> CandidateFits:
    """Fit pitch and inharmonicity.

    Parameters
    ----------
    spectra
        Of all candidates.
    rows
        Candidate of each fit.
    starts_hz
        Pitch to start from, within 30 cents, in Hz.
    """
    width_hz = 2.0 / spectra.window_s[rows]
    n_starts = len(_START_BS)
    tries = _track(
        spectra,
        np.tile(rows, n_starts),
        np.tile(starts_hz, n_starts),
        np.tile(width_hz, n_starts),
        np.repeat(np.asarray(_START_BS), len(rows)),
    )
    merits = np.repeat(_FAIR, len(rows)) * tries.merit * _nearness(tries)
    best = np.argmax(merits.reshape(n_starts, len(rows)), axis=0)
    best = best * len(rows) + np.arange(len(rows))
    freq, power, rise, weight, f2, b, sd, misfit = (
        getattr(tries, name)[best]
        for name in ("freq", "power", "rise", "weight", "f2", "b", "sd", "misfit")
    )
    ok = weight > 0.0
    strong = ok & (power > 1e-3 * power.max(axis=1, keepdims=True))
    usable = np.where(ok & (freq < _STRONG_TOP_HZ), power, 0.0)
    pick = np.argsort(-usable, axis=1)[:, :N_STRONG]
    strong_power = np.take_along_axis(usable, pick, axis=1)
    total = np.maximum(spectra.after[rows] - spectra.before[rows], 0.0).sum(axis=1)
    # A Hann peak holds 1.5 windows' worth of bins of its top value.
    whole = (power * ok).sum(axis=1) * 1.5 / spectra.window_s[rows] / spectra.bin_hz
    grown = power * np.maximum(1.0 - 10.0 ** (-rise / 10.0), 0.0)
    on_partials = (grown * ok).sum(axis=1) * 1.5 / spectra.window_s[rows] / spectra.bin_hz
    return CandidateFits(
        pitch_hz=np.sqrt(f2 * (1.0 + b)),
        b=b,
        b_sd=sd,
        n_found=ok.sum(axis=1),
        misfit=misfit,
        rise_db=np.array(
            [float(np.median(r[s])) if s.any() else 0.0 for r, s in zip(rise, strong, strict=True)]
        ),
        strong_hz=np.where(strong_power > 0.0, np.take_along_axis(freq, pick, axis=1), 0.0),
        strong_power=strong_power,
        whole_share=np.minimum(whole / np.maximum(spectra.after[rows].sum(axis=1), 1e-20), 1.0),
        share=np.minimum(on_partials / np.maximum(total, 1e-20), 1.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tracked:
    starts_hz: FloatArray
    freq: FloatArray
    power: FloatArray
    rise: FloatArray
    weight: FloatArray
    f2: FloatArray
    b: FloatArray
    sd: FloatArray
    merit: FloatArray
    misfit: FloatArray


def _track(
    spectra: Spectra,
    rows: npt.NDArray[np.intp],
    starts_hz: FloatArray,
    width_hz: FloatArray,
    start_b: FloatArray,
) -> _Tracked:
    """Follow the partials upwards, each row from its own pitch and inharmonicity."""
    shape = (len(rows), _STAGES[-1])
    freq, power, rise, weight = (np.zeros(shape) for _ in range(4))
    f2, b = starts_hz**2 / (1.0 + start_b), start_b
    sd = merit = misfit = np.zeros(len(rows))
    done = 0
    for stage in _STAGES:
        h = np.arange(done + 1.0, stage + 1.0)
        at = h * np.sqrt(f2[:, None] * (1.0 + b[:, None] * h * h))
        reach = np.clip(0.02 * at, 0.5 * width_hz[:, None], 0.3 * np.sqrt(f2)[:, None])
        found = _peak(
            spectra, np.repeat(rows, len(h)), at.ravel(), reach.ravel(), np.repeat(width_hz, len(h))
        )
        for kept, new in zip((freq, power, rise, weight), found, strict=True):
            kept[:, done:stage] = new.reshape(at.shape)
        done = stage
        f2, b, sd, merit, misfit = _solve(freq, weight, width_hz, starts_hz, start_b)
    return _Tracked(
        starts_hz=starts_hz,
        freq=freq,
        power=power,
        rise=rise,
        weight=weight,
        f2=f2,
        b=b,
        sd=sd,
        merit=merit,
        misfit=misfit,
    )


def _nearness(tracked: _Tracked) -> FloatArray:
    """Return a factor below 1 for fits of few partials that end far from where they started."""
    few = (tracked.weight > 0.0).sum(axis=1) < _FEW
    cents = 600.0 * np.log2(tracked.f2 * (1.0 + tracked.b) / tracked.starts_hz**2)
    return np.where(few, np.exp(-0.5 * (cents / _FAR_CENTS) ** 2), 1.0)


def _peak(
    spectra: Spectra,
    rows: npt.NDArray[np.intp],
    at_hz: FloatArray,
    reach_hz: FloatArray,
    width_hz: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return frequency, power, rise in dB and weight of the highest peak near a frequency."""
    n_bins = spectra.after.shape[1]
    centre = np.round(at_hz / spectra.bin_hz).astype(np.intp)
    half = np.maximum(np.round(reach_hz / spectra.bin_hz).astype(np.intp), 1)
    span = int(half.max())
    offsets = np.arange(-span, span + 1)
    index = np.clip(centre[:, None] + offsets, 1, n_bins - 2)
    near = np.where(np.abs(offsets) <= half[:, None], spectra.after[rows[:, None], index], 0.0)
    top = index[np.arange(len(rows)), np.argmax(near, axis=1)]
    left, mid, right = (
        np.log(spectra.after[rows, top + k].astype(np.float64) + 1e-20) for k in (-1, 0, 1)
    )
    curve = left - 2.0 * mid + right
    shift = np.where(curve < -1e-9, 0.5 * (left - right) / np.minimum(curve, -1e-9), 0.0)
    peaked = (mid >= left) & (mid >= right) & (centre + half < n_bins - 2) & (at_hz > 0)
    side = np.maximum(np.round(1.5 * width_hz / spectra.bin_hz).astype(np.intp), 2)
    valley = np.minimum(
        spectra.after[rows, np.maximum(top - side, 0)],
        spectra.after[rows, np.minimum(top + side, n_bins - 1)],
    )
    power = spectra.after[rows, top].astype(np.float64)
    # The highest of many bins of noise stands far over its neighbours, but not over them all.
    beside = (near > 0.0) & (np.abs(index - top[:, None]) > side[:, None])
    around = np.where(beside, near, 0.0).sum(axis=1) / np.maximum(beside.sum(axis=1), 1)
    over = power / np.maximum(np.maximum(valley, around), 1e-14)
    was = np.maximum.reduce([spectra.before[rows, top + k] for k in (-1, 0, 1)])
    rise = 10.0 * np.log10((power + 1e-12) / (was + 1e-12))
    good = peaked & (over > _LEAST_OVER_FLOOR) & (power > 1e-11)
    return (top + shift) * spectra.bin_hz, power, rise, np.where(good, np.minimum(over, 1e3), 0.0)


def _solve(
    freq: FloatArray,
    weight: FloatArray,
    width_hz: FloatArray,
    starts_hz: FloatArray,
    guess: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return f0², B, its standard error, the merit and the misfit of (f_h/h)² = f0² + f0²·B·h²."""
    h = np.arange(1, freq.shape[1] + 1)
    y = (freq / h / starts_hz[:, None]) ** 2 - 1.0
    # Error of a peak: a share of the window's width, falling with its height over the floor.
    error_hz = width_hz[:, None] * 0.02 + width_hz[:, None] / np.sqrt(np.maximum(weight, 1.0)) / 4
    sd = 2.0 * error_hz / (h * starts_hz[:, None]) + 2e-4
    w = np.where(weight > 0.0, 1.0 / sd**2, 0.0)
    x = (h * h).astype(np.float64) + 0.0 * y
    offset, slope = np.zeros(len(y)), guess
    var = np.ones(len(y))
    for _ in range(3):
        offset, slope, var = _line(x, y, w, guess)
        miss = (y - offset[:, None] - slope[:, None] * x) / sd
        w = np.where(weight > 0.0, 1.0 / sd**2 / (1.0 + (miss / 2.5) ** 2), 0.0)
    floor = 2e-6
    b = np.clip(slope / np.maximum(1.0 + offset, 0.5), floor, 5e-2)
    off = np.minimum(miss * miss, 30.0) * (weight > 0.0)
    count = (weight > 0.0).sum(axis=1)
    cents = _CENTS_OF_SQUARE * miss * sd
    error = np.sqrt(var * (1.0 + off.sum(axis=1) / np.maximum(count, 1)))
    misfit = np.sqrt((cents**2 * (weight > 0.0)).sum(axis=1) / np.maximum(count, 1))
    merit = (np.log1p(weight) * np.exp(-0.5 * (cents / _HIT_CENTS) ** 2)).sum(axis=1)
    few = count < 3
    b = np.where(few, guess, b)
    f2 = starts_hz**2 * np.clip(1.0 + offset, 0.9, 1.1)
    return f2, b, np.where(few, _UNKNOWN_B_SD, error), merit, misfit


def _line(
    x: FloatArray, y: FloatArray, w: FloatArray, guess: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a weighted line's offset, slope and variance of slope, with a weak prior on B."""
    prior_w = 1.0 / (2.0 * guess) ** 2
    sw, sx, sy = w.sum(1) + 1e-9, (w * x).sum(1), (w * y).sum(1)
    sxx, sxy = (w * x * x).sum(1) + prior_w, (w * x * y).sum(1) + prior_w * guess
    det = np.maximum(sw * sxx - sx * sx, 1e-12 * sw * sxx)
    return (sxx * sy - sx * sxy) / det, (sw * sxy - sx * sy) / det, sw / det
