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

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from buzzscan.errors import GuitarError
from buzzscan.guitar import Guitar
from buzzscan.simulate.geometry import StringLine, string_line
from buzzscan.simulate.strings import (
    StringSpec,
    fretting_stretch_cents,
    string_from_gauge,
    string_from_pitch,
)

__all__ = ["Fault", "FaultKind", "Resonance", "SimGuitar"]

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
    """One resonance of the neck: a dead spot at every position that sounds its frequency.

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
        Damper of a strike in N·s/m; a string's own wave impedance is 0.1 to 1.
    compensated
        Whether each saddle is set so that fret 12 is in tune.
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
    contact_damping: float = 0.04
    compensated: bool = True
    _lines: dict[int, StringLine] = field(default_factory=dict, repr=False, compare=False)

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
        specs = []
        for i in range(n):
            open_hz = guitar.pitch_hz(n - i, 0)
            if guitar.gauges_mm is None:
                spec = string_from_pitch(open_hz, scale_m=scale / 1e3, bass=bass)
            else:
                gauge = guitar.gauges_mm[i]
                wound = gauge > 0.47 if guitar.wound is None else guitar.wound[i]
                spec = string_from_gauge(gauge, wound=wound, open_hz=open_hz, scale_m=scale / 1e3)
            specs.append(spec)
        made = cls(
            guitar=guitar,
            scale_mm=scale,
            relief_mm=TYPICAL_RELIEF_MM if guitar.relief_mm is None else guitar.relief_mm,
            nut_gap_mm=TYPICAL_NUT_GAP_MM if guitar.nut_gap_mm is None else guitar.nut_gap_mm,
            action_12_mm=action,
            strings=tuple(specs),
        )
        made = replace(made, **changes, _lines={})  # type: ignore[arg-type]
        for fault in made.faults:
            _check_fault(guitar, fault)
        return made

    def _for_string(self, kind: FaultKind, string: int) -> float:
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
        errors[0] = self._for_string("nut slot", string)
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
        if string not in self._lines:
            relief = self.relief_mm + self._for_string("relief", string)
            # A neck that bows less brings the frets up under the string: the saddle and the
            # nut stay where they are, so action and nut gap of the fault-free neck fix them.
            true = string_line(
                scale_mm=self.scale_mm,
                frets=self.guitar.frets,
                action_12_mm=self.action_12_mm[-string] + self._for_string("action", string),
                nut_gap_mm=self.nut_gap_mm,
                relief_mm=self.relief_mm,
                errors_mm=self.height_errors_mm(string),
            )
            if relief != self.relief_mm:
                other = string_line(
                    scale_mm=self.scale_mm,
                    frets=self.guitar.frets,
                    action_12_mm=1.0,
                    nut_gap_mm=1.0,
                    relief_mm=relief,
                    errors_mm=self.height_errors_mm(string),
                )
                true = replace(true, fret_mm=other.fret_mm)
            self._lines[string] = true
        return self._lines[string]

    def length_mm(self, string: int, fret: int) -> float:
        """Return the vibrating length of a position: compensated, saddle fault included."""
        line = self.line(string)
        saddle = self._compensation_mm(string) + self._for_string("saddle", string)
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
        return self._for_string("tuning", string)

    def conductance(self, frequency_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the neck's conductance in s/kg at frequencies in Hz, same shape."""
        total = np.zeros_like(frequency_hz)
        for r in self.resonances:
            detune = r.q * (frequency_hz / r.frequency_hz - r.frequency_hz / frequency_hz)
            total += r.conductance_s_kg / (1.0 + detune**2)
        return total


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
