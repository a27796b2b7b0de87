"""What a comparison may claim: cures, and above all cures that are none."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from buzzscan.comparison import Comparison, compare, place_words
from buzzscan.comparison.spread import spread_of
from buzzscan.comparison.strength import noise_change_db, told_apart
from buzzscan.errors import ComparisonError, RecordingError
from buzzscan.guitar import Guitar
from buzzscan.measures.measured import MeasuredNote
from buzzscan.neck.verdict import Bars, Buzz, Finding, FindingKind, Position
from buzzscan.notes.note import Note
from buzzscan.recording import Recording, RecordingWarning
from buzzscan.scanning import Scan

RATE_HZ = 16000
FIRST_ONSET_S = 1.2
GUITAR = Guitar(tuning=("D3", "G3", "B3", "E4"), frets=12, scale_mm=647.7, name="Walnut offset")
CLEAN_DB, BUZZ_DB, SLIGHT_DB = -60.0, -25.0, -40.0
LEVELS: dict[Buzz, float] = {
    "clean": CLEAN_DB,
    "slight": SLIGHT_DB,
    "buzz": BUZZ_DB,
    "choked": -10.0,
}
HIGH_FRET: dict[tuple[int, int], Buzz] = {(s, f): "buzz" for s in (1, 2, 3) for f in (6, 7, 8)}
SLIGHT: dict[tuple[int, int], Buzz] = {(4, f): "slight" for f in range(1, 8)}


@dataclasses.dataclass
class Noise:
    """Noise alone, or nothing where the sound file is gone."""

    samples: npt.NDArray[np.float32] | None

    def read(self, start: int, stop: int) -> npt.NDArray[np.float32]:
        """Return a stretch of the noise."""
        if self.samples is None:
            raise RecordingError("the sound of this scan cannot be played")
        return self.samples[start:stop]


def made(
    words: Mapping[tuple[int, int], Buzz],
    *,
    guitar: Guitar = GUITAR,
    level_dbfs: float = -12.0,
    noise_dbfs: float | None = -70.0,
    between_dbfs: float | None = None,
    spread_db: float = 1.0,
    contact: Mapping[tuple[int, int], float] | None = None,
    buzz_db: Mapping[tuple[int, int], float] | None = None,
    findings: tuple[Finding, ...] = (),
    seed: int = 1,
    **changes: Any,
) -> Scan:
    """Return a judged neck with these words, clean elsewhere; two passes of every position."""
    noise = None
    if noise_dbfs is not None:
        rng = np.random.default_rng(seed)
        noise = rng.normal(size=2 * RATE_HZ) * 10 ** (noise_dbfs / 20)
    recording = Recording(
        name="take.wav",
        sha256=f"{seed:064d}",
        sample_rate_hz=RATE_HZ,
        file_rate_hz=RATE_HZ,
        n_samples=2 * RATE_HZ,
        peak_dbfs=-3.0,
        noise_dbfs=between_dbfs if between_dbfs is not None else noise_dbfs or -70.0,
        warnings=(),
        path=None,
        source=Noise(None if noise is None else noise.astype(np.float32)),
    )
    notes: list[MeasuredNote] = []
    positions = []
    for string in guitar.strings:
        for fret in range(guitar.frets + 1):
            word = words.get((string, fret), "clean")
            sure = (contact or {}).get((string, fret), 0.02 if word == "clean" else 0.97)
            level = (buzz_db or {}).get((string, fret), LEVELS[word])
            ids = (len(notes) + 1, len(notes) + 2)
            for number, way in zip(ids, ("up", "down"), strict=True):
                note = Note(
                    id=number,
                    recording=0,
                    string=string,
                    fret=fret,
                    direction=way,  # type: ignore[arg-type]
                    onset_s=FIRST_ONSET_S + 0.5 * number,
                    end_s=FIRST_ONSET_S + 0.5 * number + 0.45,
                    pitch_hz=None,
                    placed=1.0,
                    judged=True,
                    reason="",
                )
                values: dict[str, Any] = {
                    f.name: None for f in dataclasses.fields(MeasuredNote)
                } | {"withheld": (), "judged": True, "reason": "", "contact": sure}
                notes.append(MeasuredNote(**values | {"note": note, "attack_dbfs": level_dbfs}))
            measured = dict.fromkeys(f.name for f in dataclasses.fields(Position))
            positions.append(
                Position(
                    **measured
                    | {
                        "string": string,
                        "fret": fret,
                        "notes": ids,
                        "buzz": word,
                        "buzz_db": level,
                        "buzz_spread_db": spread_db,
                        "contact": sure,
                        "cents": 1.0,
                        "t60_s": 5.0,
                        "reason": "",
                    }
                )
            )
    scan = Scan(
        recordings=(recording,),
        guitar=guitar,
        tuning_found=False,
        offset_cents=0.0,
        remarks=(),
        bars=Bars(),
        notes=tuple(notes),
        positions=tuple(positions),
        findings=findings,
    )
    return dataclasses.replace(scan, **changes)


def finding(
    scan: Scan, kind: FindingKind = "high fret", *, strings: tuple[int, ...], fret: int
) -> Finding:
    """Return a finding whose evidence is the buzzing notes of its strings up to its fret."""
    ids = tuple(
        i
        for p in scan.positions
        if p.string in strings and p.fret <= fret and (p.buzz != "clean" or kind == "dead spot")
        for i in p.notes
    )
    return Finding(
        kind=kind,
        strings=strings,
        frets=(fret,),
        confidence=0.9,
        height_mm=None,
        height_low_mm=None,
        height_high_mm=None,
        summary="",
        next_step="",
        notes=ids,
    )


def with_high_fret(scan: Scan, strings: tuple[int, ...] = (1, 2, 3)) -> Scan:
    return dataclasses.replace(scan, findings=(finding(scan, strings=strings, fret=9),))


def before_scan(**options: Any) -> Scan:
    return with_high_fret(made(HIGH_FRET | SLIGHT, **options))


def after_scan(words: Mapping[tuple[int, int], Buzz] = SLIGHT, **options: Any) -> Scan:
    return made(words, **{"seed": 2, **options})


def changes(comparison: Comparison) -> Counter[str]:
    return Counter(p.change for p in comparison.positions)


def change_at(comparison: Comparison, string: int, fret: int) -> str:
    return next(p.change for p in comparison.positions if (p.string, p.fret) == (string, fret))


# Cured, and not


def test_dressed_fret_is_cured_and_the_rest_is_the_same() -> None:
    told = compare(before_scan(), after_scan())
    assert changes(told) == {"cured": 9, "same": 4 * 13 - 9}
    (cause,) = told.findings
    assert (cause.change, cause.summary) == ("cured", "high fret 9 under strings 1-3: cured")
    assert told.strength.alike
    assert "picked alike" in told.remarks[0]


@pytest.mark.parametrize("softer_db", [4.0, 6.0, 12.0])
def test_softer_take_is_no_cure(softer_db: float) -> None:
    told = compare(before_scan(), after_scan({}, level_dbfs=-12.0 - softer_db))
    assert told.strength.pick == "softer"
    counts = changes(told)
    assert counts["cured"] == counts["better"] == 0
    assert counts["not comparable"] == len(HIGH_FRET | SLIGHT)
    assert told.findings[0].change == "not comparable"
    assert "picked softer" in told.remarks[0]
    assert "cannot be shown" in told.summary


@pytest.mark.parametrize("gain_db", [-12.0, 8.0])
def test_another_gain_is_read_through(gain_db: float) -> None:
    after = after_scan(level_dbfs=-12.0 + gain_db, noise_dbfs=-70.0 + gain_db)
    told = compare(before_scan(), after)
    assert told.strength.gain_change_db == pytest.approx(gain_db, abs=0.5)  # dB, noise of 1 s
    assert changes(told)["cured"] == 9
    assert "gain" in told.strength.sentence


def test_softer_take_made_louder_is_no_cure() -> None:
    """As loud as before, with the noise raised by the gain that made up for the pick."""
    told = compare(before_scan(), after_scan({}, noise_dbfs=-64.0))
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_softer_take_with_no_noise_to_go_by_is_no_cure() -> None:
    after = after_scan({}, level_dbfs=-18.0, noise_dbfs=None)
    told = compare(before_scan(noise_dbfs=None), after)
    assert changes(told)["cured"] == 0


def test_tails_between_the_notes_are_not_taken_for_noise() -> None:
    """What lies between the notes falls with the pick where it is made of their tails."""
    before = before_scan(noise_dbfs=None, between_dbfs=-80.0)
    after = after_scan({}, level_dbfs=-18.0, noise_dbfs=None, between_dbfs=-86.0)
    told = compare(before, after)
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_gated_take_gives_no_noise_to_go_by() -> None:
    gate = RecordingWarning(code="gated", message="cut to silence")
    after = after_scan({}, level_dbfs=-24.0, noise_dbfs=-82.0)
    gated = dataclasses.replace(after.recordings[0], warnings=(gate,))
    told = compare(before_scan(), dataclasses.replace(after, recordings=(gated,)))
    assert changes(told)["cured"] == 0


def test_digital_silence_before_the_first_note_tells_nothing() -> None:
    after = after_scan({}, level_dbfs=-24.0, noise_dbfs=-130.0)
    told = compare(before_scan(noise_dbfs=-118.0), after)
    assert told.strength.gain_change_db is None
    assert changes(told)["cured"] == 0


def test_slight_buzz_elsewhere_shows_equal_strength() -> None:
    """Quieter over the same noise, but what nobody touched buzzes as before."""
    told = compare(before_scan(), after_scan(level_dbfs=-18.0))
    assert told.strength.alike
    assert changes(told)["cured"] == 9
    assert "slight buzz elsewhere" in told.strength.sentence


def test_slight_buzz_gone_everywhere_is_suspicious() -> None:
    """Equally loud over equal noise, but one dressed fret cannot silence the fourth string."""
    told = compare(before_scan(), after_scan({}))
    assert told.strength.pick == "unknown"
    assert changes(told)["cured"] == 0


def test_raised_action_may_silence_everything() -> None:
    everywhere = made(HIGH_FRET | SLIGHT)
    low = finding(everywhere, "low action", strings=(1, 2, 3, 4), fret=12)
    told = compare(dataclasses.replace(everywhere, findings=(low,)), after_scan({}))
    assert told.strength.alike
    assert changes(told)["cured"] == 9
    assert told.findings[0].change == "cured"


def test_one_string_picked_softer_does_not_spoil_the_others() -> None:
    after = after_scan()
    soft = tuple(
        dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 7.0) if n.note.string == 2 else n
        for n in after.notes
    )
    before = with_high_fret(made(HIGH_FRET))
    told = compare(before, dataclasses.replace(after, notes=soft))
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == ["cured", "not comparable", "cured"]
    assert "String 2 was picked softer." in told.remarks
    assert not told.strength.alike


def test_one_note_picked_softer_is_not_cured() -> None:
    after = after_scan()
    soft = tuple(
        dataclasses.replace(n, attack_dbfs=n.attack_dbfs - 8.0)
        if (n.note.string, n.note.fret) == (1, 7)
        else n
        for n in after.notes
    )
    told = compare(before_scan(), dataclasses.replace(after, notes=soft))
    assert change_at(told, 1, 7) == "not comparable"
    assert change_at(told, 1, 8) == "cured"


def test_harder_take_shows_cures_but_no_new_faults() -> None:
    new: dict[tuple[int, int], Buzz] = {(4, 11): "buzz"}
    told = compare(before_scan(), after_scan(SLIGHT | new, level_dbfs=-6.0))
    assert told.strength.pick == "harder"
    assert changes(told)["cured"] == 9
    assert change_at(told, 4, 11) == "not comparable"


# Steps between


def test_words_of_change() -> None:
    before = made({(1, 1): "buzz", (1, 2): "slight", (1, 4): "choked", (1, 6): "buzz"})
    after = after_scan({(1, 1): "slight", (1, 3): "buzz", (1, 4): "buzz", (1, 5): "slight"})
    told = compare(before, after)
    wanted = {1: "better", 2: "better", 3: "new", 4: "better", 5: "worse", 6: "cured"}
    assert {f: change_at(told, 1, f) for f in wanted} == wanted
    step = next(p for p in told.positions if (p.string, p.fret) == (1, 1))
    assert step.buzz_change_db == pytest.approx(SLIGHT_DB - BUZZ_DB)


@pytest.mark.parametrize(("spread_db", "change"), [(0.5, "better"), (6.0, "same")])
def test_change_counts_only_beyond_the_spread_of_the_passes(spread_db: float, change: str) -> None:
    place = (2, 8)
    before = made(HIGH_FRET, spread_db=spread_db)
    after = after_scan(HIGH_FRET, spread_db=spread_db, buzz_db={place: BUZZ_DB - 8.0})
    assert change_at(compare(before, after), *place) == change


def test_crossing_a_bar_by_a_hair_is_no_change() -> None:
    before = made({(2, 8): "buzz"}, buzz_db={(2, 8): -34.8})
    after = after_scan({(2, 8): "slight"}, buzz_db={(2, 8): -35.3})
    told = compare(before, after)
    assert change_at(told, 2, 8) == "same"
    assert "within the spread" in next(p.reason for p in told.positions if p.reason)


def test_near_its_threshold_chance_is_no_cure() -> None:
    before = made({(2, 7): "buzz", (2, 8): "buzz"}, contact={(2, 7): 0.6})
    told = compare(before, after_scan({}))
    assert [change_at(told, 2, f) for f in (7, 8)] == ["not comparable", "cured"]
    told = compare(with_high_fret(before, strings=(2,)), after_scan({}))
    assert change_at(told, 2, 7) == "cured", "a cause explains it that is gone beyond doubt"


def _striking(scan: Scan, place: tuple[int, int], until_s: float, *, rate: float) -> Scan:
    """Return the scan with contact at a place that lasts so long, on strings that fall so fast."""
    notes = tuple(
        dataclasses.replace(n, contact_until_s=until_s)
        if (n.note.string, n.note.fret) == place
        else n
        for n in scan.notes
    )
    positions = tuple(
        dataclasses.replace(p, decay_db_per_s=rate, decay_ratio=1.0) for p in scan.positions
    )
    return dataclasses.replace(scan, notes=notes, positions=positions)


@pytest.mark.parametrize(
    ("until_s", "rate", "change"),
    [(0.19, 12.0, "not comparable"), (0.24, 24.0, "cured"), (0.4, 5.0, "cured")],
)
def test_contact_that_ends_at_once_may_be_the_pluck(
    until_s: float, rate: float, change: str
) -> None:
    """0.19 s, told 0.1 s late, at 12 dB/s: an excess of 1 dB, less than plucks differ by."""
    before = _striking(made({(2, 8): "buzz"}), (2, 8), until_s, rate=rate)
    assert change_at(compare(before, after_scan({})), 2, 8) == change


def test_new_contact_that_ends_at_once_may_be_the_pluck() -> None:
    after = _striking(after_scan({(2, 8): "buzz"}), (2, 8), 0.08, rate=10.0)
    assert change_at(compare(made({}), after), 2, 8) == "not comparable"


def test_a_cause_of_brief_contact_alone_explains_nothing() -> None:
    before = _striking(made({(2, 8): "buzz"}), (2, 8), 0.08, rate=10.0)
    told = compare(with_high_fret(before, strings=(2,)), after_scan({}))
    assert change_at(told, 2, 8) == "not comparable"
    assert told.findings[0].change == "not comparable"


def test_three_places_of_a_cause_are_more_than_chance() -> None:
    before = made({(s, 8): "buzz" for s in (1, 2, 3)})
    for string in (1, 2, 3):
        before = _striking(before, (string, 8), 0.08, rate=10.0)
    told = compare(with_high_fret(before), after_scan({}))
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == ["cured"] * 3
    assert told.findings[0].change == "cured"
    left = after_scan({(2, 8): "buzz"})
    told = compare(with_high_fret(before), left)
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == [
        "not comparable",
        "same",
        "not comparable",
    ]


def test_slightly_softer_take_ends_slight_excess() -> None:
    """2.5 dB softer counts as alike, but contact of 2 dB of excess ends with it."""
    places: dict[tuple[int, int], Buzz] = {(2, 7): "buzz", (2, 8): "buzz"}
    before = _striking(made(places), (2, 7), 0.18, rate=10.0)
    before = _striking(before, (2, 8), 0.45, rate=10.0)
    told = compare(with_high_fret(before, strings=(2,)), after_scan({}, level_dbfs=-14.5))
    assert told.strength.alike
    assert [change_at(told, 2, f) for f in (7, 8)] == ["not comparable", "cured"]


def test_passes_that_contradict_each_other_show_no_step() -> None:
    """A level between a pass that strikes and one that does not moves with the chance of both."""
    before, after = made({(2, 8): "buzz"}), after_scan({(2, 8): "buzz"}, buzz_db={(2, 8): -40.0})
    assert change_at(compare(before, after), 2, 8) == "better"
    first = next(n for n in after.notes if (n.note.string, n.note.fret) == (2, 8))
    notes = tuple(dataclasses.replace(n, contact=0.1) if n is first else n for n in after.notes)
    told = compare(before, dataclasses.replace(after, notes=notes))
    assert change_at(told, 2, 8) == "same"


def test_pooled_variance_is_that_of_the_passes() -> None:
    """Half differences of 3 dB are a variance of 2·3² = 18 dB²; many of them outweigh the usual."""
    many = {(s, f): "buzz" for s in (1, 2, 3, 4) for f in range(13)}
    spread = spread_of([made(many, spread_db=3.0)])
    assert spread.freedom == 52 + 4
    assert spread.sd_db == pytest.approx(((52 * 18 + 4 * 2.5**2) / 56) ** 0.5)
    # t of 56 degrees of freedom, 1 % two-sided: 2.667 (printed tables: 2.660 at 60, 2.704 at 40).
    assert spread.least_change_db(2, 2) == pytest.approx(2.667 * spread.sd_db, rel=1e-3)


@pytest.mark.parametrize(
    ("level", "noise", "pick", "gain"),
    [
        (-12.0, -12.0, "alike", -12.0),
        (-12.0, 0.3, "softer", 0.0),
        (-12.0, -6.0, "softer", -6.0),
        (-6.0, -12.0, "harder", -12.0),
        (0.5, -0.5, "alike", 0.0),
        (0.0, 6.0, "unknown", None),
        (0.0, None, "alike", 0.0),
        (-6.0, None, "unknown", None),
    ],
)
def test_gain_and_pick_are_told_apart(
    level: float, noise: float | None, pick: str, gain: float | None
) -> None:
    found = told_apart(level, noise)
    assert (found[2], found[0]) == (pick, gain)


def test_noise_moves_in_all_bands_or_it_is_no_gain() -> None:
    assert noise_change_db((-80.0, -85.0), (-92.0, -97.5)) == pytest.approx(-12.25)
    assert noise_change_db((-80.0, -85.0), (-71.0, -85.4)) == 0.0, "a lamp hums, the gain stays"
    assert noise_change_db((-80.0, -85.0), (-71.0, -81.0)) is None
    assert noise_change_db((None, -85.0), (None, -85.0)) is None


# Causes


def test_cause_that_is_half_gone_is_better() -> None:
    left = {place: word for place, word in HIGH_FRET.items() if place[0] == 3}
    after = with_high_fret(after_scan(SLIGHT | left), strings=(3,))
    told = compare(before_scan(), after)
    assert told.findings[0].change == "better"
    assert told.findings[0].summary.endswith("better, still there under string 3")
    assert [change_at(told, s, 8) for s in (1, 2, 3)] == ["cured", "cured", "same"]


def test_untouched_cause_is_still_there() -> None:
    after = with_high_fret(after_scan(HIGH_FRET | SLIGHT))
    told = compare(before_scan(), after)
    assert [(f.change, f.summary.split(": ")[1]) for f in told.findings] == [
        ("same", "still there")
    ]
    assert set(changes(told)) == {"same"}


def test_cause_is_not_cured_while_a_place_of_it_was_not_heard_again() -> None:
    after = after_scan()
    lost = tuple(
        dataclasses.replace(p, buzz=None, reason="not played")
        if (p.string, p.fret) == (3, 8)
        else p
        for p in after.positions
    )
    told = compare(before_scan(), dataclasses.replace(after, positions=lost))
    assert told.findings[0].change == "better"


def test_level_that_the_pick_explains_is_no_change() -> None:
    """2.9 dB softer counts as alike and makes some 5 dB less buzz by itself."""
    place = (2, 8)
    after = after_scan(HIGH_FRET, buzz_db={place: BUZZ_DB - 6.0}, level_dbfs=-14.9)
    told = compare(made(HIGH_FRET, spread_db=0.5), after)
    assert told.strength.alike
    assert change_at(told, *place) == "same"
    after = after_scan(HIGH_FRET, buzz_db={place: BUZZ_DB - 6.0})
    assert change_at(compare(made(HIGH_FRET, spread_db=0.5), after), *place) == "better"


def test_new_cause_is_new() -> None:
    after = with_high_fret(after_scan(HIGH_FRET | SLIGHT))
    told = compare(made(SLIGHT), after)
    assert [f.change for f in told.findings] == ["new"]
    assert changes(told)["new"] == 9


def test_another_name_for_the_same_buzz_is_not_new() -> None:
    after = after_scan(HIGH_FRET | SLIGHT)
    renamed = finding(after, "low action", strings=(1, 2, 3), fret=12)
    told = compare(made(HIGH_FRET | SLIGHT), dataclasses.replace(after, findings=(renamed,)))
    assert [f.change for f in told.findings] == ["same"]


@pytest.mark.parametrize(
    ("ratio", "still", "change"),
    [(1.0, "found", "same"), (1.6, "", "cured"), (1.1, "", "same"), (0.6, "found", "worse")],
)
def test_dead_spot_is_judged_by_how_long_it_rings(
    ratio: float,
    still: str,
    change: str,
) -> None:
    before, after = made({}), after_scan({})
    spot = finding(before, "dead spot", strings=(3,), fret=5)
    spot = dataclasses.replace(spot, notes=spot.notes[-2:])
    longer = tuple(
        dataclasses.replace(p, t60_s=5.0 * ratio) if (p.string, p.fret) == (3, 5) else p
        for p in after.positions
    )
    told = compare(
        dataclasses.replace(before, findings=(spot,)),
        dataclasses.replace(after, positions=longer, findings=(spot,) if still else ()),
    )
    assert [f.change for f in told.findings] == [change]


def test_places_in_words() -> None:
    assert place_words("high fret", (3, 1, 2, 6), (9,)) == "high fret 9 under strings 1-3, 6"
    assert place_words("dead spot", (3,), (5,)) == "dead spot at string 3 fret 5"
    assert place_words("saddle", (2,), ()) == "saddle at string 2"


# What cannot be compared


def _guitar(**values: Any) -> Guitar:
    return dataclasses.replace(GUITAR, **values)


@pytest.mark.parametrize(
    ("other", "message"),
    [
        (_guitar(tuning=("C3", "G3", "B3", "E4")), "tunings differ: before D3 G3 B3 E4"),
        (_guitar(tuning=("G3", "B3", "E4")), "tunings differ"),
        (_guitar(frets=14), "number of frets is 12 before and 14 after"),
        (_guitar(scale_mm=628.0), "scale in mm is 647.7 before and 628.0 after"),
        (_guitar(capo=2), "capo is 0 before and 2 after"),
        (_guitar(a4_hz=432.0), "a4_hz is 440.0 before and 432.0 after"),
    ],
)
def test_other_guitars_are_refused_with_the_reason(other: Guitar, message: str) -> None:
    with pytest.raises(ComparisonError, match=message):
        compare(made({}), after_scan({}, guitar=other))


@pytest.mark.parametrize(
    "same",
    [_guitar(scale_mm=648.0), _guitar(scale_mm=None), _guitar(tuning=("D3-8c", "G3", "B3", "E4"))],
)
def test_slips_of_the_pen_are_not_other_guitars(same: Guitar) -> None:
    assert set(changes(compare(made({}), after_scan({}, guitar=same)))) == {"same"}


def test_other_names_and_other_strings_are_remarked() -> None:
    def stiff(scan: Scan, factor: float) -> Scan:
        notes = tuple(
            dataclasses.replace(n, inharmonicity=4e-5 * (factor if n.note.string == 1 else 1.0))
            for n in scan.notes
        )
        return dataclasses.replace(scan, notes=notes)

    other = after_scan({}, guitar=_guitar(name="Cedar six"))
    told = compare(stiff(made({}), 1.0), stiff(other, 1.8))
    assert any('"Walnut offset" and "Cedar six"' in r for r in told.remarks)
    assert any(r.startswith("String 1 sounds of another stiffness") for r in told.remarks)
    quiet = compare(stiff(made({}), 1.0), stiff(after_scan({}), 1.15))
    assert len(quiet.remarks) == 1


def test_same_recording_twice_is_remarked() -> None:
    scan = before_scan()
    told = compare(scan, scan)
    assert any("same recording" in remark for remark in told.remarks)
    assert set(changes(told)) == {"same"}


def test_nothing_in_common_is_refused() -> None:
    scan = made({})
    silent = tuple(dataclasses.replace(n, judged=False) for n in scan.notes)
    with pytest.raises(ComparisonError, match="no position was judged in both"):
        compare(scan, dataclasses.replace(scan, notes=silent))


def test_unjudged_positions_say_why() -> None:
    after = after_scan({})
    lost = tuple(
        dataclasses.replace(p, buzz=None, reason="not played") if p.fret == 12 else p
        for p in after.positions
    )
    told = compare(made({}), dataclasses.replace(after, positions=lost))
    assert {p.reason for p in told.positions if p.change == "not comparable"} == {
        "after: not played"
    }


def test_moved_sound_files_do_not_make_a_cure() -> None:
    """The same pair at another gain: told with its sound, not told without."""
    before = with_high_fret(made(HIGH_FRET))
    cured = []
    for noise in (-82.0, None):
        after = after_scan({}, level_dbfs=-24.0, noise_dbfs=noise, between_dbfs=-82.0)
        cured.append(changes(compare(before, after))["cured"])
    assert cured == [9, 0]
