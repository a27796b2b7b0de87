"""The contact of the simulator: no energy gained, and none missing without contact."""

import numpy as np
import pytest

from buzzscan.simulate.collision import free_run, strike_run

FS = 88200
LENGTH, MASS_M, TENSION = 0.6477, 1.117e-3, 72.0


def _string(modes: int, sigma: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    n = np.arange(1, modes + 1, dtype=float)
    omega = 2 * np.pi * n * np.sqrt(TENSION / MASS_M) / (2 * LENGTH)
    k = 1 / FS
    return (
        n,
        omega,
        2 * np.exp(-sigma * k) * np.cos(omega * k),
        np.full(modes, np.exp(-2 * sigma * k)),
    )


def _plucked(n: np.ndarray, amplitude_m: float, p: float) -> np.ndarray:
    return amplitude_m * np.sin(n * np.pi * p) / n**2 * 2 / (np.pi**2 * p * (1 - p))


def _energy_track(damping: float) -> np.ndarray:
    n, omega, c1, c2 = _string(60, 0.0)
    gain = np.full(n.size, (1 / FS) ** 2 * 2 / (MASS_M * LENGTH))
    # all velocities are read out, so that the energy of every step can be summed
    out, touched, _ = strike_run(
        _plucked(n, 0.8e-3, 0.2),
        _plucked(n, 0.8e-3, 0.2),
        c1,
        c2,
        np.eye(n.size),
        np.sin(np.pi * np.outer(n, [0.85])),
        np.array([0.2e-3]),
        gain,
        3e5,
        damping * FS / 2,
        8000,
    )
    q = _plucked(n, 0.8e-3, 0.2)[:, None] + np.cumsum(out, axis=1)
    before = np.concatenate([_plucked(n, 0.8e-3, 0.2)[:, None], q[:, :-1]], axis=1)
    wave = (2 - 2 * np.cos(omega / FS))[:, None]
    # conserved quantity of the exact recursion: kinetic + product form of the potential
    energy = np.sum(out**2 + wave * q * before, axis=0)
    assert touched.any()
    return np.where(touched > 0, np.nan, energy)


@pytest.mark.parametrize("damping", [0.0, 0.04, 0.2])
def test_contact_never_gains_energy(damping: float) -> None:
    energy = _energy_track(damping)
    free = energy[~np.isnan(energy)]
    # rounding of the sums alone: 1e-9 of the start
    assert np.all(np.diff(free) <= 1e-9 * free[0])
    assert free[-1] < free[0] * (1.0 if damping == 0.0 else 0.999) + 1e-9 * free[0]


def test_a_spring_alone_loses_little() -> None:
    energy = _energy_track(0.0)
    free = energy[~np.isnan(energy)]
    assert free[-1] > 0.5 * free[0]


def test_without_frets_the_string_follows_its_closed_form() -> None:
    sigma = 3.0
    n, omega, c1, c2 = _string(20, sigma)
    q = _plucked(n, 1e-3, 0.2)
    k = 1 / FS
    got = free_run(
        q.copy(), q * np.exp(sigma * k) * np.cos(omega * k), c1, c2, np.ones((1, 20)), 4000
    )
    t = np.arange(4001) * k
    closed = (q[:, None] * np.exp(-sigma * t) * np.cos(omega[:, None] * t)).sum(axis=0)
    np.testing.assert_allclose(got[0], np.diff(closed), atol=1e-9 * np.abs(q).sum())


def test_first_contact_at_the_room_over_the_mirrored_place() -> None:
    # derived: plucked away from the board at p of the length from the saddle, the string touches
    # the board's far end when the amplitude exceeds p·h_s (p = 0.2, h_s = 2.7 mm: 0.540 mm);
    # 3 % for the finite number of partials that round the corner
    n, _, c1, c2 = _string(300, 0.2)
    places = np.linspace(0.02, 0.5, 40)
    room = 2.7e-3 * places
    gain = np.full(n.size, (1 / FS) ** 2 * 2 / (MASS_M * LENGTH))

    def touches(amplitude_mm: float) -> bool:
        q = _plucked(n, amplitude_mm * 1e-3, 0.8)
        _, touched, _ = strike_run(
            q.copy(),
            q.copy(),
            c1,
            c2,
            np.ones((1, n.size)),
            np.sin(np.pi * np.outer(n, places)),
            room,
            gain,
            3e5,
            0.0,
            400,
        )
        return bool(touched.any())

    assert not touches(0.540 * 0.97)
    assert touches(0.540 * 1.03)
