"""The command line.

Conventions
-----------
Results go to stdout, everything else to stderr. What went wrong is said in one line and the
exit status is 1; wrong usage exits with 2, an interrupt with 130.

Limits
------
Set BUZZSCAN_TRACE=1 to see where an internal error came from.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NoReturn

import click

import buzzscan
from buzzscan.errors import BarsError, BuzzscanError

if TYPE_CHECKING:
    from buzzscan.jobs import Done, Job
    from buzzscan.neck.verdict import Bars

__all__ = ["main"]

_INTERRUPTED, _TERMINATED = 130, 143
"""Exit status of a shell's child that ended by SIGINT or SIGTERM: 128 + the signal."""


class _Failure(click.ClickException):
    """Something that is explained in one line."""

    exit_code = 1

    def show(self, file: Any = None) -> None:
        click.echo(f"buzzscan: {_one_line(self.format_message())}", file=file, err=file is None)


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


class _Commands(click.Group):
    """Commands whose errors are lines, never tracebacks."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with _ended_by_signal():
                return super().invoke(ctx)
        except BuzzscanError as error:
            raise _Failure(str(error)) from error
        except KeyboardInterrupt:
            click.echo("buzzscan: interrupted; earlier reports are as they were", err=True)
            ctx.exit(_INTERRUPTED)
        except MemoryError as error:
            raise _Failure("out of memory; close other programs or split the recording") from error
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if os.environ.get("BUZZSCAN_TRACE"):
                raise
            raise _Failure(
                f"internal error ({type(error).__name__}: {error}); set BUZZSCAN_TRACE=1 to see "
                "where, and report it"
            ) from error


@contextmanager
def _ended_by_signal() -> Iterator[None]:
    """Let SIGTERM end the work as an interrupt does, so that nothing is left half-written."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(*_: object) -> NoReturn:
        raise SystemExit(_TERMINATED)

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(buzzscan.__version__, prog_name="buzzscan")
def main() -> None:
    """Listen to a chromatic run over a neck; tell which fret buzzes, chokes or dies.

    Play every fret of every string, up and down, digging in; record it; scan the recording.
    """


_audience_option = click.option(
    "--for",
    "audience",
    type=click.Choice(["bench", "customer", "both"]),
    default="bench",
    show_default=True,
    help="Pages for the bench, to show a customer, or both.",
)


def _bars_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that set the bars."""
    options = (
        click.option(
            "--buzz-bar",
            type=click.FloatRange(-90.0, 0.0),
            metavar="DB",
            help="Contact energy from which a note is called buzz; below it, slight.  "
            "[default: -35]",
        ),
        click.option(
            "--heard",
            type=click.Choice(["acoustic", "amp"]),
            help="Judge buzz as recorded, or only what a guitar amp passes.  [default: acoustic]",
        ),
        click.option(
            "--pitch-bar",
            type=click.FloatRange(0.5, 50.0),
            metavar="CENTS",
            help="Pitch error up to which a note is called in tune.  [default: 6]",
        ),
    )
    for option in reversed(options):
        function = option(function)
    return function


def _bars(buzz_bar: float | None, heard: Any, pitch_bar: float | None) -> Bars:
    from buzzscan.neck.verdict import Bars

    given = {"buzz_db": buzz_bar, "heard": heard, "pitch_cents": pitch_bar}
    try:
        return Bars(**{key: value for key, value in given.items() if value is not None})
    except BarsError as error:  # a number that is none passes through the ranges above
        raise click.BadParameter(str(error)) from error


@main.command()
@click.argument(
    "recordings", metavar="RECORDING...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--guitar",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file that describes the guitar; of a folder, guitar.toml in it if none is given. "
    "Without one the tuning is found where it can be.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where the report goes.  [default: reports/ and the name of the first recording]",
)
@_bars_options
@_audience_option
@click.option(
    "--marks",
    is_flag=True,
    help="Also write the notes as label tracks and as cue points in a WAV copy.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    metavar="N",
    help="Take each recording or folder as a job of its own, and run N at once. "
    "Of a folder, each file and folder in it is a job; guitar.toml in it, or a TOML file of "
    "the recording's name, describes its guitar, and --guitar those that have none.",
)
def scan(
    *,
    recordings: tuple[Path, ...],
    guitar: Path | None,
    out: Path | None,
    buzz_bar: float | None,
    heard: str | None,
    pitch_bar: float | None,
    audience: Literal["bench", "customer", "both"],
    marks: bool,
    jobs: int | None,
) -> None:
    """Judge a neck from recordings of the run.

    All recordings are of one guitar: one file for all strings, one for each, or a folder of
    them. Prints the map of the neck and the findings, and writes the report.
    """
    from buzzscan.jobs import Job, jobs_in, run_job

    bars = _bars(buzz_bar, heard, pitch_bar)
    if jobs is not None:
        many = jobs_in(
            recordings, guitar=guitar, out_dir=out, bars=bars, audience=audience, marks=marks
        )
        _run_many(many, jobs)
        return
    job = Job(
        recordings=recordings,
        guitar=guitar,
        out_dir=out,
        bars=bars,
        audience=audience,
        marks=marks,
    )
    with _progress("Listening") as progress:
        done = run_job(job, width=_width(), color=_color(), progress=progress)
    _show(done)


def _run_many(jobs: tuple[Job, ...], n_at_once: int) -> None:
    from buzzscan.jobs import run_jobs

    n_failed = 0
    for done in run_jobs(jobs, n_at_once=n_at_once, width=_width()):
        if done.error:
            n_failed += 1
            names = ", ".join(str(path) for path in done.job.recordings)
            click.echo(f"buzzscan: {_one_line(names)}: {_one_line(done.error)}", err=True)
        else:
            _show(done)
    if n_failed:
        raise _Failure(f"{n_failed} of {len(jobs)} jobs failed; the others are written")


def _show(done: Done) -> None:
    click.echo(done.text, nl=False)
    _written(done.out_dir, done.remarks)


def _written(place: Path | None, remarks: Iterable[str] = ()) -> None:
    """Say where the results are, and what became of earlier ones."""
    for remark in remarks:
        click.echo(f"Note: {_one_line(remark)}", err=True)
    click.echo(f"Written to {_one_line(str(place))}", err=True)


def _width() -> int:
    return shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80


def _color() -> bool:
    """Return whether to colour: on a terminal, unless NO_COLOR is set (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")


@contextmanager
def _progress(label: str) -> Iterator[Callable[[float], None] | None]:
    """Yield what to tell the progress to, or None where nobody would see it."""
    if not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=1000, label=label, file=sys.stderr) as bar:

        def tell(share: float) -> None:
            bar.update(max(round(1000 * share) - bar.pos, 0))

        yield tell


