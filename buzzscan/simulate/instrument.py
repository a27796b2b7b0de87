"""A guitar to simulate: the guitar file made complete, and the faults put into it.

Conventions
-----------
Units as in the guitar file: mm, Hz. What the guitar file leaves open takes the typical value
named here, because a simulation needs every value.

Limits
------
Frets and the nut are rigid; the neck takes energy only at its resonances.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from buzzscan.errors import GuitarError
from buzzscan.guitar import Guitar
from buzzscan.simulate.geometry import StringLine, string_line
from buzzscan.simulate.strings import (
    PLAIN_LIMIT_MM,
    StringSpec,
    fretting_stretch_cents,
    string_from_gauge,
    string_from_pitch,
)

__all__ = ["Fault", "FaultKind", "Resonance", "SimGuitar", "drawn_body"]

FaultKind = Literal["fret", "nut slot", "rising end", "relief", "action", "saddle", "tuning"]

GUITAR_SCALE_MM = 647.7
BASS_SCALE_MM = 863.6
BASS_MIDI = 38.0
"""Lowest open string below which an instrument is taken for a bass (D2: below a drop-D guitar)."""

OCTAVE_FRET = 12

TYPICAL_ACTION_MM = (2.0, 1.6)
"""Action at the 12th, thickest and thinnest string (common practice, no source)."""

TYPICAL_NUT_GAP_MM = 0.4
TYPICAL_RELIEF_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Resonance:
    """One resonance of neck or body: a dead spot at every position that sounds its frequency.

    Parameters
    ----------
    frequency_hz
        Frequency of the resonance.
    conductance_s_kg
        Peak of the conductance at the string's end, in s/kg.
    q
        Quality factor: the width is frequency over q.
    """

    frequency_hz: float
    conductance_s_kg: float
    q: float = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong with the neck.

    Parameters
    ----------
    kind
        "fret": height error of `fret`, positive is high, negative is worn;
        "nut slot": height error of the slot, negative is cut too low;
        "rising end": frets rise from `fret` to `amount` mm at the last one;
        "relief", "action", "saddle": change in mm ("saddle" lengthens the string);
        "tuning": change of the open string in cents.
    amount
        Size in mm or cents.
    fret
        Fret where it sits, for "fret" and "rising end".
    strings
        Strings it concerns, None for all.
    """

    kind: FaultKind
    amount: float
    fret: int | None = None
    strings: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SimGuitar:
    """A complete instrument.

    Parameters
    ----------
    guitar
        The instrument as the guitar file describes it.
    scale_mm, relief_mm, nut_gap_mm
        Setup without faults.
    action_12_mm
        Per string, thickest first.
    strings
        Per string, thickest first.
    faults
        What is wrong with it.
    resonances
        Of the neck.
    roughness_mm
        Standard deviation of the height error that every fret has under every string.
    roughness_seed
        Seed of these errors: the same neck stays the same in every take.
    string_loss
        Factor on the strings' own losses: 1 fresh strings, 3 old ones.
    end_loss_per_s
        Decay rate that the ends (bridge, fret and finger) add, in 1/s.
    contact_damping
        Damper of a strike in N·s/m; a string's own wave impedance is 0.1 to 1
        (the default is small: invented).
    compensated
        Whether each saddle is set so that fret 12 is in tune.
    axes_deg
        How far the string's two directions of vibration are turned from straight into the neck
        and along it (the bridge decides): a string picked along the frets comes to strike them.
    detune_cents
        Standard deviation of the difference in pitch between the two directions: they beat.
    """

    guitar: Guitar
    scale_mm: float
    relief_mm: float
    nut_gap_mm: float
    action_12_mm: tuple[float, ...]
    strings: tuple[StringSpec, ...]
    faults: tuple[Fault, ...] = ()
    resonances: tuple[Resonance, ...] = ()
    roughness_mm: float = 0.008
    roughness_seed: int = 0
    string_loss: float = 1.0
    end_loss_per_s: float = 0.35
    contact_damping: float = 0.01
    compensated: bool = True
    axes_deg: float = 6.0
    detune_cents: float = 0.5

    @classmethod
    def from_guitar(cls, guitar: Guitar, **changes: object) -> SimGuitar:
        """Return a complete instrument; what the guitar leaves open takes typical values.

        Parameters
        ----------
        guitar
            The instrument.
        **changes
            Fields of `SimGuitar` to set.

        Raises
        ------
        GuitarError
            If a fault names a string or a fret that the instrument does not have.
        """
        n = guitar.n_strings
        bass = min(guitar.midi(s, 0) for s in guitar.strings) < BASS_MIDI and n <= 6
        scale = guitar.scale_mm or (BASS_SCALE_MM if bass else GUITAR_SCALE_MM)
        action = guitar.action_12_mm or tuple(np.linspace(*TYPICAL_ACTION_MM, n).round(3).tolist())
        made = cls(
            guitar=guitar,
            scale_mm=scale,
            relief_mm=TYPICAL_RELIEF_MM if guitar.relief_mm is None else guitar.relief_mm,
            nut_gap_mm=TYPICAL_NUT_GAP_MM if guitar.nut_gap_mm is None else guitar.nut_gap_mm,
            action_12_mm=action,
            strings=_strung(guitar, scale_m=scale / 1e3, bass=bass),
        )
        made = replace(made, **changes)  # type: ignore[arg-type]
        for fault in made.faults:
            _check_fault(guitar, fault)
        return made

    def fault_sum(self, kind: FaultKind, string: int) -> float:
        """Return the sum of all faults of a kind that concern a string."""
        return sum(
            f.amount
            for f in self.faults
            if f.kind == kind and (f.strings is None or string in f.strings)
        )

    def height_errors_mm(self, string: int) -> npt.NDArray[np.float64]:
        """Return the height error at the nut (index 0) and every fret, shape (frets + 1,)."""
        frets = self.guitar.frets
        rng = np.random.default_rng([self.roughness_seed, string])
        errors = rng.normal(0.0, self.roughness_mm, frets + 1)
        errors[0] = self.fault_sum("nut slot", string)
        for fault in self.faults:
            if fault.fret is None or (fault.strings is not None and string not in fault.strings):
                continue
            if fault.kind == "fret":
                errors[fault.fret] += fault.amount
            elif fault.kind == "rising end":
                span = max(frets - fault.fret, 1)
                rise = np.clip((np.arange(frets + 1) - fault.fret) / span, 0.0, None)
                errors += fault.amount * rise
        return errors

    def line(self, string: int) -> StringLine:
        """Return the line of a string over the neck, faults and all."""
        return _line(self, string)

    def length_mm(self, string: int, fret: int) -> float:
        """Return the vibrating length of a position: compensated, saddle fault included."""
        line = self.line(string)
        saddle = self._compensation_mm(string) + self.fault_sum("saddle", string)
        return line.scale_mm + saddle - line.x_mm[fret]

    def fretting_cents(self, string: int, fret: int) -> float:
        """Return how sharp pressing the string down to a fret makes it."""
        if fret == 0:
            return 0.0
        line = self.line(string)
        slope = (line.saddle_mm - line.nut_mm) / line.scale_mm
        drop = line.nut_mm + slope * line.x_mm[fret] - line.fret_mm[fret]
        return fretting_stretch_cents(
            self.strings[-string],
            drop_mm=max(drop, 0.0),
            at_mm=line.x_mm[fret],
            scale_mm=line.scale_mm,
        )

    def _compensation_mm(self, string: int) -> float:
        """Return how far back the saddle sits so that fret 12 is in tune with the open string.

        Pressing and stiffness sharpen the 12th by e cents; c mm of saddle flatten it by
        1200/ln 2 · c/L (first order).
        """
        if not self.compensated or self.guitar.frets < OCTAVE_FRET:
            return 0.0
        spec = self.strings[-string]
        open_b = spec.inharmonicity(self.scale_mm / 1e3)
        stiff = 600.0 * float(np.log2((1.0 + 4.0 * open_b) / (1.0 + open_b)))
        sharp = stiff + self.fretting_cents(string, OCTAVE_FRET)
        return sharp * self.scale_mm * float(np.log(2.0)) / 1200.0

    def open_cents(self, string: int) -> float:
        """Return how far the open string is tuned off its nominal pitch."""
        return self.fault_sum("tuning", string)

    def mobility(self, frequency_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.complex128]:
        """Return velocity over force at the string's end in s/kg, same shape as the frequencies.

        The real part is the conductance G; below a resonance the imaginary part is positive
        (a spring gives way), above it negative (a mass).
        """
        total = np.zeros(frequency_hz.shape, np.complex128)
        for r in self.resonances:
            detune = r.q * (frequency_hz / r.frequency_hz - r.frequency_hz / frequency_hz)
            total += r.conductance_s_kg / (1.0 + 1j * detune)
        return total

    def conductance(self, frequency_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the conductance in s/kg at frequencies in Hz, same shape."""
        return np.asarray(self.mobility(frequency_hz).real)


def _strung(guitar: Guitar, *, scale_m: float, bass: bool) -> tuple[StringSpec, ...]:
    """Return a guitar's strings, thickest first; gauges that are not known are typical ones."""
    specs = []
    for i in range(guitar.n_strings):
        open_hz = guitar.pitch_hz(guitar.n_strings - i, 0)
        if guitar.gauges_mm is None:
            specs.append(string_from_pitch(open_hz, scale_m=scale_m, bass=bass))
            continue
        gauge = guitar.gauges_mm[i]
        wound = gauge > PLAIN_LIMIT_MM if guitar.wound is None else guitar.wound[i]
        specs.append(string_from_gauge(gauge, wound=wound, open_hz=open_hz, scale_m=scale_m))
    return tuple(specs)


@lru_cache(maxsize=256)
def _line(guitar: SimGuitar, string: int) -> StringLine:
    """Return the line of a string; kept, because every note asks several times."""

    def with_relief(relief_mm: float) -> StringLine:
        return string_line(
            scale_mm=guitar.scale_mm,
            frets=guitar.guitar.frets,
            action_12_mm=guitar.action_12_mm[-string] + guitar.fault_sum("action", string),
            nut_gap_mm=guitar.nut_gap_mm,
            relief_mm=relief_mm,
            errors_mm=guitar.height_errors_mm(string),
        )

    # A neck that bows less brings the frets up under the string: the saddle and the nut stay
    # where they are, so action and nut gap of the fault-free neck fix them.
    relief = guitar.relief_mm + guitar.fault_sum("relief", string)
    return replace(with_relief(guitar.relief_mm), fret_mm=with_relief(relief).fret_mm)


def drawn_body(
    rng: np.random.Generator,
    *,
    conductance_s_kg: float = 1.5e-3,
    low_hz: float = 80.0,
    high_hz: float = 4000.0,
    per_octave: float = 5.0,
) -> tuple[Resonance, ...]:
    """Return resonances of a body and neck of no particular guitar, to add to `SimGuitar`.

    They make neighbouring notes ring unequally long, as on every real instrument: with a median
    peak of 1.5e-3 s/kg the first partials' decay rates scatter by about a tenth around their
    trend and the worst note falls about twice as fast (invented numbers, in the range of
    published conductances of guitars).

    Parameters
    ----------
    rng
        Source of their frequencies, heights and widths.
    conductance_s_kg
        Median of the peaks; they scatter by a factor of about 2.
    low_hz, high_hz, per_octave
        Range, and how many there are.
    """
    octaves = float(np.log2(high_hz / low_hz))
    count = int(rng.poisson(per_octave * octaves))
    frequencies = np.sort(low_hz * 2.0 ** (octaves * rng.random(count)))
    peaks = conductance_s_kg * np.exp(rng.normal(0.0, 0.7, count))
    qs = rng.uniform(15.0, 60.0, count)
    return tuple(
        Resonance(frequency_hz=float(f), conductance_s_kg=float(g), q=float(q))
        for f, g, q in zip(frequencies, peaks, qs, strict=True)
    )


def _check_fault(guitar: Guitar, fault: Fault) -> None:
    if fault.kind in {"fret", "rising end"} and (
        fault.fret is None or not 1 <= fault.fret <= guitar.frets
    ):
        raise GuitarError(
            f'fault "{fault.kind}": fret is {fault.fret}, need 1 to {guitar.frets}; '
            "name the fret it sits at"
        )
    for string in fault.strings or ():
        if string not in guitar.strings:
            raise GuitarError(
                f'fault "{fault.kind}": string {string} is not on this guitar, '
                f"need 1 to {guitar.n_strings}"
            )
