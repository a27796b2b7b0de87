"""Contact over a neck made by hand: one look at every place, all picked alike unless said."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from buzzscan.neck.evidence import Evidence

__all__ = ["FloatArray", "evidence"]

FloatArray = npt.NDArray[np.float64]


def evidence(
    contact: FloatArray,
    *,
    plain: FloatArray | float = 0.5,
    touched: FloatArray | float = 0.0,
    harder: FloatArray | float = 0.0,
    choked: npt.NDArray[np.bool_] | bool = False,
    struck: bool | None = None,
) -> Evidence:
    """Return the evidence of these probabilities of contact.

    Parameters
    ----------
    contact
        Of shape (strings, frets + 1), or (looks, strings, frets + 1).
    plain, touched, harder
        Shape as of `contact`, or one for all.
    choked
        Shape (strings, frets + 1), or one for all.
    struck
        One for all; where any look strikes when None.
    """
    looks = contact if contact.ndim > 2 else contact[None]
    shape = looks.shape[1:]
    return Evidence(
        contact=looks,
        plain=np.broadcast_to(plain, looks.shape),
        touched=np.broadcast_to(touched, looks.shape),
        harder=np.broadcast_to(harder, looks.shape),
        struck=(np.nan_to_num(looks) > 0.5).any(axis=0)
        if struck is None
        else np.full(shape, struck),
        choked=np.broadcast_to(choked, shape),
    )
