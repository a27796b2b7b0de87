"""Jobs: what a folder holds, which guitar is whose, and where reports go."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from buzzscan import jobs
from buzzscan.errors import UnreadableFileError
from buzzscan.jobs import Job, default_folder, jobs_in, run_jobs
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


def _dies(job: Job, width: int) -> None:
    os._exit(len(job.recordings) + width)


def test_a_process_that_dies_is_a_failed_job(inbox: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "_run_apart", _dies)
    done = list(run_jobs(jobs_of(inbox / "b.wav"), n_at_once=1))
    assert [d.out_dir for d in done] == [None]
    assert "the process ended before its work was done" in done[0].error
