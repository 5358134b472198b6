"""Packed speech to samples."""

import subprocess
import wave
from pathlib import Path

import numpy as np


def decode(path: Path, opusdec: list[str]) -> np.ndarray:
    """16 kHz samples of an Opus file; the WAV is kept beside it."""
    wav = path.with_suffix(".wav")
    if not wav.exists():
        subprocess.run([*opusdec, "--quiet", "--rate", "16000", "--force-wav", path, wav], check=True, capture_output=True)
    with wave.open(str(wav)) as w:
        return np.frombuffer(w.readframes(w.getnframes()), dtype=np.int16)
