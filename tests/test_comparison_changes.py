"""Steps of one position: what is more than chance."""

from __future__ import annotations

import dataclasses

import pytest
from necks_by_hand import BUZZ_DB, HIGH_FRET, SLIGHT_DB, after_scan, change_at, made, with_high_fret

from buzzscan.comparison import compare
from buzzscan.comparison.spread import spread_of
from buzzscan.neck.positions import TOLD_CONTACT
from buzzscan.neck.verdict import Buzz
from buzzscan.scanning import Scan


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


@pytest.mark.parametrize(("pass_contact", "change"), [(0.93, "not comparable"), (0.6, "new")])
def test_what_struck_in_one_pass_before_is_not_new(pass_contact: float, change: str) -> None:
    before = made({})
    first = next(n for n in before.notes if (n.note.string, n.note.fret) == (2, 8))
    notes = tuple(
        dataclasses.replace(n, contact=pass_contact) if n is first else n for n in before.notes
    )
    after = _striking(after_scan({(2, 8): "buzz"}), (2, 8), 0.4, rate=10.0)
    told = compare(dataclasses.replace(before, notes=notes), after)
    assert change_at(told, 2, 8) == change


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


def _passes(scan: Scan, place: tuple[int, int], contact: tuple[float, float]) -> Scan:
    """Return the scan with contact of each pass over a place, its verdict by the surest one."""
    position = next(p for p in scan.positions if (p.string, p.fret) == place)
    of = dict(zip(position.notes, contact, strict=True))
    word: Buzz = "buzz" if max(contact) >= TOLD_CONTACT else "clean"
    return dataclasses.replace(
        scan,
        notes=tuple(
            dataclasses.replace(n, contact=of.get(n.note.id, n.contact)) for n in scan.notes
        ),
        positions=tuple(
            dataclasses.replace(p, contact=max(contact), buzz=word) if p is position else p
            for p in scan.positions
        ),
    )


@pytest.mark.parametrize(
    ("before", "after", "change", "reason"),
    [
        ((0.6, 0.02), (0.97, 0.97), "worse", "before, hardly a pass struck"),
        ((0.97, 0.97), (0.6, 0.02), "not comparable", "after, one pass struck a fret or nearly"),
        ((0.6, 0.02), (0.02, 0.02), "same", "before, one pass may have struck"),
        ((0.02, 0.02), (0.6, 0.02), "same", "after, one pass may have struck"),
        ((0.97, 0.02), (0.02, 0.02), "not comparable", "in some of the passes only"),
        ((0.97, 0.97), (0.02, 0.02), "cured", ""),
    ],
)
def test_a_change_does_not_hang_on_one_doubtful_pass(
    before: tuple[float, float], after: tuple[float, float], change: str, reason: str
) -> None:
    place = (2, 8)
    told = compare(
        _passes(made({place: "buzz"}), place, before),
        _passes(after_scan({place: "buzz"}), place, after),
    )
    position = next(p for p in told.positions if (p.string, p.fret) == place)
    assert position.change == change
    assert reason in position.reason
    assert bool(position.reason) == bool(reason)


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


def test_more_passes_are_not_taken_for_more_spread() -> None:
    """A third pass between two others adds to what is known and not to the variance."""
    scan = made({(1, f): "buzz" for f in range(13)}, spread_db=3.0)
    middle = [
        dataclasses.replace(
            n, buzz_db=BUZZ_DB, note=dataclasses.replace(n.note, id=n.note.id + 500)
        )
        for n in scan.notes
        if n.note.string == 1 and n.note.direction == "up"
    ]
    spread = spread_of([dataclasses.replace(scan, notes=(*scan.notes, *middle))])
    assert spread.freedom == 2 * 13 + 4
    # each place holds −3, 0 and +3 dB about its middle: 18 dB² in two degrees of freedom
    assert spread.sd_db == pytest.approx(((13 * 18 + 4 * 2.5**2) / 30) ** 0.5)


def test_level_that_the_pick_explains_is_no_change() -> None:
    """2.9 dB softer counts as alike and makes some 5 dB less buzz by itself."""
    place = (2, 8)
    after = after_scan(HIGH_FRET, buzz_db={place: BUZZ_DB - 6.0}, level_dbfs=-14.9)
    told = compare(made(HIGH_FRET, spread_db=0.5), after)
    assert told.strength.alike
    assert change_at(told, *place) == "same"
    after = after_scan(HIGH_FRET, buzz_db={place: BUZZ_DB - 6.0})
    assert change_at(compare(made(HIGH_FRET, spread_db=0.5), after), *place) == "better"
