"""What a scan costs, beside what general tools cost on the same audio in the same process.

Run by hand: ``python tests/benchmarks/speed.py [MINUTES]``. Costs are processor seconds, and
multiples of one librosa STFT (n_fft 4096, hop 1024). The first run of everything is reported
apart, as it compiles and loads.
"""

from __future__ import annotations

import cProfile
import pstats
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from buzzscan import Guitar, scan
from buzzscan.report import write_report
from buzzscan.simulate import Chain, Fault, Performance, SimGuitar, simulate_take

YIN_S = 60.0
"""The slow pitch trackers get a minute, and their cost is scaled up."""


def cost(work: Callable[[], object], runs: int = 3) -> tuple[float, float]:
    """Return the processor seconds of the first run and of the best of the others."""
    times = []
    for _ in range(runs + 1):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return times[0], min(times[1:])


def peak_memory_mb(*arguments: str) -> float:
    """Return the most memory that the command takes in a process of its own.

    Read from /proc: the maximum that getrusage gives for a child also holds what its parent had
    when it started it.
    """
    code = (
        "import sys\nfrom buzzscan.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit as end:\n    assert not end.code\n"
        "print(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])"
    )
    command = [sys.executable, "-c", code, *arguments]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return int(told.split()[-1]) / 1024


def main(minutes: float = 10.0) -> None:
    """Print the table and a profile."""
    high = Fault(kind="fret", fret=9, amount=0.14)
    guitar = SimGuitar.from_guitar(Guitar(), faults=(high,))
    pace = minutes * 60.0 / 280.0
    take = simulate_take(guitar, Performance(pace_s=pace, amplitude_mm=0.42), Chain(), seed=1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.flac"
        soundfile.write(path, take.samples, take.sample_rate_hz)
        out = Path(folder) / "report"
        out.mkdir()
        first, ours = cost(lambda: scan(path, Guitar()), 2)
        memory_mb = peak_memory_mb("scan", str(path), "--out", str(out))
        result = scan(path, Guitar())
        _, report = cost(lambda: write_report(result, out), 1)

        import librosa

        y = np.asarray(take.samples, np.float32)
        rate = take.sample_rate_hz
        part = y[: int(YIN_S * rate)]
        scale = y.size / part.size
        _, stft = cost(lambda: librosa.stft(y, n_fft=4096, hop_length=1024))
        _, onset = cost(lambda: librosa.onset.onset_detect(y=y, sr=rate), 1)
        _, yin = cost(lambda: librosa.yin(part, fmin=70, fmax=1400, sr=rate), 1)
        _, pyin = cost(lambda: librosa.pyin(part, fmin=70, fmax=1400, sr=rate), 1)
        rows = (
            ("librosa stft 4096/1024", stft),
            ("librosa onset_detect", onset),
            ("librosa yin", yin * scale),
            ("librosa pyin", pyin * scale),
            ("buzzscan scan", ours),
            ("buzzscan scan, first run", first),
            ("buzzscan report", report),
        )
        print(f"{y.size / rate:.0f} s, {len(result.notes)} notes; {memory_mb:.0f} MB at most")
        for name, seconds in rows:
            print(f"{name:26s} {seconds:8.2f} s  {seconds / stft:8.1f} x")
        profile = cProfile.Profile()
        profile.runcall(scan, path, Guitar())
        pstats.Stats(profile).sort_stats("cumulative").print_stats("buzzscan", 25)


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
