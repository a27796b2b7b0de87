"""Spectra at moments spread over a recording: enough to judge its quality.

Conventions
-----------
Power is per bin, such that the sum over bins is the mean square of the samples.

Limits
------
The number of moments is bounded, so the cost does not grow with the length. Moments of
digital silence are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from buzzscan.recording.take import Samples, SampleSource
from buzzscan.units import power_to_db

__all__ = ["Survey", "survey_long", "survey_short"]

FloatArray = npt.NDArray[np.float64]

_SHORT_S, _MOST_SHORT = 0.046, 1200
"""Two periods of E1; one moment every half second of ten minutes."""
_LONG_S, _MOST_LONG = 0.37, 160
"""Lines of the mains stand apart from everything between them."""
_SILENT_DB = -115.0
"""Under the dither of 16 bits (−96 dB) and the least noise of any analogue input."""
_AT_ONCE = 64
_HANN_MEDIAN_TO_MEAN = float(np.log(2.0))
"""Of the power in a bin of noise, which is distributed exponentially."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Power spectra of moments.

    Parameters
    ----------
    power
        Shape (moments, bins).
    level_db
        Of each moment, over all bins, in dB re full scale.
    bin_hz
        Width of a bin.
    """

    power: Samples
    level_db: FloatArray
    bin_hz: float

    def bins(self, low_hz: float, high_hz: float) -> slice:
        """Return the bins from one frequency to another."""
        return slice(round(low_hz / self.bin_hz), round(high_hz / self.bin_hz) + 1)

    def noise_db(self, low_hz: float, high_hz: float) -> FloatArray:
        """Return the level per bin that lies between the lines of each moment, in dB.

        The median over the bins of a band does not see lines that take less than half of them.
        """
        middle = np.median(self.power[:, self.bins(low_hz, high_hz)], axis=1)
        return np.asarray(power_to_db(middle / _HANN_MEDIAN_TO_MEAN))


def survey_short(source: SampleSource, n_samples: int, rate_hz: int) -> Survey:
    """Return spectra of moments shorter than any note."""
    return _survey(source, n_samples, rate_hz, _SHORT_S, _MOST_SHORT)


def survey_long(source: SampleSource, n_samples: int, rate_hz: int) -> Survey:
    """Return spectra that resolve the lines of the mains."""
    return _survey(source, n_samples, rate_hz, _LONG_S, _MOST_LONG)


def _survey(
    source: SampleSource, n_samples: int, rate_hz: int, moment_s: float, most: int
) -> Survey:
    n = int(min(2 ** round(np.log2(moment_s * rate_hz)), 2 ** int(np.log2(n_samples))))
    n_moments = min(most, max(2 * n_samples // n - 1, 1))
    starts = np.linspace(0, n_samples - n, n_moments).astype(np.int64)
    window = np.hanning(n + 1)[:-1].astype(np.float32)
    window *= np.float32(np.sqrt(2.0 / (n * (window**2).sum())))
    power = np.empty((n_moments, n // 2), np.float32)
    for first in range(0, n_moments, _AT_ONCE):
        pieces = [source.read(int(s), int(s) + n) for s in starts[first : first + _AT_ONCE]]
        spectrum = fft.rfft(np.stack(pieces) * window)[:, : n // 2]
        power[first : first + _AT_ONCE] = spectrum.real**2 + spectrum.imag**2
    level_db = np.asarray(power_to_db(power.sum(axis=1)))
    heard = level_db > _SILENT_DB
    if not heard.all() and heard.any():
        power, level_db = power[heard], level_db[heard]
    return Survey(power=power, level_db=level_db, bin_hz=rate_hz / n)
