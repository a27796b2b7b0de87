"""A modal string that strikes rigid obstacles without gaining energy.

Conventions
-----------
Displacements in metres, positive away from the frets; modes are mass-normalised on shapes
sin(nπx/L). Sums run in a fixed order, so that the same input gives the same bytes. Compiled on
first use.

Limits
------
Obstacles are points with a linear one-sided spring; the string's own axial motion is left out.

Notes
-----
The conservative modal scheme for a stiff string against obstacles of Issanchou, Bilbao, Le
Carrou, Touzé & Doaré, J. Sound Vib. 393 (2017): exact recursion of each mode, and a force that
is the discrete gradient of the contact potential V(p) = K/2·max(p, 0)² over two steps,
f = (V(p⁺) − V(p⁻)) / (p⁺ − p⁻) with p the penetration. It never pulls, and what the string
loses the springs hold and give back exactly. For a linear spring the equation of one obstacle
is solved in closed form; obstacles that touch at once are swept (nonlinear Gauss-Seidel on a
convex problem). The damper only takes energy, and a force that it would turn into a pull is cut
to zero.
"""

# ruff: noqa: PLR0917 - compiled functions: keywords and more calls would cost their speed

from __future__ import annotations

from typing import Any

import numba
import numpy as np

__all__ = ["free_run", "strike_run"]

CHECK_STEPS = 512
"""Untouched steps after which it is looked whether any obstacle can still be reached."""
MOST_SWEEPS = 60
SOLVED = 1e-10
"""Relative change of the forces at which the sweeps stop."""


@numba.njit(cache=True, nogil=True)
def _advance(q: Any, q_before: Any, c1: Any, c2: Any) -> None:
    for n in range(q.size):
        after = c1[n] * q[n] - c2[n] * q_before[n]
        q_before[n] = q[n]
        q[n] = after


@numba.njit(cache=True, nogil=True)
def _heard(weights: Any, q: Any, q_before: Any) -> float:
    """Return the weighted sum of steps; four sums side by side are faster than one."""
    a = b = c = d = 0.0
    whole = q.size - q.size % 4
    for n in range(0, whole, 4):
        a += weights[n] * (q[n] - q_before[n])
        b += weights[n + 1] * (q[n + 1] - q_before[n + 1])
        c += weights[n + 2] * (q[n + 2] - q_before[n + 2])
        d += weights[n + 3] * (q[n + 3] - q_before[n + 3])
    for n in range(whole, q.size):
        a += weights[n] * (q[n] - q_before[n])
    return (a + b) + (c + d)


@numba.njit(cache=True, nogil=True)
def _press(shapes: Any, q: Any, room: Any, p: Any) -> None:
    """Set how far the string would be below each obstacle; shapes are (obstacles, modes)."""
    for i in range(p.size):
        a = b = 0.0
        whole = q.size - q.size % 2
        for n in range(0, whole, 2):
            a += shapes[i, n] * q[n]
            b += shapes[i, n + 1] * q[n + 1]
        if whole < q.size:
            a += shapes[i, whole] * q[whole]
        p[i] = -room[i] - (a + b)


@numba.njit(cache=True, nogil=True)
def _reach(shapes: Any, force_gain: float) -> Any:
    """Return how far a newton on obstacle j moves the string at obstacle i in one step."""
    n_obs, n_modes = shapes.shape
    reach = np.zeros((n_obs, n_obs))
    for i in range(n_obs):
        for j in range(n_obs):
            for n in range(n_modes):
                reach[i, j] += shapes[i, n] * shapes[j, n] * force_gain
    return reach


@numba.njit(cache=True, nogil=True)
def free_run(q: Any, q_before: Any, c1: Any, c2: Any, weights: Any, n_steps: int) -> Any:
    """Return the weighted sum of modal steps of a free string, shape (n_steps,).

    Parameters
    ----------
    q, q_before
        Modal displacement now and one step ago, shape (modes,); overwritten.
    c1, c2
        Exact recursion coefficients 2e^(−σk)cos(ωk) and e^(−2σk).
    weights
        Shape (modes,).
    n_steps
        Number of steps.
    """
    out = np.zeros(n_steps)
    for step in range(n_steps):
        _advance(q, q_before, c1, c2)
        out[step] = _heard(weights, q, q_before)
    return out


@numba.njit(cache=True, nogil=True)
def _out_of_reach(q: Any, q_before: Any, c1: Any, c2: Any, shapes: Any, room: Any) -> bool:
    """Return whether even all modes swinging together would miss every obstacle.

    The amplitude of a mode follows from two steps: with p = q_before·e^(−σk),
    A² = (q² + p² − 2qp·cos ωk) / sin² ωk. Amplitudes only fall, so this holds for good.
    """
    for i in range(room.size):
        bound = 0.0
        for n in range(q.size):
            shrink = np.sqrt(c2[n])
            cosine = c1[n] / (2.0 * shrink)
            p = q_before[n] * shrink
            square = (q[n] ** 2 + p**2 - 2.0 * q[n] * p * cosine) / (1.0 - cosine**2)
            bound += abs(shapes[i, n]) * np.sqrt(max(square, 0.0))
        if bound > room[i]:
            return False
    return True


