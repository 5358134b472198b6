"""Vowels held long, made from labelled training speech: what is sung, called out or made by a synthesiser holds them.

    python held.py --train TRAIN --items realigned.json --model acoustic.bin [--minutes 25] [--seed 3]

Read speech has no steady vowels of half a second, and an ear that has heard nothing else takes them for a hum. Here the all-pole
envelope (order 18) at the middle of a labelled vowel is driven by a train of pulses of any pitch, one to three vowels in a row. Which
vowels are taken: those of at least 60 ms that MODEL also hears, from recordings of training speakers that passed the gate. Adds
TRAIN/audio/held-*.opus to TRAIN/ITEMS, with their exact labels. Needs opusenc.
"""

import argparse
import json
import multiprocessing as mp
import random
from pathlib import Path

import numpy as np
from decode import decode, encode, to_int16
from features import RATE
from numpy_net import Model
from phones import INDEX
from scipy.linalg import solve_toeplitz
from scipy.signal import lfilter

STEADY = [INDEX[v] for v in ("AA", "AE", "AH", "AO", "EH", "ER", "IH", "IY", "UH", "UW")]
SIL = INDEX["SIL"]
ORDER, EMPHASIS, LAG_WINDOW = 18, 0.97, 40.0  # coefficients, of the envelope's input, Hz
LEAST, SURE = 0.06, 0.5  # seconds of a vowel, probability at its middle
# Recordings of each speaker of these sources.
FROM = {"speechocean762": 6, "acted-en": 10, "kokoro": 6, "asterisk-en": 120}
LONG = 20  # seconds of a recording


def envelope(x: np.ndarray) -> np.ndarray:
    x = np.append(x[0], x[1:] - EMPHASIS * x[:-1]) * np.hanning(len(x))
    r = np.correlate(x, x, "full")[len(x) - 1 : len(x) + ORDER]
    r[0] *= 1.0001
    r *= np.exp(-0.5 * (2 * np.pi * LAG_WINDOW / RATE * np.arange(ORDER + 1)) ** 2)
    return np.append(1.0, solve_toeplitz(r[:-1], -r[1:]))


def find(job: tuple[Path, list]) -> list:
    """(vowel, envelope) of the steady vowels of a recording."""
    path, phones = job
    pcm = decode(path, ["opusdec"]) / 32768.0
    logp = _model.log_posteriors(pcm)
    out, start = [], 0
    for end, p in phones:
        middle = (start + end) // 2
        if p in STEADY and end - start >= LEAST * RATE and 240 < middle < len(pcm) - 240:
            around = pcm[middle - 240 : middle + 240]
            if logp[min(middle // 160, len(logp) - 1), p] > np.log(SURE) and np.abs(around).max() > 0.02:
                noise = 1e-5 * np.random.default_rng(middle).standard_normal(480)
                out.append((p, envelope(around + noise)))
        start = end
    return out


def start(path: Path) -> None:
    global _model
    _model = Model(path)


def held(lpc: np.ndarray, f0: float, tilt: float, jitter: float, rng: random.Random, noise: np.random.Generator) -> np.ndarray:
    length = int(RATE * rng.uniform(0.1, 0.7))
    t = np.arange(length) / RATE
    glide = rng.uniform(-0.15, 0.15) * t / t[-1] + rng.choice([0, 0.02]) * np.sin(2 * np.pi * 5.5 * t)
    pitch = f0 * (1 + glide) * (1 + jitter * np.repeat(noise.standard_normal(length // 80 + 1), 80)[:length])
    pulses = np.diff(np.floor(np.cumsum(pitch) / RATE), prepend=0.0)
    breath = noise.standard_normal(length) * rng.choice([0.0, 0.01, 0.04])
    x = lfilter([1.0 - tilt], [1.0, -tilt], pulses + breath)
    # What the envelope's emphasis took is given back, but for the lowest end.
    x = lfilter([1.0], [1.0, -0.9], lfilter([1.0], lpc, x))
    x = x - x.mean()
    x = x / np.sqrt((x**2).mean()) * 0.08 * 10 ** (rng.uniform(-6, 3) / 20)
    fade = min(length // 4, int(RATE * rng.uniform(0.005, 0.03)))
    x[:fade] *= np.linspace(0, 1, fade)
    x[-fade:] *= np.linspace(1, 0, fade)
    return x


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--train", type=Path, required=True)
    args.add_argument("--items", default="realigned.json")
    args.add_argument("--model", type=Path, required=True)
    args.add_argument("--minutes", type=float, default=25)
    args.add_argument("--seed", type=int, default=3)
    a = args.parse_args()
    rng, noise = random.Random(a.seed), np.random.default_rng(a.seed)
    meta = json.loads((a.train / a.items).read_text())
    speakers = {}
    for i in meta["items"]:
        if i["split"] == "train" and i["gate"] and i["source"] in FROM and i["phones"][0][1] != 255:
            speakers.setdefault((i["source"], i["speaker"]), []).append(i)
    jobs = []
    for key in sorted(speakers):
        some = rng.sample(speakers[key], min(FROM[key[0]], len(speakers[key])))
        jobs += [(a.train / "audio" / i["file"], i["phones"]) for i in some]
    envelopes = {v: [] for v in STEADY}
    with mp.Pool(None, start, (a.model,)) as pool:
        for found in pool.imap(find, jobs, chunksize=8):
            for p, lpc in found:
                envelopes[p].append(lpc)
    vowels = [v for v in STEADY if envelopes[v]]
    if not vowels:
        raise SystemExit(f"held.py: the model hears no steady vowel in {len(jobs)} labelled recordings; train it longer, or on more")
    print(f"{len(jobs)} recordings, {sum(map(len, envelopes.values()))} vowels, the rarest {min(map(len, envelopes.values()))} times")
    for n in range(round(a.minutes * 60 / LONG)):
        parts, phones, at = [], [], 0

        def add(x: np.ndarray, p: int) -> None:
            nonlocal at
            parts.append(x)
            at += len(x)
            phones.append([at, p])

        add(noise.standard_normal(noise.integers(1600, 6000)) * 3e-4, SIL)
        while at < LONG * RATE:
            f0 = np.exp(rng.uniform(np.log(75), np.log(360)))
            tilt, jitter = rng.uniform(0.0, 0.6), rng.choice([0.0, 0.005, 0.02])
            for _ in range(rng.choice([1, 1, 1, 2, 3])):
                vowel = rng.choice(vowels)
                add(held(rng.choice(envelopes[vowel]), f0, tilt, jitter, rng, noise), vowel)
            add(noise.standard_normal(noise.integers(800, 5000)) * 3e-4, SIL)
        encode(to_int16(np.concatenate(parts)), a.train / "audio" / f"held-{n:03}.opus", 16)
        meta["items"].append(
            dict(file=f"held-{n:03}.opus", speaker=f"held-{n % 25}", source="held", split="train", samples=at,
                 phones=phones, gate=True, guess="none")
        )  # fmt: skip
    (a.train / a.items).write_text(json.dumps(meta))


if __name__ == "__main__":
    main()
