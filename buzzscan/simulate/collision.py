"""A modal string that strikes rigid obstacles without gaining energy.

Conventions
-----------
Displacements in metres, positive away from the frets; modes are mass-normalised on shapes
sin(nπx/L). Compiled on first use.

Limits
------
Obstacles are points with a linear contact spring; the string's own axial motion is left out.

Notes
-----
Modal collision of a stiff string: Issanchou, Bilbao, Le Carrou, Touzé & Doaré, J. Sound Vib.
393 (2017). Contact force by energy quadratisation, linearly implicit and so without iteration:
Ducceschi, Bilbao, Willemsen & Serafin, J. Acoust. Soc. Am. 149 (2021). A force that would pull
is cut to zero and its stored energy dropped, so that the energy can only fall.
"""

# ruff: noqa: C901, PLR0912, PLR0915, PLR0917 - one compiled loop: calls would cost its speed

from __future__ import annotations

from typing import Any

import numba
import numpy as np

__all__ = ["free_run", "strike_run"]


@numba.njit(cache=True, nogil=True)
def free_run(q: Any, q_before: Any, c1: Any, c2: Any, weights: Any, n_steps: int) -> Any:
    """Return the weighted sum of modal velocities (per step) of a free string.

    Parameters
    ----------
    q, q_before
        Modal displacement now and one step ago, shape (modes,); overwritten.
    c1, c2
        Exact recursion coefficients 2e^(−σk)cos(ωk) and e^(−2σk).
    weights
        Shape (outputs, modes).
    n_steps
        Number of steps.

    Returns
    -------
    ndarray
        Shape (outputs, n_steps).
    """
    n_modes = q.size
    n_out = weights.shape[0]
    out = np.zeros((n_out, n_steps))
    for step in range(n_steps):
        for n in range(n_modes):
            after = c1[n] * q[n] - c2[n] * q_before[n]
            velocity = after - q[n]
            q_before[n] = q[n]
            q[n] = after
            for o in range(n_out):
                out[o, step] += weights[o, n] * velocity
    return out


@numba.njit(cache=True, nogil=True)
def strike_run(
    q: Any,
    q_before: Any,
    c1: Any,
    c2: Any,
    weights: Any,
    shapes: Any,
    room: Any,
    force_gain: Any,
    stiffness: float,
    friction: float,
    n_steps: int,
) -> Any:
    """Return the output of a string over obstacles, and its contact.

    Parameters
    ----------
    shapes
        Mode shapes at the obstacles, shape (modes, obstacles).
    room
        Room over each obstacle in m (negative: the string rests on it), shape (obstacles,).
    force_gain
        k²·2/(mass of the string) per mode: displacement after one step per newton.
    stiffness, friction
        Contact spring in N/m and damper in N·s/m per step (already divided by 2k).
    n_steps
        Number of steps.

    Returns
    -------
    tuple
        Output (outputs, n_steps), number of obstacles touched per step (n_steps,), and the
        impulse per obstacle in N·steps (obstacles,).
    """
    n_modes = q.size
    n_obs = room.size
    n_out = weights.shape[0]
    out = np.zeros((n_out, n_steps))
    touched = np.zeros(n_steps, np.uint8)
    impulse = np.zeros(n_obs)
    root = np.sqrt(stiffness)
    psi = np.zeros(n_obs)
    # how far obstacle j's force moves the string at obstacle i in one step
    reach = np.zeros((n_obs, n_obs))
    for n in range(n_modes):
        for i in range(n_obs):
            for j in range(n_obs):
                reach[i, j] += shapes[n, i] * shapes[n, j] * force_gain[n]
    w_now = np.zeros(n_obs)
    w_before = np.zeros(n_obs)
    for n in range(n_modes):
        for i in range(n_obs):
            w_now[i] += shapes[n, i] * q[n]
            w_before[i] += shapes[n, i] * q_before[n]
    for i in range(n_obs):
        psi[i] = root * max(-room[i] - 0.5 * (w_now[i] + w_before[i]), 0.0)
    w_after = np.zeros(n_obs)
    force = np.zeros(n_obs)
    for step in range(n_steps):
        w_after[:] = 0.0
        for n in range(n_modes):
            after = c1[n] * q[n] - c2[n] * q_before[n]
            q_before[n] = q[n]
            q[n] = after
            for i in range(n_obs):
                w_after[i] += shapes[n, i] * after
        active = False
        for i in range(n_obs):
            force[i] = 0.0
            if w_now[i] < -room[i]:
                active = True
                touched[step] += 1
            else:
                psi[i] = 0.0
        if active:
            # Gauss-Seidel: the system is diagonally dominant, a few sweeps reach rounding
            for _ in range(12):
                change = 0.0
                for i in range(n_obs):
                    if w_now[i] >= -room[i]:
                        continue
                    others = w_after[i]
                    for j in range(n_obs):
                        if j != i:
                            others += reach[i, j] * force[j]
                    moved = others - w_before[i]
                    slope = stiffness / 4.0 + friction
                    new = (root * psi[i] - slope * moved) / (1.0 + slope * reach[i, i])
                    new = max(new, 0.0)
                    change = max(change, abs(new - force[i]))
                    force[i] = new
                if change < 1e-12:
                    break
            for i in range(n_obs):
                if w_now[i] >= -room[i]:
                    continue
                end = w_after[i]
                for j in range(n_obs):
                    end += reach[i, j] * force[j]
                psi[i] = (
                    max(psi[i] - 0.5 * root * (end - w_before[i]), 0.0) if force[i] > 0 else 0.0
                )
                impulse[i] += force[i]
            for n in range(n_modes):
                push = 0.0
                for i in range(n_obs):
                    push += shapes[n, i] * force[i]
                q[n] += force_gain[n] * push
            for i in range(n_obs):
                for j in range(n_obs):
                    w_after[i] += reach[i, j] * force[j]
        for i in range(n_obs):
            w_before[i] = w_now[i]
            w_now[i] = w_after[i]
        for n in range(n_modes):
            velocity = q[n] - q_before[n]
            for o in range(n_out):
                out[o, step] += weights[o, n] * velocity
    return out, touched, impulse
