"""Packed speech to samples, and back."""

import subprocess
import wave
from pathlib import Path

import numpy as np
from features import RATE


def decode(path: Path, opusdec: list[str]) -> np.ndarray:
    """16 kHz samples of an Opus file; the WAV is kept beside it."""
    wav = path.with_suffix(".wav")
    if not wav.exists():
        subprocess.run([*opusdec, "--quiet", "--rate", "16000", "--force-wav", path, wav], check=True, capture_output=True)
    with wave.open(str(wav)) as w:
        return np.frombuffer(w.readframes(w.getnframes()), dtype=np.int16)


def encode(pcm: np.ndarray, path: Path, bitrate: int) -> None:
    """Writes 16-bit samples at 16 kHz as an Opus file of some kbit/s."""
    wav = path.with_suffix(".wav")
    with wave.open(str(wav), "wb") as w:
        w.setparams((1, 2, RATE, 0, "NONE", ""))
        w.writeframes(pcm.astype("<i2").tobytes())
    subprocess.run(["opusenc", "--quiet", "--bitrate", str(bitrate), "--discard-comments", wav, path], check=True)
    wav.unlink()


def to_int16(x: np.ndarray) -> np.ndarray:
    """Samples in −1..1, rounded and kept within range."""
    return np.clip(np.rint(x * 32768), -32768, 32767).astype(np.int16)
