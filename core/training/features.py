"""Log-mel energies and their normalisation: the reference that core/src/features and core/src/recognise/model.rs follow.

Frames: 16 kHz, hop 160; frame i is centred on sample 160·i + 80 and weighted by a periodic Hann window of 400
samples, samples outside the recording being 0; ceil(n/160) frames. FFT of 512, power. 40 triangular filters of
peak 1, edges equally spaced in mel (HTK: 2595·log10(1 + f/700)) from 60 to 7600 Hz, evaluated at the bin
frequencies by linear interpolation in Hz. Value: ln(max(E, 1e-10)).
"""

import numpy as np

RATE, HOP, WINDOW, FFT, MELS = 16000, 160, 400, 512, 40
LOW_HZ, HIGH_HZ = 60.0, 7600.0

# Normalisation constants; the model file carries them, so that they belong to the weights.
ACTIVE_RANGE = 5.76  # nats: frames within 25 dB of the level are speech enough to measure the channel
PRIOR_FRAMES = 200.0  # how many frames of speech outweigh the average spectrum
CLAMP = 8.0  # nats below or above the channel's mean
SCALE = 0.4  # 1/nats


def at_16_khz(samples: np.ndarray, rate: int) -> np.ndarray:
    """Samples of another rate, through the spectrum of the whole (for short recordings)."""
    count = round(len(samples) * RATE / rate)
    return np.fft.irfft(np.fft.rfft(samples), count) * (count / len(samples))


def mel_filters(warp: float = 1.0) -> np.ndarray:
    """(257, 40) filter weights. `warp` scales the edges' frequencies (vocal-tract-length augmentation)."""
    to_mel = lambda f: 2595.0 * np.log10(1.0 + f / 700.0)  # noqa: E731
    edges = 700.0 * (10.0 ** (np.linspace(to_mel(LOW_HZ), to_mel(HIGH_HZ), MELS + 2) / 2595.0) - 1.0)
    if warp != 1.0:
        # Linear warp below a knee; above it a straight line back to the upper end.
        knee = HIGH_HZ * min(warp, 1.0) * 0.85 / warp
        edges = np.where(
            edges <= knee, edges * warp, HIGH_HZ - (HIGH_HZ - knee * warp) * (HIGH_HZ - edges) / (HIGH_HZ - knee)
        )
    bins = np.arange(FFT // 2 + 1) * RATE / FFT
    lower, centre, upper = edges[:-2], edges[1:-1], edges[2:]
    rise = (bins[:, None] - lower) / (centre - lower)
    fall = (upper - bins[:, None]) / (upper - centre)
    return np.maximum(0.0, np.minimum(rise, fall))


def window() -> np.ndarray:
    return 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(WINDOW) / WINDOW)


def log_mel(samples: np.ndarray) -> np.ndarray:
    """(frames, 40) natural-log mel energies of samples in −1..1."""
    samples = np.asarray(samples, dtype=np.float64)
    frames = -(-len(samples) // HOP)
    left = WINDOW // 2 - HOP // 2
    padded = np.zeros(frames * HOP + WINDOW)
    padded[left : left + len(samples)] = samples
    starts = np.arange(frames) * HOP
    taken = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[starts]
    power = np.abs(np.fft.rfft(taken * window(), FFT)) ** 2
    return np.log(np.maximum(power @ mel_filters(), 1e-10))


def level_of(values: np.ndarray) -> tuple[float, np.ndarray]:
    """The recording's level (energy-weighted mean energy, in nats) and which frames are active speech.

    Weighting energy by itself makes the level follow the loud speech, however much silence surrounds it.
    """
    energy = np.exp(values).sum(axis=1)
    level = float(np.log((energy**2).sum() / energy.sum()))
    return level, np.log(energy) > level - ACTIVE_RANGE


def normalise(values: np.ndarray, spectrum: np.ndarray) -> np.ndarray:
    """Removes gain and channel: each band's mean over active speech, held towards `spectrum` for short recordings.

    `spectrum` is the average over the training speech of (band mean − level).
    """
    level, active = level_of(values)
    mean = (values[active].sum(axis=0) + PRIOR_FRAMES * (level + spectrum)) / (active.sum() + PRIOR_FRAMES)
    return (np.clip(values - mean, -CLAMP, CLAMP) * SCALE).astype(np.float32)
