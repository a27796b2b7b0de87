"""Guitars, players and recordings drawn at random, wide enough that none is the usual one.

Conventions
-----------
A seed gives one take, the same whenever it is drawn. Ranges are what instruments, players and
recorders are known to span (common practice, no source) and a little beyond.

Limits
------
Two strings a take, so that many guitars are seen rather than many notes of one.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
from training.grid_string import ContactLaw, grid_note
from training.waveguide_string import Fret, waveguide_note

from buzzscan.guitar import Guitar
from buzzscan.simulate import (
    Chain,
    Fault,
    Performance,
    Resonance,
    SimGuitar,
    Take,
    TrueNote,
    drawn_body,
    simulate_take,
)

__all__ = ["KINDS", "MODELS", "Drawn", "draw", "drawn_string", "log_uniform"]

Array = npt.NDArray[np.float64]

STANDARD = ("E2", "A2", "D3", "G3", "B3", "E4")
TUNINGS = (
    *[STANDARD] * 4,
    ("D#2", "G#2", "C#3", "F#3", "A#3", "D#4"),
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("C2", "G2", "C3", "F3", "A3", "D4"),
    ("B1", "E2", "A2", "D3", "G3", "B3", "E4"),
    ("E1", "A1", "D2", "G2"),
    ("B0", "E1", "A1", "D2", "G2"),
)
KINDS = ("plain", "room", "plain", "messy", "phone", "plain", "gain", "lossy", "driven", "room")
MODELS = ("modes", "grid", "waveguide")
IN_A_ROOM = ("room", "phone")
HANDS = ("messy", "driven")
LOW_FROM = 1200
"""Seeds from here on have low action: contact is what is learnt most from, and without it only one
note in twenty strikes."""
RATE_HZ = 44100


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One take with what it was made with.

    Parameters
    ----------
    guitar, samples, truth
        The instrument, the recording at 44.1 kHz and its notes.
    kind
        Of `KINDS`.
    model
        String model, of `MODELS`.
    """

    guitar: Guitar
    samples: npt.NDArray[np.float32]
    truth: tuple[TrueNote, ...]
    kind: str
    model: str


