"""Phone times of human speech by forced alignment with a general recogniser (PyPI pocketsphinx 5.1.1, en-us model).

    python align.py --data DATA [--source NAME] [--processes 2]

Reads DATA/utterances.jsonl (gather.py), writes DATA/aligned.jsonl: one object an utterance with `phones`
([start_s, end_s, phone] without gaps) and the figures the gate uses. Utterances already in the file are
skipped, so it can be interrupted. Nothing is gated here; `passes_gate` is applied by whoever reads.

"Aligned" is not "right": the recogniser finds some alignment for most wrong transcripts too, hence the gate.
"""

import argparse
import json
import multiprocessing as mp
import re
import subprocess
import wave
from pathlib import Path

from phones import INDEX, to_phone

# A frame of the recogniser is 10 ms; acoustic scores are log probabilities per frame.
# Limits set with check_gate.py on training speech: 138 of 160 right transcripts pass, 2 of 156 wrong ones.
MIN_MEAN_SCORE = -25.0
# The acted speech has nothing above 5.5 kHz, which costs every frame; its texts come from the same archive.
LESS = {"acted-en": -31.0}
MAX_PHONE_FRAMES = 60


def passes_gate(entry: dict) -> bool:
    """True if an alignment looks right: good acoustic fit, and no phone stretched beyond belief."""
    least = LESS.get(entry["id"].split("/")[0], MIN_MEAN_SCORE)
    return bool(entry.get("phones")) and entry["mean_score"] > least and entry["longest"] <= MAX_PHONE_FRAMES


def words_of(text: str) -> list[str]:
    return re.findall(r"[a-z']+", text.lower().replace("’", "'"))


_decoder = None
_known: dict[str, bool] = {}


def decoder():
    global _decoder
    if _decoder is None:
        from pocketsphinx import Decoder

        # Default beams lose 10–40 % of sentences.
        _decoder = Decoder(lm=None, beam=1e-120, wbeam=1e-100, pbeam=1e-120, bestpath=False, loglevel="FATAL")
    return _decoder


def ensure_word(d, word: str, pronunciations: dict[str, list[str]]) -> None:
    """Adds a missing word to the dictionary: from the source's own lexicon, else by flite's letter-to-sound."""
    if word in _known or d.lookup_word(word) is not None:
        _known[word] = True
        return
    given = pronunciations.get(word)
    if given is None:
        said = subprocess.run(
            ["flite", "-t", word, "-ps", "-o", "none"], capture_output=True, text=True, check=True
        ).stdout.split()
        given = [" ".join(p for p in (to_phone(s) for s in said) if p and p != "SIL")]
    for i, phones in enumerate(given):
        d.add_word(word if i == 0 else f"{word}({i + 1})", " ".join(to_phone(p) for p in phones.split()), True)
    _known[word] = True


def align(utterance: dict) -> dict:
    entry = {"id": utterance["id"], "phones": None, "mean_score": -1e9, "longest": 0}
    words = words_of(utterance["text"])
    if not words:
        return entry
    try:
        d = decoder()
        for word in words:
            ensure_word(d, word, _pronunciations)
        with wave.open(str(_data / utterance["audio"])) as w:
            pcm = w.readframes(w.getnframes())
            duration = w.getnframes() / w.getframerate()
        d.set_align_text(" ".join(words))
        for phase in range(2):
            if phase == 1:
                d.set_alignment()
            d.start_utt()
            d.process_raw(pcm, full_utt=True)
            d.end_utt()
            # The phone pass has no hypothesis to ask for (asking ends the process).
            if phase == 0 and d.hyp() is None:
                return entry
        phones, scores, frames, longest = [], 0.0, 0, 0
        for word in d.get_alignment():
            for p in word:
                name = to_phone(p.name)
                if name is None:
                    raise ValueError(f"unknown phone {p.name}")
                phones.append([p.start / 100, (p.start + p.duration) / 100, name])
                if name != "SIL":
                    scores += p.score
                    frames += p.duration
                    longest = max(longest, p.duration)
        if not frames:
            return entry
        phones[-1][1] = max(phones[-1][1], duration)
        entry.update(phones=phones, mean_score=scores / frames, longest=longest)
    except (RuntimeError, ValueError) as why:
        entry["error"] = str(why)
    return entry


def start(data: str) -> None:
    global _data, _pronunciations
    _data = Path(data)
    _pronunciations = {}
    extra = _data / "lexicon.txt"
    if extra.exists():
        for line in extra.read_text().splitlines():
            word, phones = line.split("\t")
            _pronunciations.setdefault(word.lower(), []).append(phones)
    assert all(p in INDEX for p in ("SIL", "ZH"))


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--source", action="append")
    args.add_argument("--processes", type=int, default=2)
    a = args.parse_args()
    out = a.data / "aligned.jsonl"
    done = {json.loads(line)["id"] for line in out.read_text().splitlines()} if out.exists() else set()
    todo = [json.loads(line) for line in (a.data / "utterances.jsonl").read_text().splitlines()]
    todo = [u for u in todo if u["id"] not in done and u["kind"] == "human" and (not a.source or u["source"] in a.source)]
    todo.sort(key=lambda u: ["train", "tune", "test"].index(u["split"]))
    with out.open("a") as sink, mp.Pool(a.processes, start, (str(a.data),)) as pool:
        for n, entry in enumerate(pool.imap(align, todo, chunksize=4), 1):
            sink.write(json.dumps(entry) + "\n")
            if n % 100 == 0:
                sink.flush()
                print(f"{n}/{len(todo)}", flush=True)


if __name__ == "__main__":
    main()
