"""The exponentials within one partial: two polarisations, mains hum, a neighbour string.

Conventions
-----------
A component is ``a·exp((−σ + jδ)t)``: σ in 1/s, δ in rad/s against the frequency of the
demodulation. Amplitude 1 is a full-scale sine.

Limits
------
How far apart two components must lie depends on the noise; `Components.covariance` says what
they are worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.units import DB_PER_NEPER

__all__ = ["Components", "resolve"]

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

_MOST_POINTS = 90
_MOST_ORDER = 3
"""Two polarisations and one stranger."""
_LEAST_GAIN = 4.0
"""Factor by which one more component must lower the residual power (6 dB): noise alone gives
some 4 of its degrees of freedom, a factor below 2 for the shortest track."""
_MOST_AMPLITUDE = 2.5
"""First amplitude of a component over the track's highest: beyond that two components cancel
each other, which is how a poor model looks."""
_RESIDUAL_SHARE = 2.0
"""Windows half overlap, so that neighbouring errors are not independent."""
_MOST_GROWTH_DB = 2.0
"""Rise over the track from which a component is no string."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Components:
    """Exponentials that make up a track, the strongest first.

    Parameters
    ----------
    amplitudes
        At time zero of `times_s` as given to `resolve`.
    decays_per_s, detunings_hz
        σ, and δ/2π.
    residual_ratio
        RMS of what is left over the RMS of the track.
    covariance
        Of (ln of each amplitude, each complex exponent), circular, shape (2n, 2n).
    """

    amplitudes: ComplexArray
    decays_per_s: FloatArray
    detunings_hz: FloatArray
    residual_ratio: float
    covariance: ComplexArray


def resolve(times_s: FloatArray, values: ComplexArray, *, noise: float) -> Components | None:
    """Return two or three exponentials, or None where one is enough or they cannot be told.

    Matrix pencil with the signal subspace from a singular value decomposition (Hua & Sarkar,
    IEEE Trans. Acoust. Speech Signal Process. 38, 1990).

    Parameters
    ----------
    times_s
        Evenly spaced, shape (n,).
    values
        Complex amplitudes, shape (n,).
    noise
        Mean square of the noise in `values`.
    """
    stride = max(-(-len(values) // _MOST_POINTS), 2)
    z = np.asarray(values[::stride], np.complex128)
    t = times_s[::stride]
    if len(z) < 8:
        return None
    rows = np.lib.stride_tricks.sliding_window_view(z, max(len(z) // 3, 4) + 1)
    basis = np.linalg.svd(rows, full_matrices=False)[2]
    before = _residual(z, *_exponentials(z, basis, 1))
    best: Components | None = None
    for order in range(2, _MOST_ORDER + 1):
        poles, amplitudes = _exponentials(z, basis, order)
        left = _residual(z, poles, amplitudes)
        if left > before / _LEAST_GAIN or before < 2.0 * noise * len(z):
            break
        before = left
        found = _components(z, t, poles, amplitudes, max(left, noise * len(z)))
        if not _sensible(found, t, float(np.abs(z).max())):
            break
        best = found
    return best


def _exponentials(
    z: ComplexArray, basis: ComplexArray, order: int
) -> tuple[ComplexArray, ComplexArray]:
    """Return poles per step and amplitudes at the first point."""
    space = basis[:order].T
    poles = np.linalg.eigvals(np.linalg.lstsq(space[:-1], space[1:], rcond=None)[0])
    poles = np.where(np.abs(poles) < 1e-6, 1e-6, poles)
    powers = poles[None, :] ** np.arange(len(z))[:, None]
    amplitudes = np.linalg.lstsq(powers, z, rcond=None)[0]
    return poles.astype(np.complex128), amplitudes.astype(np.complex128)


def _residual(z: ComplexArray, poles: ComplexArray, amplitudes: ComplexArray) -> float:
    model = (poles[None, :] ** np.arange(len(z))[:, None]) @ amplitudes
    return float(np.sum(np.abs(z - model) ** 2))


def _components(
    z: ComplexArray, t: FloatArray, poles: ComplexArray, amplitudes: ComplexArray, left: float
) -> Components:
    order = np.argsort(-np.abs(amplitudes))
    exponents = np.log(poles[order]) / (t[1] - t[0])
    at_zero = amplitudes[order] * np.exp(-exponents * t[0])
    parts = at_zero * np.exp(exponents * t[:, None])
    # Change of the model with ln a and with s: the part itself, and t times it.
    jacobian = np.concatenate([parts, t[:, None] * parts], axis=1)
    free = max(len(z) - 2 * len(poles), 1)
    covariance = np.linalg.pinv(jacobian.conj().T @ jacobian) * (_RESIDUAL_SHARE * left / free)
    return Components(
        amplitudes=at_zero,
        decays_per_s=-exponents.real,
        detunings_hz=exponents.imag / (2.0 * np.pi),
        residual_ratio=float(np.sqrt(left / np.sum(np.abs(z) ** 2))),
        covariance=covariance.astype(np.complex128),
    )


def _sensible(found: Components, t: FloatArray, top: float) -> bool:
    """Return whether the components may be a string's: none grows, none cancels the other."""
    span = float(t[-1] - t[0])
    grows = (-found.decays_per_s * span * DB_PER_NEPER > _MOST_GROWTH_DB).any()
    first = np.abs(found.amplitudes) * np.exp(-found.decays_per_s * t[0])
    cancels = (first > _MOST_AMPLITUDE * top).any()
    return not grows and not cancels
