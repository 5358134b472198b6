"""Where a recording's labels call a loud voice silence: hesitations and words that its transcript lacks.

The same rule as core/src/recognise/voice.rs, by the labels instead of by what was heard. Periodicity after Boersma (1993):
the autocorrelation of a windowed stretch over that of the window, at its best lag between 75 and 600 Hz.
"""

import numpy as np
from features import HOP, RATE

BELOW_DB, PERIODIC, LEAST = 15.0, 0.7, 6
WINDOW, SIZE = 800, 2048  # samples: 50 ms, padded so that lags do not wrap


def periodicity(samples: np.ndarray, frames: np.ndarray) -> np.ndarray:
    """Of each frame given by its number: 0 to 1."""
    shape = np.hanning(WINDOW + 1)[:-1]
    own = np.fft.irfft(np.abs(np.fft.rfft(shape, SIZE)) ** 2)
    lags = np.arange(RATE // 600, RATE // 75 + 1)
    padded = np.pad(samples, WINDOW // 2 + HOP)
    out = np.zeros(len(frames))
    for first in range(0, len(frames), 4096):
        some = frames[first : first + 4096]
        x = padded[(some * HOP + HOP + HOP // 2)[:, None] + np.arange(WINDOW)]
        x = (x - x.mean(1, keepdims=True)) * shape
        r = np.fft.irfft(np.abs(np.fft.rfft(x, SIZE, axis=1)) ** 2, axis=1)
        share = r[:, lags] / np.maximum(r[:, :1], 1e-9) / (own[lags] / own[0])
        out[first : first + len(some)] = share.max(1)
    return out.clip(0, 1)


def voiced_silence(samples: np.ndarray, silent: np.ndarray, said: np.ndarray) -> np.ndarray:
    """Frames of 10 ms among `silent` that are a voice nearly as loud as those among `said`. Samples in -1 to 1."""
    frames = len(silent)
    out = np.zeros(frames, bool)
    power = np.pad(samples, (0, frames * HOP - len(samples))).reshape(frames, HOP)
    power = (power.astype(np.float64) ** 2).mean(1)
    if said.sum() < LEAST:
        return out
    loud = np.flatnonzero(silent & (power > power[said].mean() * 10 ** (-BELOW_DB / 10)))
    out[loud[periodicity(samples, loud) > PERIODIC]] = True
    runs = np.flatnonzero(np.diff(np.concatenate([[0], out, [0]])))
    for start, end in zip(runs[::2], runs[1::2], strict=True):
        if end - start < LEAST:
            out[start:end] = False
    return out
