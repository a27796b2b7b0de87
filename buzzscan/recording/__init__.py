"""Recordings: samples on demand, and what is known of their quality.

Conventions
-----------
Samples are mono float32 in −1…1 at `Recording.sample_rate_hz`, read in pieces: nothing in
the package holds a whole recording. Times are seconds from the first sample.

Limits
------
One channel is judged: of a stereo file the mean, or the better channel where one is dead,
inverted or something else.
"""

from buzzscan.recording.decoding import SOUND_SUFFIXES, file_sha256
from buzzscan.recording.opening import open_recording, recording_from_samples
from buzzscan.recording.take import Recording, RecordingWarning, Samples, SampleSource

__all__ = [
    "SOUND_SUFFIXES",
    "Recording",
    "RecordingWarning",
    "SampleSource",
    "Samples",
    "file_sha256",
    "open_recording",
    "recording_from_samples",
]
