"""How well lines are heard: Lipwright beside a general recogniser, on the same files in the same run.

    python hearing_report.py --lipwright target/release/lipwright --samples sample-audio [--hand FOLDER] [--data DATA [--tuning]]

The general recogniser is PyPI pocketsphinx 5.1.1 with its en-us model: a phone loop without a script, forced alignment
with one. Three sets:

- six recordings labelled by hand (hand_labels.py), fetched into --hand: the only ones that no program placed, and few;
- the sample lines (voice rms, unseen by training): phone times as synthesised, exact;
- with --data: human test speakers (splits.tsv, `test`) that gather.py and align.py prepared. Their reference IS the
  general recogniser's forced alignment, where it passes the gate; that flatters it and says nothing about its
  alignment with a script, so that cell stays empty, and ours there reads as agreement with it.

Score: 10 ms frames with the right mouth shape, and shape changes of the reference with a change to the same shape
within 20 ms. The recogniser's times are multiples of 10 ms, so where its alignment is the reference, ours are rounded to
those too. HH takes the shape of the sound after it; a diphthong counts as its first target; AH without a stress
mark may be open or half-open.

The human sets are scored twice: with the reference as it is, and with what cannot be right in it taken for a pause. The
recogniser likes to let a phone run on through the silence after it. No vowel, nasal, liquid, glide, voiced or sibilant
fricative lies 30 dB below the active speech level (ITU-T P.56, its definition from memory) for the 60 ms that count as a
pause here; where the reference says so, the second score has a pause there. The rule looks at the sound alone.
"""

import argparse
import json
import resource
import subprocess
import tempfile
import time
import wave
from pathlib import Path

import align
import hand_labels
import numpy as np
from phones import SHAPE_OF_PHONE, SHAPES, to_phone

MAY_BE_QUIET = set("SIL P B T D K G CH JH F TH HH".split())
QUIET_DB = -30.0
QUIET_FRAMES = 6
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


def active_level(samples: np.ndarray, rate: int) -> float:
    """Active speech level in dB: ITU-T P.56, method B (envelope of 30 ms, hangover of 200 ms, margin 15.9 dB)."""
    g = np.exp(-1 / (0.03 * rate))
    hang = round(0.2 * rate)
    envelope = np.abs(samples)
    for _ in range(2):
        out, last = np.empty_like(envelope), 0.0
        for i, x in enumerate(envelope):
            last = g * last + (1 - g) * x
            out[i] = last
        envelope = out
    energy = float(np.sum(samples**2))
    thresholds = 2.0 ** -np.arange(0.0, 16.0, 0.5)
    best = None
    for c in thresholds:
        loud = np.flatnonzero(envelope >= c)
        if not len(loud):
            continue
        # Each loud sample keeps the next 200 ms active.
        gaps = np.minimum(np.diff(np.append(loud, len(samples))), hang)
        level = 10 * np.log10(energy / gaps.sum())
        apart = level - 20 * np.log10(c)
        if apart >= 15.9:
            if best is None or apart - 15.9 < 1e-9:
                return level
            before_level, before = best
            return before_level + (level - before_level) * (15.9 - before) / (apart - before)
        best = (level, apart)
    return 10 * np.log10(energy / len(samples))


def with_pauses(phones: list, wav: Path) -> list:
    """Phones, with silence for stretches in which what they say cannot be."""
    with wave.open(str(wav)) as w:
        rate = w.getframerate()
        samples = np.frombuffer(w.readframes(w.getnframes()), np.int16) / 32768.0
    floor = active_level(samples, rate) + QUIET_DB
    hop = rate // 100
    power = [np.mean(samples[i : i + hop] ** 2) for i in range(0, len(samples), hop)]
    quiet = 10 * np.log10(np.array(power) + 1e-12) < floor
    names = ["SIL"] * len(quiet)
    for start, end, name in phones:
        for i in range(round(start * 100), min(len(names), round(end * 100))):
            names[i] = name
    # A stop's closure may begin in the phone before it, as an aligner has it.
    starts_stop = [n.rstrip("012") in MAY_BE_QUIET - {"SIL"} for n in names]
    i = 0
    while i < len(quiet):
        j = i
        while j < len(quiet) and quiet[j] and names[j].rstrip("012") not in MAY_BE_QUIET:
            j += 1
        if j - i >= QUIET_FRAMES and not (j < len(names) and starts_stop[j] and j - i < 2 * QUIET_FRAMES):
            names[i:j] = ["SIL"] * (j - i)
        i = max(j, i + 1)
    # Together again, but two phones of one name in a row stay two.
    begins = {(round(start * 100), name) for start, _, name in phones}
    out = []
    for i, name in enumerate(names):
        if out and out[-1][2] == name and (i, name) not in begins:
            out[-1][1] = (i + 1) / 100
        else:
            out.append([i / 100, (i + 1) / 100, name])
    return out