@numba.njit(cache=True, nogil=True)
def _penetration(free: float, before: float, c: float) -> float:
    """Return the penetration p⁺ that solves p⁺ = free − 2c·(V(p⁺) − V(p⁻))/(K·(p⁺ − p⁻)).

    `c` is reach·K/2. Both quadratics have exactly one root in their half-line.
    """
    if before <= 0.0:
        if free <= 0.0:
            return free
        # (1 + c)·p² − (free + before)·p + free·before = 0, p > 0
        half = 0.5 * (free + before) / (1.0 + c)
        return float(half + np.sqrt(half**2 - free * before / (1.0 + c)))
    inside = (free - c * before) / (1.0 + c)
    if inside > 0.0:
        return inside
    # p² − (free + before)·p + free·before − c·before² = 0, p ≤ 0
    root = np.sqrt(0.25 * (free - before) ** 2 + c * before**2)
    return float(0.5 * (free + before) - root)


@numba.njit(cache=True, nogil=True)
def _solve_forces(
    force: Any, p_free: Any, p_now: Any, p_before: Any, reach: Any, stiffness: float, damper: float
) -> None:
    """Set the force of each obstacle in N, given the penetrations without any."""
    for _ in range(MOST_SWEEPS):
        change = 0.0
        most = 0.0
        for i in range(force.size):
            free = p_free[i]
            for j in range(force.size):
                if j != i:
                    free -= reach[i, j] * force[j]
            new = 0.0
            if free > 0.0 or p_before[i] > 0.0:
                drag = damper if p_now[i] > 0.0 else 0.0
                give = 1.0 + reach[i, i] * drag
                held = (free + reach[i, i] * drag * p_before[i]) / give
                after = _penetration(held, p_before[i], 0.5 * stiffness * reach[i, i] / give)
                new = max((free - after) / reach[i, i], 0.0)
            change = max(change, abs(new - force[i]))
            most = max(most, new)
            force[i] = new
        if change <= SOLVED * most:
            break


@numba.njit(cache=True, nogil=True)
def strike_run(
    q: Any,
    q_before: Any,
    c1: Any,
    c2: Any,
    weights: Any,
    shapes: Any,
    room: Any,
    force_gain: float,
    stiffness: float,
    damper: float,
    n_steps: int,
) -> Any:
    """Return the output of a string over obstacles, and its contact.

    Parameters
    ----------
    q, q_before, c1, c2, weights, n_steps
        As in `free_run`.
    shapes
        Mode shapes at the obstacles, shape (obstacles, modes).
    room
        Room over each obstacle in m (negative: the string rests on it), shape (obstacles,).
    force_gain
        k²·2/(mass of the string): displacement of a mode after one step, per newton.
    stiffness, damper
        Contact spring in N/m and damper in N·s/m per step (already divided by 2k).

    Returns
    -------
    tuple
        Output (n_steps,); whether each obstacle is pressed at each step (obstacles, n_steps);
        energy stored in the contact springs in J (n_steps,); impulse per obstacle in N·steps
        (obstacles,).
    """
    n_obs = room.size
    out = np.zeros(n_steps)
    touched = np.zeros((n_obs, n_steps), np.bool_)
    stored = np.zeros(n_steps)
    impulse = np.zeros(n_obs)
    reach = _reach(shapes, force_gain)
    p_now, p_before, p_after = np.zeros(n_obs), np.zeros(n_obs), np.zeros(n_obs)
    _press(shapes, q, room, p_now)
    _press(shapes, q_before, room, p_before)
    force = np.zeros(n_obs)
    last_touch = 0
    for step in range(n_steps):
        _advance(q, q_before, c1, c2)
        _press(shapes, q, room, p_after)
        if p_after.max() > 0.0 or p_now.max() > 0.0 or p_before.max() > 0.0:
            last_touch = step
            force[:] = 0.0
            _solve_forces(force, p_after, p_now, p_before, reach, stiffness, damper)
            for n in range(q.size):
                push = 0.0
                for i in range(n_obs):
                    push += shapes[i, n] * force[i]
                q[n] += force_gain * push
            for i in range(n_obs):
                touched[i, step] = force[i] > 0.0
                for j in range(n_obs):
                    p_after[i] -= reach[i, j] * force[j]
                # as the scheme counts it: the mean of the potential over two steps
                both = max(p_after[i], 0.0) ** 2 + max(p_now[i], 0.0) ** 2
                stored[step] += 0.25 * stiffness * both
            impulse += force
        p_before[:] = p_now
        p_now[:] = p_after
        out[step] = _heard(weights, q, q_before)
        untouched = step - last_touch
        if (
            untouched > 0
            and untouched % CHECK_STEPS == 0
            and _out_of_reach(q, q_before, c1, c2, shapes, room)
        ):
            out[step + 1 :] = free_run(q, q_before, c1, c2, weights, n_steps - step - 1)
            break
    return out, touched, stored, impulse
