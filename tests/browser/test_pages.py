"""The pages in a real browser: picking, playing, no outside request, accessibility."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from buzzscan.history import history
from buzzscan.report import words, write_history
from buzzscan.scanning import Scan

RIGHT, UP, DOWN, HOME = "\ue014", "\ue013", "\ue015", "\ue011"
"""Code points of keys (W3C WebDriver, section 17.4.2)."""
LAYERS = {
    "report.html": ("buzz", "sustain", "pitch"),
    "compare.html": ("change", "before", "after"),
}
"""Pages with a map to pick from, and its layers."""
PAGES = (*LAYERS, "customer.html", "compare-customer.html", "history.html")
Pages = dict[str, Path]
NOTE_S = 0.3
LEAD_S = 0.03
SLACK_S = 0.06
"""MP3 comes in frames of 576 samples (36 ms at 16 kHz), and players may add one more."""

DECODED = """
const audio = document.querySelector(arguments[0]);
const data = await (await fetchless(audio.src)).arrayBuffer();
const context = new OfflineAudioContext(1, 16000, 16000);
const sound = await context.decodeAudioData(data);
const samples = sound.getChannelData(0);
let peak = 0;
for (const s of samples) peak = Math.max(peak, Math.abs(s));
return [sound.duration, peak];
async function fetchless(uri) {
  const raw = atob(uri.split(",")[1]);
  return new Response(Uint8Array.from(raw, (c) => c.charCodeAt(0)));
}
"""
PLAYED = """
const audio = document.querySelector(arguments[0]);
audio.currentTime = 0;
await audio.play();
await new Promise((done) => { audio.onended = done; setTimeout(done, 4000); });
return [audio.ended, audio.duration, audio.error && audio.error.message];
"""
FAULTS = """
const found = (await axe.run(arguments[0])).violations;
return found.filter((fault) => fault.impact !== "minor").map(
  (fault) => [fault.id, fault.impact, ...fault.nodes.slice(0, 3).map((n) => n.html.slice(0, 120))]
);
"""
SHOWN = """
return ["closer-title", "numbers", "note-label", "clean-label"].map(
  (id) => document.getElementById(id).innerText
).concat(
  document.querySelector("#note-trace .wave").getAttribute("d"),
  document.querySelector("#note-trace image").getAttribute("href"),
  document.querySelector("#falls .one").getAttribute("d"),
  document.getElementById("note-sound").src
);
"""


@pytest.fixture(scope="module")
def pages(
    written: Path,
    compared: Path,
    neck_scan: Scan,
    after_scan: Scan,
    tmp_path_factory: pytest.TempPathFactory,
) -> Pages:
    folder = tmp_path_factory.mktemp("history")
    write_history(history([("before", neck_scan), ("after", after_scan)]), folder)
    folders = (written, compared, folder)
    return {path.name: path for where in folders for path in where.glob("*.html")}


def shown(browser: Any) -> list[str]:
    return list(browser.run(SHOWN))


def test_mouse_picks_a_position(browser: Any, written: Path) -> None:
    browser.open(written / "report.html")
    before = shown(browser)
    assert before[0].startswith("String 4, fret 9"), "the first finding is shown first"
    browser.click('a.cell[data-key="6-9"]')
    after = shown(browser)
    assert after[0] == "String 6, fret 9 · C♯3"
    assert all(old != new for old, new in zip(before[2:], after[2:], strict=True))
    assert "−22.0" in after[1]
    assert "5.00" in after[1], "the clean neighbour's numbers stand beside"


def test_arrow_keys_walk_the_neck(browser: Any, written: Path) -> None:
    browser.open(written / "report.html")
    browser.click('a.cell[data-key="6-9"]')
    titles = []
    for key in (RIGHT, UP, HOME, DOWN):
        browser.press(key)
        titles.append(browser.text("#closer-title").split(" ·")[0])
    assert titles == [
        "String 6, fret 10",
        "String 5, fret 10",
        "String 5, open",
        "String 6, open",
    ]
    focus = browser.run("return document.activeElement.dataset.key")
    stops = browser.run("return document.querySelectorAll('a.cell[tabindex=\"0\"]').length")
    assert (focus, stops) == ("6-0", 1)


def test_upright_neck_walks_the_way_it_looks(browser: Any, written: Path) -> None:
    browser.size(360, 800)
    try:
        browser.open(written / "report.html")
        browser.click('a.cell[data-key="5-3"]')
        browser.press(DOWN)
        below = browser.run("return document.activeElement.dataset.key")
        browser.press(RIGHT)
        right = browser.run("return document.activeElement.dataset.key")
    finally:
        browser.size(1280, 1000)
    assert (below, right) == ("5-4", "4-4")


def test_layers_and_strings_are_picked(browser: Any, written: Path) -> None:
    browser.open(written / "report.html")
    assert browser.text('a.cell[data-key="3-14"]').split() == ["·"]
    browser.click("#layer-sustain")
    assert browser.text('a.cell[data-key="3-14"]').split() == ["D", "1.3"]
    browser.run(
        "const only = document.getElementById('only'); only.value = '3';"
        "only.dispatchEvent(new Event('change'));"
    )
    shown_rows = browser.run(
        "document.getElementById('notes').open = true;"
        "return [...document.querySelectorAll('.note-table tbody tr')]"
        ".filter((r) => r.offsetHeight).map((r) => r.dataset.string)"
    )
    assert set(shown_rows) == {"3"}
    assert len(shown_rows) == 46


def test_comparison_sets_before_beside_after(browser: Any, compared: Path) -> None:
    browser.open(compared / "compare.html")
    browser.click('a.cell[data-key="6-9"]')
    title, numbers, *_ = shown(browser)
    assert title == "String 6, fret 9 · C♯3"
    first = next(line for line in numbers.splitlines() if line.startswith("Buzz\t"))
    assert first.split("\t")[1:] == ["−22.0\u00a0±\u00a00.5\u00a0dB", words.DASH]
    assert browser.text("#closer-verdicts").split("\n")[0].startswith("Change: cured")
    for sound in ("#note-sound", "#clean-sound"):
        duration, _ = browser.run(DECODED, sound)
        assert duration == pytest.approx(NOTE_S + LEAD_S, abs=SLACK_S)


def test_essentials_need_no_script(browser: Any, written: Path) -> None:
    browser.scripts(allowed=False)
    try:
        browser.open(written / "report.html")
        assert not browser.shown("#closer"), "what needs a script is not offered"
        assert browser.shown("table.map")
        assert browser.shown(".findings .next")
        browser.click("#layer-sustain")
        assert browser.shown('a.cell[data-key="3-14"] .of-sustain')
        assert not browser.shown('a.cell[data-key="3-14"] .of-buzz')
        browser.click('a.cell[data-key="6-9"]')
        assert browser.shown("#p6-9"), "a cell leads to its notes, which open"
    finally:
        browser.scripts(allowed=True)


@pytest.mark.parametrize(
    ("page", "sound"),
    [
        ("report.html", "#note-sound"),
        ("report.html", "#clean-sound"),
        ("customer.html", ".pair figure:nth-child(1) audio"),
        ("customer.html", ".pair figure:nth-child(2) audio"),
    ],
)
def test_sound_plays_and_has_the_note_s_length(
    browser: Any, written: Path, page: str, sound: str
) -> None:
    browser.open(written / page)
    duration, peak = browser.run(DECODED, sound)
    assert duration == pytest.approx(NOTE_S + LEAD_S, abs=SLACK_S)
    assert peak > 0.05, "not silence"
    ended, length, error = browser.run(PLAYED, sound)
    assert (ended, error) == (True, None)
    assert length == pytest.approx(NOTE_S + LEAD_S, abs=SLACK_S)


@pytest.mark.parametrize("page", PAGES)
def test_page_is_silent_to_console_and_network(browser: Any, pages: Pages, page: str) -> None:
    browser.open(pages[page])
    if page in LAYERS:
        browser.click('a.cell[data-key="6-9"]')
        browser.click("#both")
    asked = [url for url in browser.requests() if not url.startswith("data:")]
    assert asked == [pages[page].as_uri()]
    assert browser.complaints() == []


def test_policy_blocks_what_the_page_does_not_hold(
    browser: Any, written: Path, tmp_path: Path
) -> None:
    page = tmp_path / "planted.html"
    text = (written / "customer.html").read_text("utf-8")
    planted = '<script>window.planted = 1</script><img src="http://127.0.0.1:9/x.png">'
    page.write_text(text.replace("</main>", planted + "</main>"), "utf-8")
    browser.open(page)
    assert browser.run("return window.planted") is None
    assert any("Content Security Policy" in message for message in browser.complaints())


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("width", [1280, 360])
def test_nothing_runs_over_the_side(browser: Any, pages: Pages, page: str, width: int) -> None:
    browser.size(width, 1000)
    try:
        browser.open(pages[page])
        seen = browser.run(
            "return [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
    finally:
        browser.size(1280, 1000)
    assert seen[0] <= seen[1]


@pytest.mark.parametrize("page", PAGES)
def test_axe_finds_no_serious_fault(browser: Any, pages: Pages, axe: str, page: str) -> None:
    browser.open(pages[page])
    browser.run("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    browser.run(axe)
    faults = browser.run(FAULTS, "body")
    for layer in LAYERS.get(page, ())[1:]:  # the rest of the page does not change with it
        browser.click(f"#layer-{layer}")
        faults += browser.run(FAULTS, ".neck")
    assert not faults, json.dumps(faults, indent=1)