def rounded(segments: list) -> list:
    return [(round(start * 100) / 100, round(end * 100) / 100, right) for start, end, right in segments]


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
    names = ("ours", "ours, script", "phone loop", "forced alignment, script")
    scores = {k: Score() for k in names}
    mended = {k: Score() for k in names}
    for wav, script, phones in files:
        heard = {"ours": by_lipwright(program, wav, None), "ours, script": by_lipwright(program, wav, script), "phone loop": by_phone_loop(wav)}
        if aligned_reference:
            heard = {name: rounded(segments) for name, segments in heard.items()}
        else:
            heard["forced alignment, script"] = by_forced_alignment(wav, script)
        references = [(scores, shapes_of(phones))]
        if aligned_reference:
            references.append((mended, shapes_of(with_pauses(phones, wav))))
        for table, reference in references:
            for name, segments in heard.items():
                table[name].add(reference, segments)
    print(f"{title}: {len(files)} files, {scores['ours'].frames / 100:.0f} s")
    for name, score in scores.items():
        print(f"  {name:26}", score.text() if score.frames else "(is the reference)")
    if aligned_reference:
        print("  with pauses where nothing is to be heard:")
        for name in names[:3]:
            print(f"    {name:24}", mended[name].text())


def speed(files: list, program: Path) -> None:
    """Processor time of both for the same recordings end to end; starting up, measured on 0.1 s, does not count."""
    joined = b""
    for wav, _, _ in files:
        with wave.open(str(wav)) as w:
            joined += w.readframes(w.getnframes())
    with tempfile.TemporaryDirectory() as folder:

        def write(name: str, pcm: bytes) -> Path:
            with wave.open(str(Path(folder) / name), "wb") as w:
                w.setparams((1, 2, 16000, 0, "NONE", ""))
                w.writeframes(pcm)
            return Path(folder) / name

        def ours(wav: Path) -> float:
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            by_lipwright(program, wav, None)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

        def theirs(wav: Path) -> float:
            before = time.process_time()
            by_phone_loop(wav)
            return time.process_time() - before

        short, whole = write("short.wav", joined[:3200]), write("whole.wav", joined)
        length = len(joined) / 32000
        theirs(short)
        cost = {"Lipwright": ours(whole) - ours(short), "phone loop": theirs(whole) - theirs(short)}
    print(f"speed, {length:.0f} s without a script, on one core:")
    for name, seconds in cost.items():
        print(f"  {name:12} {seconds:6.2f} s of processor time, {length / seconds:.0f} times real time")
    print(f"  ratio        {cost['phone loop'] / cost['Lipwright']:.0f}")


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--lipwright", required=True, type=Path)
    args.add_argument("--samples", required=True, type=Path)
    args.add_argument("--hand", type=Path)
    args.add_argument("--data", type=Path)
    args.add_argument("--tuning", action="store_true", help="the tuning speakers, on whom settings were chosen, too")
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
    if a.hand:
        report("recordings labelled by hand", hand_labels.phrases(a.hand), a.lipwright, False)
    if not a.data:
        return
    known = {u["id"]: u for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines())}
    entries = [json.loads(line) for line in (a.data / "aligned.jsonl").read_text().splitlines()]
    for split in ("tune", "test") if a.tuning else ("test",):
        by_source = {}
        for e in entries:
            u = known[e["id"]]
            if u["split"] == split and align.passes_gate(e):
                by_source.setdefault(u["source"], []).append((a.data / u["audio"], u["text"], e["phones"]))
        for source, files in sorted(by_source.items()):
            files = files[:: a.every if len(files) > 400 else 1]
            report(f"{split} speakers of {source} (reference: forced alignment)", files, a.lipwright, True)
    speed(files, a.lipwright)


if __name__ == "__main__":
    main()
