"""Results come whole or not at all, and never mix."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from buzzscan.errors import OutputError
from buzzscan.outputs import whole_folder


def put(folder: Path, text: str, *names: str) -> None:
    for name in names:
        (folder / name).write_text(text, "utf-8")


def contents(folder: Path) -> dict[str, str]:
    return {p.name: p.read_text("utf-8") for p in folder.iterdir()}


def write_and_fail(out: Path, error: type[BaseException]) -> None:
    with whole_folder(out) as work:
        put(work, "half", "scan.json")
        raise error


def test_files_appear_together_and_what_else_is_there_stays(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "report"
    with whole_folder(out) as work:
        put(work, "one", "scan.json", "notes.csv")
        assert [p for p in out.iterdir() if p != work] == []
    assert contents(out) == {"scan.json": "one", "notes.csv": "one"}
    put(out, "mine", "letter.txt")
    with whole_folder(out) as work:
        put(work, "two", "scan.json")
    assert contents(out) == {"scan.json": "two", "notes.csv": "one", "letter.txt": "mine"}


def test_pages_of_an_earlier_result_are_set_aside_and_never_lost(tmp_path: Path) -> None:
    told: list[str] = []
    names = ("bench.html", "customer.html")

    def run(text: str, *written: str) -> None:
        with whole_folder(tmp_path, pages=names, result="scan.json", tell=told.append) as work:
            put(work, text, "scan.json", *written)

    run("one", *names)
    run("one", "bench.html")
    assert told == []  # the customer's page is of the same result: it stays as it is
    assert set(contents(tmp_path)) == {"scan.json", *names}
    run("two", "bench.html")
    run("two", "customer.html")
    run("three", "bench.html")
    assert contents(tmp_path) == {
        "scan.json": "three",
        "bench.html": "three",
        "customer-earlier.html": "one",
        "customer-earlier-2.html": "two",
    }
    assert len(told) == 2
    assert "customer.html is now customer-earlier.html" in told[0]


def test_a_failed_move_takes_back_what_was_set_aside(tmp_path: Path) -> None:
    put(tmp_path, "one", "scan.json", "customer.html")
    (tmp_path / "z.html" / "inside").mkdir(parents=True)
    with (
        pytest.raises(OutputError, match="nothing was changed there"),
        whole_folder(tmp_path, pages=("customer.html",), result="scan.json") as work,
    ):
        put(work, "two", "scan.json", "z.html")
    (tmp_path / "z.html" / "inside").rmdir()
    (tmp_path / "z.html").rmdir()
    assert contents(tmp_path) == {"scan.json": "one", "customer.html": "one"}


def test_a_failure_leaves_everything_as_it_was(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "report"
    for error in (ValueError, KeyboardInterrupt, SystemExit):
        with pytest.raises(error):
            write_and_fail(out, error)
        assert not (tmp_path / "deep").exists()
    out.mkdir(parents=True)
    put(out, "old", "scan.json")
    with pytest.raises(KeyboardInterrupt):
        write_and_fail(out, KeyboardInterrupt)
    assert contents(out) == {"scan.json": "old"}


def test_a_folder_in_the_way_puts_all_back(tmp_path: Path) -> None:
    put(tmp_path, "old", "a.txt", "c.txt")
    (tmp_path / "b.txt" / "inside").mkdir(parents=True)
    with (
        pytest.raises(OutputError, match=r"cannot write into .*nothing was changed there"),
        whole_folder(tmp_path) as work,
    ):
        put(work, "new", "a.txt", "b.txt", "c.txt")
    assert (tmp_path / "a.txt").read_text("utf-8") == "old"
    assert (tmp_path / "c.txt").read_text("utf-8") == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.txt", "c.txt"]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    put(tmp_path, "x", "report")
    with pytest.raises(OutputError, match="it is a file; give a folder with --out"):
        whole_folder(tmp_path / "report").__enter__()
    with pytest.raises(OutputError, match="Not a directory"):
        whole_folder(tmp_path / "report" / "deeper").__enter__()
    with pytest.raises(OutputError, match="cannot write into"):
        whole_folder("zero\0byte").__enter__()


def test_a_place_that_may_not_be_written(tmp_path: Path) -> None:
    if os.geteuid() == 0:
        place = Path("/proc/buzzscan-report")  # where even root may not
    else:
        tmp_path.chmod(0o500)
        place = tmp_path / "report"
    with pytest.raises(OutputError, match=r"cannot write into .*give another folder"):
        whole_folder(place).__enter__()


def _write_many(out: Path, text: str, start: object) -> None:
    start.wait()  # type: ignore[attr-defined]
    for _ in range(60):
        with whole_folder(out) as work:
            put(work, text, *(f"{i}.txt" for i in range(8)))


def test_two_runs_into_one_folder_do_not_mix(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    start = context.Event()
    runs = [context.Process(target=_write_many, args=(tmp_path, t, start)) for t in "ab"]
    for run in runs:
        run.start()
    start.set()
    for run in runs:
        run.join()
        assert run.exitcode == 0
    found = contents(tmp_path)
    assert len(found) == 8
    assert len(set(found.values())) == 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_wait_until_all_is_moved(tmp_path: Path, number: signal.Signals) -> None:
    put(tmp_path, "old", "a.txt", "b.txt")
    code = f"""
        import os, pathlib, signal
        from buzzscan.outputs import whole_folder
        def end(*_): raise SystemExit(5)
        signal.signal(signal.SIGTERM, end); signal.signal(signal.SIGINT, end)
        rename = pathlib.Path.rename
        def slow(self, target):
            os.kill(os.getpid(), {int(number)})
            return rename(self, target)
        pathlib.Path.rename = slow
        with whole_folder({str(tmp_path)!r}) as work:
            for name in ("a.txt", "b.txt"):
                (work / name).write_text("new")
    """
    run = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], check=False)
    assert run.returncode == 5
    assert contents(tmp_path) == {"a.txt": "new", "b.txt": "new"}
