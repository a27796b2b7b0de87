"""The view says what the scan holds: nothing is lost, nothing is judged anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from buzzscan.guitar import Guitar
from buzzscan.neck.verdict import CONTACT_KINDS, Position
from buzzscan.report import words
from buzzscan.report.neck_view import neighbour_of
from buzzscan.report.view import view_of
from buzzscan.scanning import Scan


def test_every_cell_takes_its_verdict_from_its_position(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    assert [layer.key for layer in view.layers] == ["buzz", "sustain", "pitch"]
    for layer in view.layers:
        for row in layer.rows:
            for fret, cell in enumerate(row.cells):
                position = next(
                    p for p in neck_scan.positions if (p.string, p.fret) == (row.string, fret)
                )
                word = getattr(position, layer.key)
                assert cell.tone.word == (word or "not played")


def test_per_fret_row_counts_faulty_strings(neck_scan: Scan) -> None:
    buzz, sustain, pitch = view_of(neck_scan).layers
    assert {f: n for f, n in enumerate(buzz.foot) if n} == {8: "3", 9: "3"}
    assert {f: n for f, n in enumerate(sustain.foot) if n} == {14: "1"}
    assert {f: n for f, n in enumerate(pitch.foot) if n} == {20: "1", 21: "1", 22: "1"}


def test_neighbour_is_the_nearest_clean_note_of_the_string(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    assert view.positions["6-9"].neighbour == "6-10"
    assert view.positions["6-7"].neighbour == "6-6"
    assert view.positions["3-14"].neighbour in {"3-13", "3-15"}


def test_neighbour_is_on_the_same_fret_where_the_string_has_none(neck_scan: Scan) -> None:
    by_place = {
        (p.string, p.fret): replace(p, buzz="buzz") if p.string == 6 else p
        for p in neck_scan.positions
    }
    found = neighbour_of(by_place[6, 12], by_place)
    assert found is not None
    assert (found.string, found.fret) == (5, 12)


def test_no_clean_note_means_no_neighbour(neck_scan: Scan) -> None:
    by_place: dict[tuple[int, int], Position] = {
        (p.string, p.fret): replace(p, buzz="buzz") for p in neck_scan.positions
    }
    assert neighbour_of(by_place[6, 12], by_place) is None


def test_a_neighbour_that_may_strike_stands_back(neck_scan: Scan) -> None:
    by_place = {(p.string, p.fret): p for p in neck_scan.positions}
    found = neighbour_of(by_place[6, 12], by_place)
    assert found is not None
    by_place[found.string, found.fret] = replace(found, contact=0.3)
    other = neighbour_of(by_place[6, 12], by_place)
    assert other is not None
    assert (other.string, abs(other.fret - 12)) == (6, abs(found.fret - 12))
    assert other.fret != found.fret


def test_findings_keep_their_order_and_words(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    assert [f.kind for f in view.findings] == ["high fret", "dead spot"]
    first, second = view.findings
    assert first.summary.replace("\u00a0", " ") == neck_scan.findings[0].summary
    assert first.next_step.replace("\u00a0", " ") == neck_scan.findings[0].next_step
    assert view.first_step == "Rock a short straightedge over frets 9, 10 and 11 on the bass side."
    assert first.height == "0.11\u00a0mm (0.07 to 0.16\u00a0mm)"
    assert second.height == "", "no height where it cannot be told"
    assert first.keys[0] in {"4-9", "5-9", "6-9"}, "the strongest contact is shown first"
    assert len(first.keys) == 9
    assert first.evidence == "frets\u00a07–9, strings\u00a04–6"
    assert view.first_key == first.keys[0]


def test_buzz_has_a_number_only_where_contact_is_told(neck_scan: Scan) -> None:
    """The measure is there for every note; of a clean one it is no buzz."""
    view = view_of(neck_scan)
    by_place = {(p.string, p.fret): p for p in neck_scan.positions}
    assert any(p.buzz == "clean" and p.buzz_db is not None for p in neck_scan.positions)
    for row in view.layers[0].rows:
        for fret, cell in enumerate(row.cells):
            told = by_place[row.string, fret].buzz not in {None, "clean"}
            assert bool(cell.value) == told, (row.string, fret)
            numbers = dict(view.positions[f"{row.string}-{fret}"].numbers)
            for name in ("Buzz", "Buzz through an amp"):
                assert (numbers[name] != words.DASH) == told, (row.string, fret)


def test_unmeasured_values_are_dashes(neck_scan: Scan) -> None:
    unplayed = view_of(neck_scan).positions["1-22"]
    assert not unplayed.played
    assert unplayed.reason == "not played"
    assert {name: value for name, value in unplayed.numbers if name != "Notes heard"} == (
        dict.fromkeys((name for name, _ in unplayed.numbers if name != "Notes heard"), "–")
    )


def test_buzz_without_a_cause_is_named_beside_findings_of_pitch(neck_scan: Scan) -> None:
    saddle = replace(neck_scan.findings[0], kind="saddle", frets=(12,), strings=(6,))
    headline = view_of(replace(neck_scan, findings=(saddle,))).headline.replace("\u00a0", " ")
    assert headline.startswith("Saddle: fret 12, string 6")
    assert "; no cause found: 1 position chokes (fret 9, string 6), 5 positions buzz" in headline
    assert "no cause found" not in view_of(neck_scan).headline


def test_counts_and_headline(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    assert view.counts.replace("\u00a0", " ") == (
        "272 notes found, 272 judged; 136 of 138 positions played"
    )
    assert view.headline.startswith("High fret: fret\u00a010, strings\u00a04–6")


def test_a_neck_played_in_part_is_sound_in_that_part_only(neck_scan: Scan) -> None:
    sound = [replace(p, buzz="clean", sustain="rings") for p in neck_scan.positions if p.notes]
    clean = replace(neck_scan, findings=(), positions=tuple(sound))
    assert view_of(clean).headline.replace("\u00a0", " ") == (
        "Nothing stands out: no fault found, with buzz told from −35 dB"
    )
    silent = [replace(p, notes=(), buzz=None, sustain=None, pitch=None) for p in sound[5:]]
    part = replace(clean, positions=(*sound[:5], *silent))
    assert view_of(part).headline.replace("\u00a0", " ") == (
        "Nothing stands out in the 5 positions judged, of 136: no fault found, with buzz told "
        "from −35 dB"
    )


def test_a_position_picked_without_a_note_is_not_blank(neck_scan: Scan) -> None:
    """What chokes at once leaves no note: the map must not pass over it as not played."""
    first, *rest = neck_scan.positions
    assert first.notes
    reason = "no note where there was time for one: choked, or left out"
    silent = replace(
        first, notes=(), buzz=None, sustain=None, pitch=None, reason=reason, silent=True
    )
    view = view_of(replace(neck_scan, positions=(silent, *rest)))
    cells = [layer.rows[0].cells[first.fret] for layer in view.layers]
    assert {cell.tone.key for cell in cells} == {"unjudged"}
    assert reason in cells[0].spoken
    assert view.counts.replace(" ", " ").endswith(
        "136 of 138 positions played, 1 of them without a note"
    )


def test_passes_that_disagree_are_marked(neck_scan: Scan) -> None:
    at = next(i for i, p in enumerate(neck_scan.positions) if p.buzz == "buzz")
    positions = list(neck_scan.positions)
    assert not positions[at].doubtful
    reason = "passes disagree: contact 95 % and 2 %"
    positions[at] = replace(positions[at], reason=reason, passes_disagree=True)
    view = view_of(replace(neck_scan, positions=tuple(positions)))
    doubtful = [
        (layer.key, row.string, fret)
        for layer in view.layers
        for row in layer.rows
        for fret, cell in enumerate(row.cells)
        if cell.doubtful
    ]
    assert doubtful == [("buzz", positions[at].string, positions[at].fret)]
    marks = {cell.mark for row in view.layers[0].rows for cell in row.cells}
    assert {"B", "B?"} <= marks
    assert not replace(positions[at], buzz="clean").doubtful


def test_clean_neck_says_so(neck_scan: Scan) -> None:
    positions = tuple(
        replace(p, buzz=p.buzz and "clean", sustain=p.sustain and "rings")
        for p in neck_scan.positions
    )
    clean = replace(neck_scan, findings=(), positions=positions)
    assert "no fault found" in view_of(clean).headline


def test_what_is_bad_without_a_cause_is_said(neck_scan: Scan) -> None:
    # more than three are counted, not named
    assert view_of(replace(neck_scan, findings=())).headline.replace("\u00a0", " ") == (
        "No cause found: 1 position chokes (fret 9, string 6), 5 positions buzz, "
        "1 position is dead (fret 14, string 3)"
    )


def test_what_is_bad_without_a_cause_is_shown_first_and_played_again(neck_scan: Scan) -> None:
    view = view_of(replace(neck_scan, findings=()))
    assert view.first_key == "6-9"
    assert view.first_step.startswith("Play it again")
    assert "look there for a loose fret" in view.first_step
    assert view.unexplained == "", "the headline says it"
    assert "Play it again" not in view_of(neck_scan).first_step
    dead = tuple(replace(p, buzz=p.buzz and "clean") for p in neck_scan.positions)
    step = view_of(replace(neck_scan, findings=(), positions=dead)).first_step
    assert step.startswith("Play it again")
    assert "loose fret" not in step


def test_buzz_that_no_finding_explains_is_said_after_them(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    first = neck_scan.findings[0]
    explained = {i for f in neck_scan.findings if f.kind in CONTACT_KINDS for i in f.notes}
    left = [p for p in neck_scan.positions if p.buzz == "buzz" and explained.isdisjoint(p.notes)]
    assert bool(view.unexplained) == bool(left)
    only_pitch = replace(first, kind="tuning", notes=())
    pitched = view_of(replace(neck_scan, findings=(only_pitch,)))
    assert "no cause found" in pitched.headline
    assert pitched.unexplained == "", "the headline says it"
    fewer = replace(first, notes=())
    told = view_of(replace(neck_scan, findings=(fewer, *neck_scan.findings[1:]))).unexplained
    assert told.replace("\u00a0", " ").startswith(
        "No cause found: 1 position chokes (fret 9, string 6), 5 positions buzz. Play it again"
    )
    sound = tuple(replace(p, buzz=p.buzz and "clean") for p in neck_scan.positions)
    assert view_of(replace(neck_scan, positions=sound)).unexplained == ""


def test_nothing_judged_says_so(neck_scan: Scan) -> None:
    notes = tuple(replace(n, judged=False, reason="clipped") for n in neck_scan.notes)
    assert view_of(replace(neck_scan, notes=notes, findings=())).headline == (
        "No note could be judged"
    )


def test_notes_carry_one_anchor_per_position(neck_scan: Scan) -> None:
    view = view_of(neck_scan)
    anchors = [note.anchor for note in view.notes if note.anchor]
    assert len(anchors) == len(set(anchors)) == 136
    assert all(len(note.columns) == len(view.note_headers) for note in view.notes)


@pytest.mark.parametrize("n_frets", [1, 24, 36])
def test_any_neck_has_a_view(make_scan: Callable[..., Scan], neck_scan: Scan, n_frets: int) -> None:
    tuning = ("B0", "E1", "A1", "D2")
    guitar = replace(neck_scan.guitar, tuning=tuning, frets=n_frets, action_12_mm=None)
    view = view_of(make_scan(guitar))
    assert len(view.layers[0].rows) == 4
    assert len(view.layers[0].fret_labels) == n_frets + 1


def test_capo_is_where_the_open_strings_are(
    make_scan: Callable[..., Scan], neck_scan: Scan
) -> None:
    view = view_of(make_scan(replace(neck_scan.guitar, capo=2)))
    assert view.layers[0].open_column == 2
    assert view.layers[0].fret_labels[:4] == ("0", "1", "open", "3")
    assert view.positions["6-2"].title.startswith("String 6, open at the capo")
    assert view.positions["6-3"].neighbour == "6-4", "not the open string"
    assert ("Capo", "fret 2") in view.setup


def test_every_interval_says_how_sure_it_is(neck_scan: Scan) -> None:
    method = dict(view_of(neck_scan).method)
    assert "90\u00a0%" in method["Heights"]
    assert "90\u00a0%" in method["± values"]
    assert "half the range of its passes" in method["± values"]


def test_a_ratio_of_falls_is_against_the_string_itself(neck_scan: Scan) -> None:
    """It is the rate over the string's own trend, which is not its neighbours' rate."""
    view = view_of(neck_scan)
    numbers = dict(view.positions["3-14"].numbers)
    ratio = next(p.decay_ratio for p in neck_scan.positions if (p.string, p.fret) == (3, 14))
    assert numbers["Fall against the string's usual"] == f"{ratio:.2f} ×"
    assert not any("neighbours" in tone.meaning for tone in view.layers[1].tones)


def test_a_string_is_labelled_and_titled_alike(make_scan: Callable[..., Scan]) -> None:
    """The map's label, the setup and the titles spell the open note as the guitar does."""
    for tuning, said in (
        (("Eb2", "Ab2", "Db3", "Gb3", "Bb3", "Eb4"), "E♭2 A♭2 D♭3 G♭3 B♭3 E♭4"),
        (("D#2", "G#2", "C#3", "F#3", "A#3", "D#4"), "D♯2 G♯2 C♯3 F♯3 A♯3 D♯4"),
    ):
        view = view_of(make_scan(Guitar(tuning=tuning)))
        notes = said.split()
        assert dict(view.setup)["Tuning"] == said
        assert [row.label for row in view.layers[0].rows] == [
            f"{string}\u2002{notes[-string]}" for string in range(1, 7)
        ]
        for string in range(1, 7):
            title = view.positions[f"{string}-0"].title
            assert title == f"String {string}, open · {notes[-string]}"
