"""What bad recording costs: the sample lines worsened in known ways, heard again.

    python robustness.py --lipwright target/release/lipwright --samples sample-audio

Frames with the right mouth shape against the synthesiser's exact times, without and with the script.
"""

import argparse
import json
import tempfile
import wave
from pathlib import Path

import numpy as np
from hearing_report import Score, by_lipwright, shapes_of

RATE = 16000


def noisy(x, rng, snr_db):
    loud = np.sqrt(np.mean(x**2))
    return x + rng.standard_normal(len(x)) * loud * 10 ** (-snr_db / 20)


def band(x, low, high):
    spectrum = np.fft.rfft(x)
    hz = np.fft.rfftfreq(len(x), 1 / RATE)
    spectrum[(hz < low) | (hz > high)] = 0
    return np.fft.irfft(spectrum, len(x))


def room(x, rng, decay_s, direct_db):
    """Exponentially decaying noise after the direct sound, `direct_db` below it in energy."""
    n = int(decay_s * 1.2 * RATE)
    tail = rng.standard_normal(n) * np.exp(-6.9 * np.arange(n) / RATE / decay_s)
    tail *= 10 ** (-direct_db / 20) / np.linalg.norm(tail)
    tail[0] = 1.0
    return np.convolve(x, tail)[: len(x)]


def slower(x, factor):
    """Played slower: pitch, formants and tempo all sink by `factor` (a monster's voice)."""
    return np.interp(np.arange(int(len(x) * factor)) / factor, np.arange(len(x)), x)


CONDITIONS = {
    "as it is": lambda x, rng: x,
    "gain −20 dB": lambda x, rng: x * 0.1,
    "gain +20 dB, clipped": lambda x, rng: np.clip(x * 10, -1, 1),
    "white noise, 20 dB": lambda x, rng: noisy(x, rng, 20),
    "white noise, 10 dB": lambda x, rng: noisy(x, rng, 10),
    "telephone band 300–3400 Hz": lambda x, rng: band(x, 300, 3400),
    "8 kHz sampling (0–4 kHz)": lambda x, rng: band(x, 0, 4000),
    "small room, 0.3 s": lambda x, rng: room(x, rng, 0.3, 3),
    "slowed by a third": lambda x, rng: slower(x, 4 / 3),
    "two seconds of silence around": lambda x, rng: np.pad(x, 2 * RATE),
}


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--lipwright", required=True, type=Path)
    args.add_argument("--samples", required=True, type=Path)
    a = args.parse_args()
    lines = json.loads((a.samples / "lines.json").read_text())["lines"]
    for name, worsen in CONDITIONS.items():
        scores = Score(), Score()
        for n, line in enumerate(lines):
            with wave.open(str(a.samples / line["audio"])) as w:
                x = np.frombuffer(w.readframes(w.getnframes()), np.int16) / 32768
            y = worsen(x, np.random.default_rng(n))
            phones = json.loads((a.samples / line["phones"]).read_text())["phones"]
            stretch = 4 / 3 if name.startswith("slowed") else 1.0
            shift = 2.0 if name.startswith("two seconds") else 0.0
            phones = [[p["start_s"] * stretch + shift, p["end_s"] * stretch + shift, p["phone"]] for p in phones]
            if shift:
                phones = [[0, shift, "SIL"], *phones, [phones[-1][1], phones[-1][1] + shift, "SIL"]]
            with tempfile.NamedTemporaryFile(suffix=".wav") as f:
                with wave.open(f.name, "wb") as w:
                    w.setparams((1, 2, RATE, 0, "NONE", ""))
                    w.writeframes((np.clip(y, -1, 1) * 32767).astype(np.int16).tobytes())
                script = (a.samples / line["script"]).read_text()
                for score, text in zip(scores, (None, script), strict=True):
                    score.add(shapes_of(phones), by_lipwright(a.lipwright, Path(f.name), text))
        bare, script = (100 * s.right / s.frames for s in scores)
        print(f"{name:30} {bare:5.1f} %   with script {script:5.1f} %", flush=True)


if __name__ == "__main__":
    main()
