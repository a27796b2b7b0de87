"""Jobs: what a folder holds, which guitar is whose, and where reports go."""

from __future__ import annotations

import dataclasses
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from buzzscan import jobs
from buzzscan.comparefile import write_comparison_json
from buzzscan.comparison import Comparison
from buzzscan.errors import UnreadableFileError
from buzzscan.jobs import Job, comparison_folder, default_folder, jobs_in, run_jobs
from buzzscan.neck.verdict import Bars
from buzzscan.scanfile import write_scan_json
from buzzscan.scanning import Scan


def jobs_of(*paths: Path, guitar: Path | None = None, out: Path | None = None) -> tuple[Job, ...]:
    return jobs_in(paths, guitar=guitar, out_dir=out, bars=Bars(), audience="bench")


@pytest.fixture
def inbox(tmp_path: Path) -> Path:
    for name in ("b.wav", "a.flac", "a.toml", "notes.txt", ".hidden.wav", "walnut/e.wav"):
        path = tmp_path / "inbox" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")
    (tmp_path / "inbox" / "walnut" / "guitar.toml").write_bytes(b"")
    (tmp_path / "inbox" / "letters").mkdir()
    return tmp_path / "inbox"


def test_each_file_and_folder_of_a_folder_is_a_job(inbox: Path) -> None:
    shop = inbox / "shop.toml"
    found = jobs_of(inbox, guitar=shop)
    assert [job.recordings for job in found] == [
        (inbox / "a.flac",),
        (inbox / "b.wav",),
        (inbox / "walnut",),
    ]
    assert [job.guitar for job in found] == [
        inbox / "a.toml",
        shop,
        inbox / "walnut" / "guitar.toml",
    ]
    assert [job.out_dir for job in found] == [Path("reports") / n for n in ("a", "b", "walnut")]


def test_reports_of_the_same_name_are_numbered(tmp_path: Path) -> None:
    takes = [tmp_path / folder / "take.wav" for folder in ("x", "y")]
    found = jobs_of(*takes, out=tmp_path / "out")
    assert [job.out_dir for job in found] == [tmp_path / "out" / n for n in ("take", "take-2")]


def test_a_folder_without_jobs_is_named(inbox: Path) -> None:
    with pytest.raises(UnreadableFileError, match="holds no sound file"):
        jobs_of(inbox / "letters")


def test_a_report_never_takes_the_place_of_another_take(
    make_scan: Callable[..., Scan], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    mine = make_scan()
    take = (Path("before take.wav"),)
    place = default_folder(take, mine)
    assert place == Path("reports/before take")
    place.mkdir(parents=True)
    assert default_folder(take, mine) == Path("reports/before take-2"), "not a report: left alone"
    write_scan_json(mine, place / "scan.json")
    assert default_folder(take, mine) == place
    recording = dataclasses.replace(mine.recordings[0], sha256="1" * 64)
    other = dataclasses.replace(mine, recordings=(recording,))
    assert default_folder(take, other) == Path("reports/before take-2")
    assert default_folder((tmp_path,), mine) == Path("reports") / tmp_path.name


def test_jobs_of_the_same_name_as_an_earlier_one_leave_its_report_alone(
    make_scan: Callable[..., Scan], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    scan = make_scan()
    for shop in ("a", "b"):
        take = tmp_path / shop / "take.wav"
        take.parent.mkdir()
        take.write_bytes(shop.encode())
    recording = dataclasses.replace(scan.recordings[0], sha256=hashlib.sha256(b"a").hexdigest())
    place = Path("reports/take")
    place.mkdir(parents=True)
    write_scan_json(dataclasses.replace(scan, recordings=(recording,)), place / "scan.json")

    def folders(*shops: str) -> list[Path | None]:
        return [job.out_dir for job in jobs_of(*(tmp_path / shop for shop in shops))]

    assert folders("a") == [place], "the same recording again takes the same folder"
    assert folders("b") == [Path("reports/take-2")]
    assert folders("b", "a") == [Path("reports/take-2"), place]
    assert folders("a", "a") == [place, Path("reports/take-2")], "no two of one run share one"
    out = jobs_of(tmp_path / "b", out=tmp_path / "reports")
    assert [job.out_dir for job in out] == [tmp_path / "reports" / "take-2"]


def test_a_comparison_never_takes_the_place_of_another(
    comparison: Comparison, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    place = Path("reports/before-to-after")
    given = (Path("job1/before"), Path("job1/after/scan.json"))
    assert comparison_folder(*given, comparison) == place
    place.mkdir(parents=True)
    assert comparison_folder(*given, comparison) == Path("reports/before-to-after-2"), "not ours"
    write_comparison_json(comparison, place / "compare.json")
    assert comparison_folder(*given, comparison) == place
    recording = dataclasses.replace(comparison.after.recordings[0], sha256="2" * 64)
    after = dataclasses.replace(comparison.after, recordings=(recording,))
    other = dataclasses.replace(comparison, after=after)
    assert comparison_folder(Path("job2/before"), Path("job2/after"), other) == Path(
        "reports/before-to-after-2"
    )


def _dies(job: Job, width: int) -> None:
    os._exit(len(job.recordings) + width)


def test_a_process_that_dies_is_a_failed_job(inbox: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "_run_apart", _dies)
    done = list(run_jobs(jobs_of(inbox / "b.wav"), n_at_once=1))
    assert [d.out_dir for d in done] == [None]
    assert "the process ended before its work was done" in done[0].error
