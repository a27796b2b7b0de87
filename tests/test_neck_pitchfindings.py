"""Findings on pitch: told only when they matter and are clear of their own error."""

from __future__ import annotations

import dataclasses

import pytest

from buzzscan.neck.intonation import StringPitch
from buzzscan.neck.pitchfindings import pitch_findings
from buzzscan.neck.verdict import Bars, Finding

SCALE_MM = 647.7
IN_TUNE = StringPitch(
    string=2,
    tuning_cents=0.0,
    tuning_error=0.4,
    saddle_cents=0.0,
    saddle_error=0.4,
    nut_cents=0.0,
    nut_error=0.6,
    n_notes=23,
    first_cents=0.0,
)


def found(
    *changes: dict[str, float],
    scale_mm: float | None = SCALE_MM,
    nut_gap_mm: float | None = None,
    capo: int = 0,
) -> tuple[Finding, ...]:
    pitches = [dataclasses.replace(IN_TUNE, **c) for c in changes]  # type: ignore[arg-type]
    return pitch_findings(
        pitches, {}, bars=Bars(), scale_mm=scale_mm, nut_gap_mm=nut_gap_mm, capo=capo
    )


def test_a_string_in_tune_has_none() -> None:
    assert found({}, {"string": 3}) == ()


@pytest.mark.parametrize(
    ("cents", "way", "place"), [(5.35, "back", "sharp"), (-5.35, "forward", "flat")]
)
def test_the_saddle_moves_by_what_the_octave_is_off(cents: float, way: str, place: str) -> None:
    only = found({"saddle_cents": cents})
    assert [f.kind for f in only] == ["saddle"]
    saddle = only[0]
    # 1200/ln 2 · c/L: 2 mm of 647.7 mm are 5.346 cents at the 12th fret, derived
    assert saddle.move_mm == pytest.approx(2.0 if cents > 0.0 else -2.0, abs=0.01)
    assert f"saddle {way}" in saddle.summary
    assert place in saddle.summary


def test_the_interval_of_the_move_is_that_of_the_fit() -> None:
    saddle = found({"saddle_cents": 5.35, "saddle_error": 1.0})[0]
    assert saddle.move_mm is not None
    assert saddle.move_low_mm is not None
    assert saddle.move_high_mm is not None
    # 90 %: 1.645 standard errors of a cent, 647.7/1731.2 mm each
    half = 1.645 * SCALE_MM / 1731.234
    assert saddle.move_high_mm - saddle.move_mm == pytest.approx(half, rel=1e-3)
    assert saddle.move_mm - saddle.move_low_mm == pytest.approx(half, rel=1e-3)


def test_without_a_scale_the_move_is_told_for_100_mm() -> None:
    saddle = found({"saddle_cents": 5.35}, scale_mm=None)[0]
    assert (saddle.move_mm, saddle.move_low_mm, saddle.move_high_mm) == (None, None, None)
    assert "per 100 mm of scale" in saddle.summary


def test_an_error_as_large_as_the_finding_tells_nothing() -> None:
    assert found({"saddle_cents": 5.35, "saddle_error": 3.0}) == ()


def test_a_nut_slot_at_its_bar_is_as_likely_over_as_under_it() -> None:
    # three quarters of the bar for pitch
    bar = 0.75 * Bars().pitch_cents
    (slot,) = found({"nut_cents": bar, "first_cents": bar})
    assert slot.confidence == pytest.approx(0.5)
    (clear,) = found({"nut_cents": bar + 2.0 * 0.6, "first_cents": bar})
    # two standard errors above: the normal distribution's 0.977
    assert clear.confidence == pytest.approx(0.977, abs=1e-3)


def test_a_gap_that_was_measured_to_be_sound_speaks_against_a_high_slot() -> None:
    sharp = {"nut_cents": 0.75 * Bars().pitch_cents + 2.0 * 0.6, "first_cents": 6.0}
    (unmeasured,) = found(sharp)
    (against,) = found(sharp, nut_gap_mm=0.4)
    # a tenth of the odds of 0.977
    assert against.confidence == pytest.approx(0.81, abs=0.01)
    assert "0.40 mm over fret 1 was measured, which speaks against it" in against.summary
    assert found(sharp, nut_gap_mm=0.8) == (unmeasured,)
    hardly = {"nut_cents": 0.75 * Bars().pitch_cents + 0.1, "first_cents": 6.0}
    assert found(hardly)
    assert found(hardly, nut_gap_mm=0.4) == ()


def test_the_nut_comes_before_the_saddle_and_the_saddle_before_tuning() -> None:
    kinds = [
        f.kind
        for f in found(
            {"tuning_cents": 12.0, "string": 1},
            {"saddle_cents": 8.0},
            {"nut_cents": 9.0, "first_cents": 9.0},
        )
    ]
    assert kinds == ["high nut slot", "saddle", "tuning"]


def test_a_capo_hides_the_nut_and_one_string_has_no_others_to_be_tuned_to() -> None:
    assert found({"nut_cents": 9.0, "first_cents": 9.0}, capo=2) == ()
    assert found({"tuning_cents": 12.0}) == ()


def test_a_string_is_out_of_tune_against_the_middle_one() -> None:
    # fretted notes are sharper than open ones, so all open strings lie below the whole
    flat = [{"tuning_cents": -7.0, "string": s} for s in range(1, 6)]
    assert found(*flat) == ()
    (other,) = found(*flat, {"tuning_cents": 2.0, "string": 6})
    assert (other.kind, other.strings) == ("tuning", (6,))
    assert "9.0 cents sharp against the other strings" in other.summary
    # an even number, whose middle two differ
    uneven = [{"tuning_cents": c, "string": s} for s, c in ((1, -4.0), (2, -2.0), (3, -3.0))]
    assert found(*uneven, {"tuning_cents": 3.0, "string": 4}) == ()
    # of two, the one that is farther off
    assert found(*flat[:2]) == ()
    (one,) = found(*({"tuning_cents": c, "string": s} for s, c in ((1, 1.0), (2, -12.0))))
    assert one.strings == (2,)
    assert "13.0 cents flat" in one.summary
