"""The modal string over a fret against another model: a string on a grid.

A lossy ideal string on a grid whose waves move one point a step is solved exactly by
u⁺ = u_left + u_right − u⁻ (d'Alembert; Bilbao, Numerical Sound Synthesis, 2009, section 6.2). It
strikes a fret through a stiff one-sided spring that is solved by bisection. Nothing of the
modal model is used but its physical constants.
"""

from __future__ import annotations

import numpy as np

from buzzscan.simulate.collision import strike_run

LENGTH, MASS_M, TENSION = 0.4, 1.1e-3, 72.0
STIFFNESS = 3e5
SIGMA = 0.8
POINTS = 120
SPEED = float(np.sqrt(TENSION / MASS_M))
SPACING = LENGTH / POINTS
STEP_HZ = SPEED / SPACING
FRET_AT, PICK_AT, HEARD_AT = 7, 94, 101
HEIGHT_M = 0.35e-3
SECONDS = 0.3


def _grid_string(room: float) -> tuple[np.ndarray, float]:
    """Return the velocity at a point, and the share of steps in contact."""
    x = np.arange(POINTS + 1)
    u = HEIGHT_M * np.where(x <= PICK_AT, x / PICK_AT, (POINTS - x) / (POINTS - PICK_AT))
    before = u.copy()
    before[1:-1] = 0.5 * (u[2:] + u[:-2])  # at rest: the wave scheme runs the same both ways
    keep = float(np.exp(-SIGMA / STEP_HZ))
    give = 1.0 / (STEP_HZ**2 * MASS_M * SPACING)
    out = np.zeros(int(SECONDS * STEP_HZ))
    touching = 0
    for step in range(out.size):
        after = np.zeros_like(u)
        after[1:-1] = keep * (u[2:] + u[:-2]) - keep**2 * before[1:-1]
        free, old = -room - after[FRET_AT], -room - before[FRET_AT]
        if free > 0.0 or old > 0.0:
            force = _fret_force(free, old, give)
            after[FRET_AT] += give * force
            touching += force > 0.0
        before, u = u, after
        out[step] = (u[HEARD_AT] - before[HEARD_AT]) * STEP_HZ
    return out, touching / out.size


def _fret_force(free: float, old: float, give: float) -> float:
    """Return f = (V(p) − V(old))/(p − old) at p = free − give·f, by bisection."""

    def energy(p: float) -> float:
        return 0.5 * STIFFNESS * max(p, 0.0) ** 2

    low, high = 0.0, STIFFNESS * (max(free, 0.0) + max(old, 0.0)) + 1e-12
    for _ in range(60):
        force = 0.5 * (low + high)
        p = free - give * force
        asks = (
            STIFFNESS * max(p, 0.0)
            if abs(p - old) < 1e-15
            else (energy(p) - energy(old)) / (p - old)
        )
        low, high = (force, high) if asks > force else (low, force)
    return 0.5 * (low + high)


def _modal_string(room: float) -> tuple[np.ndarray, float]:
    n = np.arange(1, POINTS, dtype=float)
    omega = np.pi * n * SPEED / LENGTH
    k = 1.0 / STEP_HZ
    p = PICK_AT / POINTS
    q = HEIGHT_M * np.sin(n * np.pi * p) / n**2 * 2 / (np.pi**2 * p * (1 - p))
    out, pressed, _, _ = strike_run(
        q.copy(),
        q * np.exp(SIGMA * k) * np.cos(omega * k),
        2 * np.exp(-SIGMA * k) * np.cos(omega * k),
        np.full(n.size, np.exp(-2 * SIGMA * k)),
        np.sin(n * np.pi * HEARD_AT / POINTS) * STEP_HZ,
        np.sin(np.pi * np.outer([FRET_AT / POINTS], n)),
        np.array([room]),
        2 * k**2 / (MASS_M * LENGTH),
        STIFFNESS,
        0.0,
        int(SECONDS * STEP_HZ),
    )
    return out, float(pressed[0].mean())


def _octaves(x: np.ndarray) -> np.ndarray:
    power = np.abs(np.fft.rfft(x)) ** 2
    f = np.fft.rfftfreq(x.size, 1 / STEP_HZ)
    return np.array([power[(f >= lo) & (f < 2 * lo)].sum() for lo in (225, 450, 900, 1800, 3600)])


def test_without_a_fret_both_strings_sound_alike() -> None:
    grid, _ = _grid_string(1.0)
    modal, _ = _modal_string(1.0)
    # dB per octave; the grid's triangle is sampled, the modes' is a sum of sines
    difference = 10 * np.log10(_octaves(modal) / _octaves(grid))
    print("free, octaves from 225 Hz:", np.round(difference, 2))
    np.testing.assert_allclose(difference, 0.0, atol=0.3)


def test_over_a_fret_both_strings_rattle_alike() -> None:
    rooms = (0.02e-3, 0.03e-3, 0.04e-3, 0.06e-3)
    grid, modal = ([run(room) for room in rooms] for run in (_grid_string, _modal_string))
    levels = [np.sum([_octaves(x) for x, _ in rows], axis=0) for rows in (grid, modal)]
    free = np.sum([_octaves(_modal_string(1.0)[0]) for _ in rooms], axis=0)
    difference = 10 * np.log10(levels[1] / levels[0])
    print("over a fret, octaves from 225 Hz:", np.round(difference, 2))
    print("  re the free string:", np.round(10 * np.log10(levels[1] / free), 1))
    print("  touching:", [round(t, 4) for _, t in grid], [round(t, 4) for _, t in modal])
    # a rattle is chaotic: means over four rooms are compared; 2 dB
    np.testing.assert_allclose(difference, 0.0, atol=2.0)
    # and there is something to compare
    assert np.abs(10 * np.log10(levels[1] / free)).max() > 5.0