def draw(seed: int, model: str | None = None) -> Drawn:
    """Return the take of a seed; by a string model of `MODELS`, or the first two in turn."""
    rng = np.random.default_rng([seed, 3])
    kind = KINDS[seed // 2 % len(KINDS)]
    guitar = Guitar(tuning=TUNINGS[rng.integers(len(TUNINGS))], frets=int(rng.choice([20, 22, 24])))
    instrument = _instrument(guitar, rng, seed)
    if seed >= LOW_FROM:
        low = np.random.default_rng([seed, 5]).uniform(0.15, 0.7)
        instrument = replace(
            instrument, faults=(*instrument.faults, Fault(kind="action", amount=-low))
        )
    chain = _chain(kind, rng)
    performance = _performance(guitar, kind, rng)
    model = model or MODELS[seed % 2]
    sound = drawn_string(model, rng)
    take = simulate_take(instrument, performance, chain, seed=seed, **sound)
    samples = _afterwards(take, kind, rng)
    return Drawn(guitar=guitar, samples=samples, truth=take.truth, kind=kind, model=model)


def drawn_string(model: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return what makes `simulate_take` sound a string model of `MODELS`."""
    law = _drawn_law(rng)
    if model == "grid":
        return {"sound": partial(grid_note, law=law)}
    if model == "waveguide":
        fret = Fret(bounce=float(rng.uniform(0.5, 1.0)), half_width=int(rng.integers(0, 2)))
        return {"sound": partial(waveguide_note, fret=fret)}
    return {}


def _drawn_law(rng: np.random.Generator) -> ContactLaw:
    """Return how the frets of a guitar push back."""
    return ContactLaw(
        stiffness=log_uniform(rng, 0.04, 0.25),
        exponent=float(rng.uniform(1.0, 1.5)),
        damping_s_m=log_uniform(rng, 0.02, 2.0),
    )


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Return a number drawn evenly over the logarithm between two."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _faults(frets: int, rng: np.random.Generator) -> list[Fault]:
    u = rng.uniform
    faults = []
    if rng.random() < 0.75:
        for _ in range(rng.integers(1, 6)):
            high = Fault(kind="fret", fret=int(rng.integers(2, frets + 1)), amount=u(0.05, 0.4))
            faults.append(high)
        if rng.random() < 0.3:
            low = Fault(kind="fret", fret=int(rng.integers(1, frets - 1)), amount=-u(0.1, 0.3))
            faults.append(low)
    for share, kind, most, fret in (
        (0.15, "rising end", 0.4, 12),
        (0.4, "action", -0.8, None),
        (0.2, "relief", -0.25, None),
        (0.15, "nut slot", -0.3, None),
    ):
        if rng.random() < share:
            amount = most * u(0.25, 1.0)
            faults.append(Fault(kind=kind, fret=fret, amount=amount))  # type: ignore[arg-type]
    return faults


def _instrument(guitar: Guitar, rng: np.random.Generator, seed: int) -> SimGuitar:
    u = rng.uniform
    neck = tuple(
        Resonance(frequency_hz=u(100, 400), conductance_s_kg=u(0.003, 0.02), q=u(12, 40))
        for _ in range(rng.integers(0, 3))
    )
    body = drawn_body(rng) if rng.random() < 0.8 else ()
    return SimGuitar.from_guitar(
        guitar,
        faults=tuple(_faults(guitar.frets, rng)),
        resonances=(*neck, *body),
        axes_deg=u(0, 25),
        detune_cents=log_uniform(rng, 0.3, 4.0),
        roughness_mm=u(0.003, 0.015),
        roughness_seed=seed,
        string_loss=u(0.7, 4.0),
        end_loss_per_s=u(0.2, 0.8),
        contact_damping=log_uniform(rng, 0.01, 0.3),
    )


def _performance(guitar: Guitar, kind: str, rng: np.random.Generator) -> Performance:
    u = rng.uniform
    hands = kind in HANDS
    strings = rng.choice(np.arange(1, guitar.n_strings + 1), 2, replace=False)
    return Performance(
        pace_s=log_uniform(rng, 0.17, 1.1),
        amplitude_mm=log_uniform(rng, 0.4, 1.2),
        amplitude_sd=u(0.05, 0.25),
        pluck_mm=u(45, 170),
        angle_deg=u(15, 70),
        towards=u(0, 0.3) if rng.random() < 0.3 else 0.0,
        pick_width_mm=u(1.5, 6.0),
        release_s=log_uniform(rng, 5e-5, 1e-3),
        pick_noise=u(0, 0.3),
        finger_sd=u(0, 0.4),
        passes="up-down" if rng.random() < 0.4 else "up",
        strings=tuple(int(s) for s in strings),
        gap_s=u(0, 0.06),
        squeak=0.25 if hands else 0.04,
        soft=0.1 if hands else 0.0,
        thump=0.05 if hands else 0.0,
        talk=0.3 if hands else 0.0,
        unmuted=u(0, 0.04) if rng.random() < 0.4 else 0.0,
        release_sd=u(0.0, 0.7),
    )


def _chain(kind: str, rng: np.random.Generator) -> Chain:
    u = rng.uniform
    in_a_room = kind in IN_A_ROOM or (kind in HANDS and rng.random() < 0.5)
    direct = "bridge" if rng.random() < 0.25 else "pickup"
    return Chain(
        source="room" if in_a_room else direct,
        pickup_mm=u(35, 160),
        pickup_hz=u(2200, 7000),
        pickup_q=u(0.6, 3.0),
        horizontal=u(0.05, 0.5),
        room_t60_s=u(0.15, 0.7),
        room_db=u(-14, 2),
        peak_dbfs=u(-14, -1),
        noise_dbfs=u(-80, -52) if kind in IN_A_ROOM or kind in HANDS else u(-95, -60),
        noise="pink" if rng.random() < 0.3 else "white",
        hum_dbfs=u(-70, -40) if rng.random() < 0.25 else None,
        hum_hz=float(rng.choice([50.0, 60.0])),
        band_hz=(u(80, 250), u(3400, 9000)) if kind == "phone" else None,
        sample_rate_hz=RATE_HZ,
    )


def _afterwards(take: Take, kind: str, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Return the samples with what neither string model has, and what recorders do to them."""
    x = take.samples.astype(np.float64)
    if rng.random() < 0.4:
        x += _phantoms(take, rng)
    if kind in {"phone", "gain"}:
        x = _compressed(x, rng)
    if kind == "driven":
        x = np.tanh(x / np.abs(x).max() * rng.uniform(0.5, 1.5))
    x *= 10.0 ** (rng.uniform(-14.0, -1.0) / 20.0) / np.abs(x).max()
    return _coded(x.astype(np.float32), rng) if kind == "lossy" else x.astype(np.float32)


def _phantoms(take: Take, rng: np.random.Generator) -> Array:
    """Return phantom partials: what stretching the string as it swings sounds between partials.

    They lie at sums of the string's partials, which stiffness puts under the partial there
    (Conklin, J. Acoust. Soc. Am. 105 (1999)); here as partials of less inharmonicity.
    """
    fs, u = take.sample_rate_hz, rng.uniform
    level, share, top = 10.0 ** (-u(20, 42) / 20.0), u(0.1, 0.4), u(1200, 5000)
    out = np.zeros(take.samples.size)
    for note in take.truth:
        start = round(note.onset_s * fs)
        n = min(round((note.end_s - note.onset_s) * fs), out.size - start)
        if n < fs // 20:
            continue
        t = np.arange(n) / fs
        rms = float(np.sqrt(np.mean(take.samples[start : start + fs // 10].astype(float) ** 2)))
        f0 = note.pitch_hz / np.sqrt(1.0 + note.inharmonicity)
        k = np.arange(5, 60)
        f = k * f0 * np.sqrt(1.0 + note.inharmonicity * share * k**2)
        f *= 1.0 + rng.normal(0.0, 3e-4, k.size)
        for hz, order in zip(f[f < top], k, strict=False):
            strength = level * rms * 8.0 / order * u(0.2, 2.0)
            fall = np.exp(-(1.5 + hz / 700.0) * t)
            out[start : start + n] += strength * fall * np.sin(2 * np.pi * hz * t + u(0, 6.3))
        out[start + n - 200 : start + n] *= np.linspace(1.0, 0.0, 200)
    return out


def _compressed(x: Array, rng: np.random.Generator) -> Array:
    """Return the signal through a compressor of 10 ms attack and 80 ms release."""
    from scipy.signal import lfilter

    def smooth(v: Array, time_s: float) -> Array:
        keep = float(np.exp(-1.0 / (time_s * RATE_HZ)))
        return np.asarray(lfilter([1.0 - keep], [1.0, -keep], v))

    envelope = np.sqrt(smooth(x * x, 0.01) + 1e-12)
    threshold = np.sqrt(np.mean(x * x)) * rng.uniform(0.3, 1.2)
    slope = 1.0 - 1.0 / rng.uniform(1.5, 4.0)
    gain_db = np.minimum(0.0, -slope * 20.0 * np.log10(np.maximum(envelope / threshold, 1e-9)))
    return np.asarray(x * 10.0 ** (smooth(gain_db, 0.08) / 20.0))


def _coded(x: npt.NDArray[np.float32], rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Return the samples after a lossy codec."""
    import soundfile as sf

    held = io.BytesIO()
    kind, subtype = (("MP3", "MPEG_LAYER_III"), ("OGG", "VORBIS"))[rng.integers(2)]
    level = float(rng.uniform(0.3, 0.95))
    with sf.SoundFile(
        held, "w", RATE_HZ, 1, format=kind, subtype=subtype, compression_level=level
    ) as file:
        for start in range(0, x.size, 8192):  # the encoder takes no more at once
            file.write(x[start : start + 8192])
    held.seek(0)
    back, _ = sf.read(held, dtype="float32")
    return np.pad(back, (0, max(x.size - back.size, 0)))[: x.size]
