"""Repeated takes of one guitar."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from buzzscan.comparison import compare
from buzzscan.errors import ComparisonError
from buzzscan.guitar import Guitar
from buzzscan.repeating import MEASURES, repeat
from buzzscan.report import render_repeat_terminal
from buzzscan.scanning import Scan

SD = {"cents": 0.4, "decay_db_per_s": 1.5, "buzz_db": 2.0, "buzz_amp_db": 2.0, "contact": 0.01}


def repeated(scan: Scan, n_takes: int, *, seed: int = 3) -> list[Scan]:
    """Return takes of a neck whose measures scatter by known amounts."""
    rng = np.random.default_rng(seed)
    takes = []
    for number in range(n_takes):
        positions = tuple(
            dataclasses.replace(
                p,
                **{
                    name: getattr(p, name) + sd * rng.normal()
                    for name, sd in SD.items()
                    if getattr(p, name) is not None
                },
            )
            for p in scan.positions
        )
        recording = dataclasses.replace(scan.recordings[0], sha256=f"{number:064d}")
        takes.append(dataclasses.replace(scan, positions=positions, recordings=(recording,)))
    return takes


def test_spread_of_each_measure_is_found(neck_scan: Scan) -> None:
    told = repeat(repeated(neck_scan, 4))
    lines = {line.measure: line.study for line in told.lines}
    assert list(lines) == [name for name, *_ in MEASURES]
    for measure, sd in (("pitch", 0.4), ("decay", 1.5)):
        study = lines[measure]
        assert study is not None
        # 136 positions, 3 degrees of freedom each: the spread is known to 3.5 %.
        assert study.repeatability == pytest.approx(sd, rel=0.12), measure
        assert study.smallest_real_change == pytest.approx(1.96 * 2**0.5 * study.repeatability)
    assert told.agreement_ratio == 1.0
    assert told.remarks == ()


def test_buzz_is_studied_where_there_is_buzz(neck_scan: Scan) -> None:
    buzzing = sum(p.buzz not in {None, "clean"} for p in neck_scan.positions)
    study = next(x.study for x in repeat(repeated(neck_scan, 3)).lines if x.measure == "buzz")
    assert study is not None
    assert study.n_parts == buzzing
    assert study.repeatability == pytest.approx(2.0, rel=0.5)  # 9 places, 18 degrees of freedom


def test_choked_notes_say_nothing_about_pitch(neck_scan: Scan) -> None:
    """A string on the next fret sounds a semitone high, now and then."""
    one, other = repeated(neck_scan, 2)
    high = tuple(
        dataclasses.replace(p, cents=100.0) if p.buzz == "choked" else p for p in other.positions
    )
    told = repeat([one, dataclasses.replace(other, positions=high)])
    study = next(x.study for x in told.lines if x.measure == "pitch")
    assert study is not None
    assert study.repeatability == pytest.approx(0.4, rel=0.2)  # 135 degrees of freedom


def test_a_real_change_of_the_study_is_one_to_the_comparison(neck_scan: Scan) -> None:
    """What `repeat` calls chance, `compare` calls the same."""
    one, other = repeated(neck_scan, 2)
    told = {p.change for p in compare(one, other).positions if p.buzz_before is not None}
    assert told == {"same"}


def test_verdicts_that_differ_lower_the_agreement(neck_scan: Scan) -> None:
    one, other = repeated(neck_scan, 2)
    flipped = tuple(
        dataclasses.replace(p, buzz="slight") if p.fret == 0 else p for p in other.positions
    )
    told = repeat([one, dataclasses.replace(other, positions=flipped)])
    judged = sum(p.buzz is not None for p in one.positions)
    assert told.agreement_ratio == pytest.approx(1.0 - 6 / judged)


def test_clean_neck_has_no_buzz_to_study(neck_scan: Scan) -> None:
    takes = [
        dataclasses.replace(t, positions=tuple(p for p in t.positions if p.buzz == "clean"))
        for t in repeated(neck_scan, 2)
    ]
    line = next(x for x in repeat(takes).lines if x.measure == "buzz")
    assert line.study is None
    assert line.reason == "not studied: 0 positions have it in every take, need 2"


def test_contact_is_not_studied_where_the_positions_do_not_differ(neck_scan: Scan) -> None:
    """A neck where nothing strikes says nothing of how contact would vary where something does."""
    one, other = repeated(neck_scan, 2)
    takes = [
        dataclasses.replace(
            take, positions=tuple(dataclasses.replace(p, contact=value) for p in take.positions)
        )
        for take, value in ((one, 0.1), (other, 0.25))
    ]
    told = repeat(takes)
    line = next(x for x in told.lines if x.measure == "contact")
    assert (line.study, line.reason) == (None, "not studied: the positions do not differ in it")
    assert "contact    not studied: the positions" in render_repeat_terminal(told)
    assert next(x for x in repeat([one, other]).lines if x.measure == "contact").study is not None


def test_takes_picked_otherwise_are_remarked(neck_scan: Scan) -> None:
    one, other = repeated(neck_scan, 2)
    soft = tuple(dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 8.0) for n in other.notes)
    told = repeat([one, dataclasses.replace(other, notes=soft)])
    assert told.remarks[0].startswith("Take 2 was not played like take 1 (-8.0 dB)")


def test_takes_of_different_states_are_warned_of(neck_scan: Scan) -> None:
    one, other = repeated(neck_scan, 2)
    dressed = tuple(
        dataclasses.replace(p, buzz="clean", contact=0.01) if p.buzz == "buzz" else p
        for p in other.positions
    )
    quiet = tuple(dataclasses.replace(n, contact=0.01) for n in other.notes)
    after = dataclasses.replace(other, positions=dressed, notes=quiet, findings=())
    told = repeat([one, after])
    assert "Take 2 is of another state than take 1" in told.remarks[0]
    assert "use compare for before and after" in told.remarks[0]
    assert "Warning: Take 2 is of another state" in render_repeat_terminal(told)


def test_every_number_has_its_unit(neck_scan: Scan) -> None:
    text = render_repeat_terminal(repeat(repeated(neck_scan, 3)))
    assert max(map(len, text.splitlines())) <= 80
    for measure, unit, _ in MEASURES:
        line = next(x for x in text.splitlines() if x.startswith(measure))
        assert line.count(f" {unit}") == (4 if unit == "%" else 3), line


def test_too_few_or_same_or_other_takes_are_refused(neck_scan: Scan) -> None:
    one, other = repeated(neck_scan, 2)
    with pytest.raises(ComparisonError, match="1 take to repeat, need 2"):
        repeat([one])
    with pytest.raises(ComparisonError, match="takes 1 and 3 hold the same recording"):
        repeat([one, other, one])
    with pytest.raises(ComparisonError, match="tunings differ"):
        repeat([one, dataclasses.replace(other, guitar=Guitar(tuning=("E4",)))])
