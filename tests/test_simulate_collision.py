"""The contact of the simulator: no energy gained, and none missing without contact."""

from dataclasses import dataclass

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


@dataclass(frozen=True, kw_only=True)
class Struck:
    """Energy per step: of the string, of the contact springs, and where frets are pressed."""

    string: np.ndarray
    springs: np.ndarray
    pressed: np.ndarray


def _struck(
    damping: float, *, places: tuple[float, ...] = (0.85,), room_mm: float = 0.2, steps: int = 4000
) -> Struck:
    n, omega, c1, c2 = _string(32, 0.0)
    k = 1 / FS
    gain = k**2 * 2 / (MASS_M * LENGTH)
    start = _plucked(n, 0.8e-3, 0.2)
    shapes = np.sin(np.pi * np.outer(places, n))

    def run(weights: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        out, pressed, stored, impulse = strike_run(
            start.copy(),
            start * np.cos(omega * k),
            c1,
            c2,
            weights,
            shapes,
            np.full(len(places), room_mm * 1e-3),
            gain,
            3e5,
            damping * FS / 2,
            steps,
        )
        return out, pressed, stored, impulse

    # every mode's step is read out by itself, so that its energy can be summed
    moved = np.array([run(np.eye(n.size)[i])[0] for i in range(n.size)])
    _, pressed, stored, _ = run(np.ones(n.size))
    q = start[:, None] + np.cumsum(moved, axis=1)
    before = np.concatenate([start[:, None], q[:, :-1]], axis=1)
    wave = (2 - 2 * np.cos(omega * k))[:, None]
    # conserved quantity of the exact recursion (kinetic, and the product form of the
    # potential), in joules: a mode weighs half the string
    per_mode = np.sum(moved**2 + wave * q * before, axis=0) / k**2
    return Struck(
        string=per_mode * MASS_M * LENGTH / 4, springs=stored, pressed=pressed.any(axis=0)
    )


@pytest.mark.parametrize("damping", [0.0, 0.04, 0.2])
@pytest.mark.parametrize("places", [(0.85,), (0.8, 0.82, 0.85, 0.9)])
def test_energy_never_rises_not_even_during_contact(
    damping: float, places: tuple[float, ...]
) -> None:
    run = _struck(damping, places=places)
    total = run.string + run.springs
    assert run.pressed.sum() > 50
    # 1e-9 of the start: rounding of the sums, and the forces' relative accuracy of 1e-10
    assert np.diff(total).max() <= 1e-9 * total[0]
    if damping:
        assert total[-1] < 0.98 * total[0]


def test_energy_comes_back_from_the_contact_spring() -> None:
    run = _struck(0.0)
    assert run.springs.max() > 1e-3 * run.string[0]
    free = run.string[~run.pressed]
    # only what is stored when a force would begin to pull is dropped
    assert free[-1] > 0.5 * free[0]


def test_a_string_out_of_reach_runs_on_as_if_there_were_no_fret() -> None:
    # the envelope bound ends the watch for contact; the samples must not notice
    n, omega, c1, c2 = _string(60, 8.0)
    start = _plucked(n, 0.8e-3, 0.2)
    before = start * np.exp(8.0 / FS) * np.cos(omega / FS)
    shapes = np.sin(np.pi * np.outer([0.85], n))
    weights = np.linspace(1, 2, n.size)
    far = strike_run(
        start.copy(), before.copy(), c1, c2, weights, shapes, np.array([2e-3]), 1e-9, 3e5, 0.0, 9000
    )
    free = free_run(start.copy(), before.copy(), c1, c2, weights, 9000)
    np.testing.assert_array_equal(far[0], free)
    assert not far[1].any()


def test_contact_ends_when_the_amplitude_has_fallen_to_the_room() -> None:
    # derived: t* = ln(A0/Ac)/σ; with A0 = 2·Ac and σ = 0.7 1/s that is 0.990 s. A single mode
    # over a fret that takes nothing out of it (force gain → 0); 1 % and one period (12 ms)
    sigma, hz = 0.7, 82.4
    turn, fall = 2 * np.pi * hz / FS, sigma / FS
    c1, c2 = np.array([2 * np.exp(-fall) * np.cos(turn)]), np.array([np.exp(-2 * fall)])
    start = np.array([1e-3])
    _, pressed, _, _ = strike_run(
        start.copy(),
        start * np.exp(fall) * np.cos(turn),
        c1,
        c2,
        np.ones(1),
        np.ones((1, 1)),
        np.array([0.5e-3]),
        1e-16,
        3e5,
        0.0,
        int(2 * FS),
    )
    assert np.flatnonzero(pressed[0])[-1] / FS == pytest.approx(0.990, abs=0.0099 + 1 / hz)


def test_without_frets_the_string_follows_its_closed_form() -> None:
    sigma = 3.0
    n, omega, c1, c2 = _string(20, sigma)
    q = _plucked(n, 1e-3, 0.2)
    k = 1 / FS
    got = free_run(q.copy(), q * np.exp(sigma * k) * np.cos(omega * k), c1, c2, np.ones(20), 4000)
    t = np.arange(4001) * k
    closed = (q[:, None] * np.exp(-sigma * t) * np.cos(omega[:, None] * t)).sum(axis=0)
    np.testing.assert_allclose(got, np.diff(closed), atol=1e-9 * np.abs(q).sum())


def test_first_contact_at_the_room_over_the_mirrored_place() -> None:
    # derived: plucked away from the board at p of the length from the saddle, the string touches
    # the board's far end when the amplitude exceeds p·h_s (p = 0.2, h_s = 2.7 mm: 0.540 mm);
    # 3 % for the finite number of partials that round the corner
    n, _, c1, c2 = _string(300, 0.2)
    places = np.linspace(0.02, 0.5, 40)
    room = 2.7e-3 * places
    gain = (1 / FS) ** 2 * 2 / (MASS_M * LENGTH)

    def touches(amplitude_mm: float) -> bool:
        q = _plucked(n, amplitude_mm * 1e-3, 0.8)
        _, touched, _, _ = strike_run(
            q.copy(),
            q.copy(),
            c1,
            c2,
            np.ones(n.size),
            np.sin(np.pi * np.outer(places, n)),
            room,
            gain,
            3e5,
            0.0,
            400,
        )
        return bool(touched.any())

    assert not touches(0.540 * 0.97)
    assert touches(0.540 * 1.03)
