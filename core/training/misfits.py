"""Scripts that do not fit: is what is wrong told, and what is right kept? Measured on the tuning speakers.

    python misfits.py --lipwright target/release/lipwright --data DATA [--triples 60]

Recordings of one tuning speaker are put end to end, so that the truth is known: A B C with the script A B C (fits),
A C with A B C (a sentence missing from the sound), A B C with A C (a sentence missing from the script), A with B
(the wrong file). Costs of leaving out and of extra speech are set with this; test speakers stay out of it.
"""

import argparse
import json
import re
import subprocess
import tempfile
from pathlib import Path

import align
import numpy as np
import soundfile

RATE = 16000


def heard(program: Path, samples: np.ndarray, script: str) -> dict:
    with tempfile.TemporaryDirectory() as folder:
        wav, text = Path(folder, "line.wav"), Path(folder, "line.txt")
        soundfile.write(wav, samples, RATE, subtype="PCM_16")
        text.write_text(script)
        command = [program, "shapes", wav, "--json", "--script", text]
        return json.loads(subprocess.run(command, capture_output=True, check=True).stdout)


def kept(said: dict, parts: list) -> tuple[int, int]:
    """How many words of the parts [(offset in s, words heard alone)] are where they were, of how many."""
    times = {}
    for w in said.get("words", []):
        times.setdefault(w["text"], []).append(w["start_s"])
    right = total = 0
    for offset, words in parts:
        for w in words:
            total += 1
            right += any(abs(t - offset - w["start_s"]) <= 0.05 for t in times.get(w["text"], []))
    return right, total


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--lipwright", required=True, type=Path)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--triples", type=int, default=60)
    a = args.parse_args()
    known = {u["id"]: u for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines())}
    entries = [json.loads(line) for line in (a.data / "aligned.jsonl").read_text().splitlines()]
    speakers = {}
    for e in entries:
        u = known[e["id"]]
        if u["split"] == "tune" and align.passes_gate(e) and len(u["text"].split()) >= 4:
            speakers.setdefault(u["speaker"], []).append(u)
    rng = np.random.default_rng(1)
    many = [us for us in speakers.values() if len({u["text"] for u in us}) >= 3]
    counts = {k: [0, 0] for k in ("fits", "missing", "extra")}
    told = {"missing": [], "extra": []}
    false_words, false_notes, refused, wrong_words = 0, 0, 0, 0
    for _ in range(a.triples):
        us = many[rng.integers(len(many))]
        picked = []
        for i in rng.permutation(len(us)):
            if us[i]["text"] not in [u["text"] for u in picked]:
                picked.append(us[i])
        sound = [soundfile.read(a.data / u["audio"], dtype="float32")[0] for u in picked[:3]]
        text = [u["text"] for u in picked[:3]]
        alone = [heard(a.lipwright, s, t).get("words", []) for s, t in zip(sound, text, strict=True)]
        at = np.cumsum([0] + [len(s) / RATE for s in sound])

        said = heard(a.lipwright, np.concatenate(sound), " ".join(text))
        counts["fits"] = np.add(counts["fits"], kept(said, list(zip(at, alone, strict=False))))
        false_notes += any("not heard" in n or "not in the script" in n for n in said.get("notes", []))

        said = heard(a.lipwright, np.concatenate([sound[0], sound[2]]), " ".join(text))
        counts["missing"] = np.add(counts["missing"], kept(said, [(0, alone[0]), (at[1], alone[2])]))
        words = len(said.get("words", []))
        missing = sum(int(n) for note in said.get("notes", []) for n in re.findall(r"\((\d+) words of the script\) was not heard", note))
        told["missing"].append(missing >= 0.7 * len(text[1].split()))
        false_words += max(0, words - len(alone[0]) - len(alone[2]))

        said = heard(a.lipwright, np.concatenate(sound), text[0] + " " + text[2])
        counts["extra"] = np.add(counts["extra"], kept(said, [(0, alone[0]), (at[2], alone[2])]))
        if alone[1]:
            low, high = at[1] + alone[1][0]["start_s"], at[1] + alone[1][-1]["end_s"]
            spans = [tuple(map(float, s)) for note in said.get("notes", []) for s in re.findall(r"heard from ([\d.]+) s to ([\d.]+) s is not", note)]
            covered = sum(max(0.0, min(e, high) - max(s, low)) for s, e in spans)
            told["extra"].append(covered >= 0.7 * (high - low))

        said = heard(a.lipwright, sound[0], text[1])
        refused += any("another recording" in n for n in said.get("notes", []))
        wrong_words += len(said.get("words", []))
    for name, (right, total) in counts.items():
        print(f"{name}: {100 * right / total:.1f} % of the words that fit are within 50 ms of where they are alone")
    print(f"fits: {false_notes} of {a.triples} had something reported")
    print(f"missing: told in {sum(told['missing'])} of {len(told['missing'])}, {false_words} words placed that were not said")
    print(f"extra: told in {sum(told['extra'])} of {len(told['extra'])}")
    print(f"wrong file: refused in {refused} of {a.triples}, {wrong_words} words placed all the same")


if __name__ == "__main__":
    main()
