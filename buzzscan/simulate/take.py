"""A whole take: every note of a run, mixed and recorded, with its truth.

Conventions
-----------
The same seed gives the same samples on one machine: every note draws from a generator of its
own, so the order in which threads finish does not matter.

Limits
------
A note stops within a few milliseconds when the finger leaves; the next may start before.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass

import numpy as np
import numpy.typing as npt

from buzzscan.simulate.chain import Chain, colour, record
from buzzscan.simulate.instrument import SimGuitar
from buzzscan.simulate.noises import add_human_noise
from buzzscan.simulate.note import NoteSound, sound_note
from buzzscan.simulate.performance import Event, Performance, plan
from buzzscan.simulate.sympathy import ringing_along

__all__ = ["Take", "TrueNote", "simulate_take"]

Array = npt.NDArray[np.float64]

BUZZ_BAND_HZ = (700.0, 8000.0)
BUZZ_WINDOW_S = (0.05, 0.6)
BAND_HZ = 100.0
"""Width of the bands in which energy is looked for that contact adds: about one partial."""
MIN_WINDOW_SAMPLES = 64
STOP_S = 0.006
"""Time constant of a finger stopping a string (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueNote:
    """What is true of one note.

    Parameters
    ----------
    onset_s, end_s, string, fret, direction
        When and where it was played.
    pitch_hz, inharmonicity, decay_db_per_s
        Of the first partial of the string at that fret, contact left out.
    sounding_fret
        The fret it really sounds from; differs when the string rests on a higher fret.
    contact, strikes, contact_until_s
        Whether it strikes frets after the attack, how often, and until when.
    buzz_db
        Energy of the difference that contact makes in 0.7–8 kHz, 50–600 ms after the onset
        (against the same note without contact), over the note's whole energy. As `added_db`
        where the string rattles on a fret that it rests on.
    added_db
        What is stronger than without contact, in bands of 100 Hz, in that band and time, over
        the same: contact also weakens the lower partials, which counts for `buzz_db` only.
    struck_frets, impulse_ns
        Frets struck after the attack, hardest first, and the momentum in N·s that all strikes
        return over the note.
    marks
        Mistakes of the player, see `Event`.
    """

    onset_s: float
    end_s: float
    string: int
    fret: int
    direction: str
    pitch_hz: float
    inharmonicity: float
    decay_db_per_s: float
    sounding_fret: int
    contact: bool
    strikes: int
    contact_until_s: float
    buzz_db: float | None
    added_db: float | None
    struck_frets: tuple[int, ...]
    impulse_ns: float
    marks: tuple[str, ...]

    def as_mapping(self) -> dict[str, object]:
        """Return the fields as plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """A recording and its truth.

    Parameters
    ----------
    samples
        Mono float32 in −1…1.
    sample_rate_hz
        Of the samples.
    truth
        One per note, in time order.
    """

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    truth: tuple[TrueNote, ...]


def _stopped(signal: Array, duration_s: float, fs: int) -> Array:
    """Return the signal with the finger stopping it at `duration_s`."""
    at = int(duration_s * fs)
    out = signal.copy()
    tail = np.arange(out.size - at)
    out[at:] *= np.exp(-tail / (STOP_S * fs))
    return out


def _buzz_levels(
    chain: Chain, sound: NoteSound, event: Event, *, seed: int
) -> tuple[float | None, float | None]:
    """Return the level of what contact changed, and of what it added, re the whole note."""
    fs = chain.sample_rate_hz
    stop = int(event.duration_s * fs)
    low, high = int(BUZZ_WINDOW_S[0] * fs), min(int(BUZZ_WINDOW_S[1] * fs), stop)
    if not sound.contact or high - low < MIN_WINDOW_SAMPLES:
        return None, None
    heard = colour(chain, sound.signal, seed=seed)[:stop]
    without = colour(chain, sound.free, seed=seed)[:stop]
    whole = float(np.sum(heard**2))
    changed = float(_band_energies((heard - without)[low:high], fs).sum())
    more = _band_energies(heard[low:high], fs) - _band_energies(without[low:high], fs)
    added = float(np.maximum(more, 0.0).sum())
    added_db = float(10.0 * np.log10(added / whole)) if added > 0.0 else None
    if sound.sounding_fret != event.fret:
        return added_db, added_db  # no clean note to take it from: it rattles on its resting fret
    return float(10.0 * np.log10(changed / whole)) if changed > 0.0 else None, added_db


def _band_energies(x: Array, fs: int) -> Array:
    """Return the energy of a stretch in narrow bands over the buzz band (Parseval)."""
    power = np.abs(np.fft.rfft(x)) ** 2 * 2.0 / x.size
    edges = np.arange(BUZZ_BAND_HZ[0], BUZZ_BAND_HZ[1] + BAND_HZ, BAND_HZ)
    frequencies = np.fft.rfftfreq(x.size, 1.0 / fs)
    return np.asarray(np.histogram(frequencies, edges, weights=power)[0])


def simulate_take(
    guitar: SimGuitar,
    performance: Performance,
    chain: Chain,
    *,
    seed: int,
    sound: Callable[..., NoteSound] = sound_note,
    progress: Callable[[float], None] | None = None,
) -> Take:
    """Return a run over the neck as it would be recorded, and the truth of every note.

    Parameters
    ----------
    guitar, performance, chain
        What is played, how, and through what.
    seed
        Of everything random: the same seed, the same take.
    sound
        Makes one note, with the parameters of `sound_note`: another model of the string.
    progress
        Called with the fraction done.
    """
    fs = chain.sample_rate_hz
    rng = np.random.default_rng(seed)
    events = plan(
        performance,
        n_strings=guitar.guitar.n_strings,
        frets=guitar.guitar.frets,
        capo=guitar.guitar.capo,
        rng=rng,
    )
    end_s = events[-1].onset_s + events[-1].duration_s if events else 0.0
    mixed = np.zeros(int(end_s * fs) + fs)
    truth = []
    for event, note in _sounds(guitar, events, chain, seed=seed, sound=sound):
        start = round(event.onset_s * fs)
        heard = _stopped(note.signal, event.duration_s + event.over_s, fs)[: mixed.size - start]
        mixed[start : start + heard.size] += heard
        truth.append(_true_note(chain, event, note, seed=seed))
        if progress is not None:
            progress(len(truth) / len(events))
    mixed += ringing_along(mixed, guitar, share=performance.unmuted, sample_rate_hz=fs)
    wound = tuple(s for s in guitar.guitar.strings if guitar.strings[-s].wound)
    mixed = add_human_noise(mixed, events, wound=wound, sample_rate_hz=fs, rng=rng)
    samples = record(colour(chain, mixed, seed=seed), chain, rng=rng)
    return Take(samples=samples, sample_rate_hz=fs, truth=tuple(truth))


def _sounds(
    guitar: SimGuitar,
    events: tuple[Event, ...],
    chain: Chain,
    *,
    seed: int,
    sound: Callable[..., NoteSound],
) -> Iterator[tuple[Event, NoteSound]]:
    """Yield each pick with its sound, in order; several are made at once."""

    def play(index: int) -> NoteSound:
        event = events[index]
        return sound(
            guitar,
            event,
            weight_kind=chain.weight_kind,
            pickup_mm=chain.pickup_mm,
            horizontal=chain.horizontal,
            sample_rate_hz=chain.sample_rate_hz,
            duration_s=event.duration_s + event.over_s + 8 * STOP_S,
            rng=np.random.default_rng([seed, index]),
        )

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        yield from zip(events, pool.map(play, range(len(events))), strict=True)


def _true_note(chain: Chain, event: Event, sound: NoteSound, *, seed: int) -> TrueNote:
    buzz_db, added_db = _buzz_levels(chain, sound, event, seed=seed)
    return TrueNote(
        onset_s=round(event.onset_s * chain.sample_rate_hz) / chain.sample_rate_hz,
        end_s=event.onset_s + event.duration_s,
        string=event.string,
        fret=event.fret,
        direction=event.direction,
        pitch_hz=sound.pitch_hz,
        inharmonicity=sound.inharmonicity,
        decay_db_per_s=sound.decay_db_per_s,
        sounding_fret=sound.sounding_fret,
        contact=sound.contact,
        strikes=sound.strikes,
        contact_until_s=sound.contact_until_s,
        buzz_db=buzz_db,
        added_db=added_db,
        struck_frets=sound.struck_frets,
        impulse_ns=sound.impulse_ns,
        marks=event.marks,
    )