@main.command()
@click.option(
    "--guitar",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file that describes the guitar. Without it a standard six-string is played.",
)
@click.option(
    "--faults",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file that says what is wrong with the neck and how it is played.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    required=True,
    help="Where the take and its truth go.",
)
@click.option("--seed", type=click.IntRange(0), metavar="N", help="Another number, another take.")
def simulate(*, guitar: Path | None, faults: Path | None, out: Path, seed: int | None) -> None:
    """Play a run on a simulated neck, to hear what a fault would sound like.

    Writes take.flac and the truth of every note, take.json. Turn the volume down before you
    listen: buzz is harsh.
    """
    from buzzscan.guitar import Guitar, load_guitar
    from buzzscan.outputs import whole_folder
    from buzzscan.simulate import simulate_to_folder

    instrument = Guitar() if guitar is None else load_guitar(guitar)
    with _progress("Playing") as progress, whole_folder(out) as work:
        names = [
            path.name
            for path in simulate_to_folder(instrument, faults, work, seed=seed, progress=progress)
        ]
    for name in names:
        click.echo(str(out / name))


@main.command()
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where the pages go.  [default: reports/ and the names of both]",
)
@_audience_option
@click.option("--done", default="", metavar="TEXT", help="What was done, for the customer's page.")
def compare(
    *,
    before: Path,
    after: Path,
    out: Path | None,
    audience: Literal["bench", "customer", "both"],
    done: str,
) -> None:
    """Compare two scans of one guitar, before and after the work.

    BEFORE and AFTER are report folders or scan.json files.
    """
    from buzzscan.comparefile import COMPARISON_NAME, write_comparison_json
    from buzzscan.comparison import compare as compare_scans
    from buzzscan.jobs import comparison_folder
    from buzzscan.outputs import whole_folder
    from buzzscan.report import render_comparison_terminal, write_comparison
    from buzzscan.scanfile import read_scan

    comparison = compare_scans(read_scan(before), read_scan(after))
    place = out or comparison_folder(before, after, comparison)
    pages = (
        "compare.html",
        "compare.pdf",
        "compare-customer.html",
        "compare-customer.pdf",
    )
    remarks: list[str] = []
    with whole_folder(place, pages=pages, result=COMPARISON_NAME, tell=remarks.append) as work:
        write_comparison_json(comparison, work / COMPARISON_NAME)
        write_comparison(comparison, work, audience=audience, done=done)
    click.echo(render_comparison_terminal(comparison, width=_width(), color=_color()), nl=False)
    _written(place, remarks)


@main.command()
@click.argument(
    "folders", metavar="DIR...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where history.html goes.  [default: the folder that holds the reports]",
)
def history(*, folders: tuple[Path, ...], out: Path | None) -> None:
    """Show the scans of one guitar over time: a line for each report.

    DIR is the folder that holds the reports, or the reports themselves, oldest first. Of a
    folder they run by the dates in their guitar files; without dates, as they were recorded,
    scanned or named. The page says which.
    """
    from buzzscan.history import history as history_of
    from buzzscan.outputs import whole_folder
    from buzzscan.report import render_history_terminal, write_history
    from buzzscan.reports import holder_of, reports_in

    found, order = reports_in(folders)
    lines = history_of([(report.label, report.scan) for report in found], order=order)
    place = out or holder_of(folders)
    with whole_folder(place) as work:
        write_history(lines, work)
    click.echo(render_history_terminal(lines, width=_width()), nl=False)
    _written(place)


@main.command()
@click.argument(
    "takes", metavar="TAKE...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--guitar",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file that describes the guitar.",
)
def repeat(*, takes: tuple[Path, ...], guitar: Path | None) -> None:
    """Tell how well repeated takes of one untouched guitar agree.

    Each TAKE is a recording of the whole run, or the folder of a report. Three or more tell
    what change is real on your bench.
    """
    from buzzscan.recording import SOUND_SUFFIXES
    from buzzscan.repeating import repeat as repeat_scans
    from buzzscan.report import render_repeat_terminal
    from buzzscan.scanfile import SCAN_NAME, read_scan
    from buzzscan.scanning import scan as scan_take

    scans = []
    with _progress("Listening") as progress:
        for number, take in enumerate(takes):
            is_report = take.suffix == ".json" or (take / SCAN_NAME).is_file()
            is_report = is_report and take.suffix.lower() not in SOUND_SUFFIXES
            scans.append(read_scan(take) if is_report else scan_take(take, guitar))
            if progress is not None:
                progress((number + 1) / len(takes))
    click.echo(render_repeat_terminal(repeat_scans(scans)), nl=False)
