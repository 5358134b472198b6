"""How well lines are heard: Lipwright beside a general recogniser, on the same files in the same run.

    python hearing_report.py --lipwright target/release/lipwright --samples sample-audio [--data DATA] [--every 12]

The general recogniser is PyPI pocketsphinx 5.1.1 with its en-us model: a phone loop without a script, forced alignment
with one. Two sets:

- the sample lines (voice rms, unseen by training): phone times as synthesised, exact;
- with --data: human test speakers (splits.tsv, `test`) that gather.py and align.py prepared. Their reference IS the
  general recogniser's forced alignment, where it passes the gate; that flatters it and says nothing about its
  alignment with a script, so that cell stays empty, and ours there reads as agreement with it.

Score: 10 ms frames with the right mouth shape, and shape changes of the reference with a change to the same shape
within 20 ms. HH takes the shape of the sound after it; a diphthong counts as its first target; AH without a stress
mark may be open or half-open.
"""

import argparse
import json
import subprocess
import tempfile
import wave
from pathlib import Path

import align
import numpy as np
from phones import SHAPE_OF_PHONE, SHAPES, to_phone

AH = {SHAPES.index("open"), SHAPES.index("half-open")}


def shapes_of(phones: list) -> list:
    """[(start, end, {shape indices that count as right})]."""
    out = []
    for n, (start, end, name) in enumerate(phones):
        phone = to_phone(name)
        if phone == "HH" and n + 1 < len(phones):
            phone, name = to_phone(phones[n + 1][2]), phones[n + 1][2]
        right = {SHAPES.index(SHAPE_OF_PHONE[phone])}
        if phone == "AH":
            right = {SHAPES.index("open")} if name.endswith(("1", "2")) else right if name.endswith("0") else AH
        out.append((start, end, right))
    return out


def frames_of(segments: list, count: int) -> list:
    out = [set()] * count
    for start, end, right in segments:
        for i in range(max(0, round(start * 100 + 1e-9)), min(count, round(end * 100 + 1e-9))):
            out[i] = right
    return out


class Score:
    def __init__(self):
        self.right = self.frames = self.near = self.changes = 0

    def add(self, reference: list, heard: list) -> None:
        count = round(reference[-1][1] * 100)
        a, b = frames_of(reference, count), frames_of(heard, count)
        self.frames += count
        self.right += sum(bool(x & y) for x, y in zip(a, b, strict=True))
        starts = [(s, r) for n, (s, _, r) in enumerate(heard) if n and not (r & heard[n - 1][2])]
        for n, (start, _, right) in enumerate(reference):
            if n and not (right & reference[n - 1][2]):
                self.changes += 1
                self.near += any(abs(s - start) <= 0.020 + 1e-9 and r & right for s, r in starts)

    def text(self) -> str:
        return f"{100 * self.right / self.frames:5.1f} % of frames, {100 * self.near / self.changes:5.1f} % of changes within 20 ms"


def by_lipwright(program: Path, wav: Path, script: str | None) -> list:
    command = [program, "shapes", wav, "--json"]
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as f:
        if script is not None:
            f.write(script)
            f.flush()
            command += ["--script", f.name]
        said = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)
    return [(s["start_s"], s["end_s"], {SHAPES.index(s["shape"])}) for s in said["segments"]]


_loop = None


def by_phone_loop(wav: Path) -> list:
    global _loop
    import pocketsphinx

    if _loop is None:
        model = Path(pocketsphinx.get_model_path()) / "en-us"
        lm = next(Path(pocketsphinx.get_model_path()).rglob("en-us-phone.lm.bin"))
        # The settings of its own documentation for phone recognition.
        _loop = pocketsphinx.Decoder(
            hmm=str(model / "en-us"), lm=None, dict=None, allphone=str(lm), lw=2.0, beam=1e-20, pbeam=1e-20, loglevel="FATAL"
        )
    with wave.open(str(wav)) as w:
        pcm = w.readframes(w.getnframes())
    _loop.start_utt()
    _loop.process_raw(pcm, full_utt=True)
    _loop.end_utt()
    phones = [[s.start_frame / 100, (s.end_frame + 1) / 100, to_phone(s.word) or "SIL"] for s in _loop.seg() or []]
    return shapes_of(phones)


def by_forced_alignment(wav: Path, script: str) -> list:
    entry = align.align({"id": "", "audio": str(wav.resolve()), "text": script})
    return shapes_of(entry["phones"] or [[0, 0, "SIL"]])


def report(title: str, files: list, program: Path, aligned_reference: bool) -> None:
    scores = {k: Score() for k in ("ours", "ours, script", "phone loop", "forced alignment, script")}
    for wav, script, phones in files:
        reference = shapes_of(phones)
        scores["ours"].add(reference, by_lipwright(program, wav, None))
        scores["ours, script"].add(reference, by_lipwright(program, wav, script))
        scores["phone loop"].add(reference, by_phone_loop(wav))
        if not aligned_reference:
            scores["forced alignment, script"].add(reference, by_forced_alignment(wav, script))
    print(f"{title}: {len(files)} files, {scores['ours'].frames / 100:.0f} s")
    for name, score in scores.items():
        print(f"  {name:26}", score.text() if score.frames else "(is the reference)")


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--lipwright", required=True, type=Path)
    args.add_argument("--samples", required=True, type=Path)
    args.add_argument("--data", type=Path)
    args.add_argument("--every", type=int, default=12, help="take every n-th test recording of the largest source")
    a = args.parse_args()
    align.start(str(a.data or a.samples))
    lines = json.loads((a.samples / "lines.json").read_text())["lines"]
    files = []
    for line in lines:
        phones = json.loads((a.samples / line["phones"]).read_text())["phones"]
        phones = [[p["start_s"], p["end_s"], p["phone"]] for p in phones]
        files.append((a.samples / line["audio"], (a.samples / line["script"]).read_text(), phones))
    report("sample lines (exact times)", files, a.lipwright, False)
    if not a.data:
        return
    known = {u["id"]: u for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines())}
    entries = [json.loads(line) for line in (a.data / "aligned.jsonl").read_text().splitlines()]
    by_source = {}
    for e in entries:
        u = known[e["id"]]
        if u["split"] == "test" and align.passes_gate(e):
            by_source.setdefault(u["source"], []).append((a.data / u["audio"], u["text"], e["phones"]))
    for source, files in sorted(by_source.items()):
        report(f"test speakers of {source} (reference: forced alignment)", files[:: a.every if len(files) > 400 else 1], a.lipwright, True)


if __name__ == "__main__":
    main()
