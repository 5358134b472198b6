"""Phone times of human training speech again, by our own model, from the phones that align.py chose.

    python realign.py --train TRAIN --model acoustic.bin

The general recogniser's boundaries differ in kind from the synthesisers'; a model trained on both sorts, aligning the
human part again, brings them to one convention and also judges better which transcripts fit. Where the recogniser's alignment
passed its gate, and for the neural voices' coarse times, each phone stays within REACH of where it was said to be, so
that two opinions agree on it: a model left alone with its own labels drifts. Rewrites the
labels of TRAIN/items.json into TRAIN/realigned.json. What does not fit keeps its audio and loses its labels. Human
tuning speech is left alone: its labels stay those of the general recogniser.
"""

import argparse
import json
import multiprocessing as mp
import random
import wave
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from decode import decode
from numpy_net import Model
from phones import INDEX

# Gate: least mean over phones of the mean log probability of each. Set where right and wrong transcripts of
# training speech part (this script prints both).
MIN_FIT = -1.8
REACH = {"fine": 4, "coarse": 6}  # frames of 10 ms
LATE = 80  # samples by which the recogniser's boundaries come early (5 ms of flite's exact times)
IGNORE = 255
SIL = INDEX["SIL"]


def viterbi(logp: np.ndarray, phones: list[int], spans: list | None = None) -> tuple[np.ndarray, float] | None:
    """Phone of each frame on the best path through `phones` (at least two frames each; silences optional).

    With `spans`, [first frame, last frame] of each, no phone leaves its span.
    """
    state_phone, loops, silent, owner = [], [], [], []
    for n, p in enumerate(phones):
        for last in [True] if p == SIL else [False, True]:
            state_phone.append(p)
            loops.append(last)
            silent.append(p == SIL)
            owner.append(n)
    state_phone, loops, silent = np.array(state_phone), np.array(loops), np.array(silent)
    frames, states = len(logp), len(state_phone)
    if frames < (~silent).sum():
        return None
    emit = logp[:, state_phone]
    if spans:
        first, last = np.array(spans)[owner].T
        at = np.arange(frames)[:, None]
        emit = np.where((at >= first) & (at <= last), emit, -1e9)
    skip = np.zeros(states, bool)  # may be entered from two back, over a silence
    skip[2:] = silent[1:-1]
    low = -1e30
    score = np.full(states, low)
    score[0] = emit[0, 0]
    if silent[0] and states > 1:
        score[1] = emit[0, 1]
    back = np.zeros((frames, states), np.int8)
    for t in range(1, frames):
        stay = np.where(loops, score, low)
        step = np.concatenate([[low], score[:-1]])
        jump = np.where(skip, np.concatenate([[low, low], score[:-2]]), low) if states > 1 else np.full(states, low)
        options = np.stack([stay, step, jump])
        back[t] = options.argmax(axis=0)
        score = options.max(axis=0) + emit[t]
    ends = [states - 1] + ([states - 2] if silent[-1] and states > 1 else [])
    state = max(ends, key=lambda s: score[s])
    if score[state] < -1e8:
        return None
    path = np.zeros(frames, int)
    for t in range(frames - 1, -1, -1):
        path[t] = state
        state -= int(back[t, state])
    return np.array(owner)[path], float(score.max())


def fit(logp: np.ndarray, phones: list[int], owners: np.ndarray) -> float:
    """Mean over the spoken phones of the mean log probability of each."""
    labels = np.array(phones)[owners]
    each = logp[np.arange(len(logp)), labels]
    spoken = [each[owners == n].mean() for n in np.unique(owners) if phones[n] != SIL]
    return float(np.mean(spoken)) if spoken else -99.0


def with_edges(timed: list, reach: int) -> tuple[list[int], list]:
    """Phones of [[end_sample, phone]] with silence at both ends, none twice, and the frames where each may lie."""
    phones, spans, start = [SIL], [[0, reach]], 0
    for end, p in [*timed, [timed[-1][0], SIL]]:
        span = [round(start / 160) - reach, round(end / 160) - 1 + reach]
        start = end
        if p == SIL and phones[-1] == SIL:
            spans[-1][1] = span[1]
        else:
            phones.append(p)
            spans.append(span)
    spans[-1][1] += 2 * reach
    return phones, spans


def realign(job: tuple[Path, list, list, int | None]) -> dict:
    path, phones, false, reach = job
    with wave.open(str(path)) as w:
        samples = np.frombuffer(w.readframes(w.getnframes()), np.int16) / 32768.0
    logp = _model.log_posteriors(samples)
    out = {}
    for name, wanted in (("right", phones), ("wrong", false)):
        if not wanted:
            continue
        wanted, spans = with_edges(wanted, reach or 0)
        found = viterbi(logp, wanted, spans if reach is not None and name == "right" else None)
        if not found:
            continue
        owners = found[0]
        out[name] = fit(logp, wanted, owners)
        if name == "right":
            changes = np.flatnonzero(np.diff(owners)) + 1
            out["phones"] = [
                [int(end * 160), wanted[owners[start]]]
                for start, end in zip([0, *changes], [*changes, len(owners)], strict=True)
            ]
            out["phones"][-1][0] = len(samples)
    return out


def start(model: Path) -> None:
    global _model
    _model = Model(model)


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--train", required=True, type=Path)
    args.add_argument("--model", required=True, type=Path)
    args.add_argument("--opusdec", default="opusdec")
    a = args.parse_args()
    meta = json.loads((a.train / "items.json").read_text())
    human = [
        i
        for i in meta["items"]
        if not i["file"].startswith("stream-") and (i["split"] == "train" or i["guess"] == "coarse")
    ]
    rng = random.Random(3)
    jobs = []
    with ThreadPoolExecutor() as pool:
        list(pool.map(lambda i: decode(a.train / "audio" / i["file"], a.opusdec.split()), human))
    for i in human:
        near = [x for x in rng.sample(human, min(60, len(human))) if abs(len(x["phones"]) - len(i["phones"])) <= 2 and x is not i]
        if i["guess"] == "fine":
            i["phones"] = [[min(end + LATE, i["samples"]), p] for end, p in i["phones"]]
        reach = REACH.get(i["guess"]) if i["gate"] else None
        path = a.train / "audio" / i["file"].replace(".opus", ".wav")
        jobs.append((path, i["phones"], near[0]["phones"] if near else [], reach))
    right, wrong, moved, kept = [], [], {"fine": [], "coarse": [], "none": []}, {}
    with mp.Pool(None, start, (a.model,)) as pool:
        for item, job, found in zip(human, jobs, pool.imap(realign, jobs, chunksize=8), strict=True):
            if "wrong" in found and job[2]:
                wrong.append(found["wrong"])
            score = found.get("right", -99.0)
            right.append(score)
            if score < MIN_FIT:
                item["phones"] = [[item["samples"], IGNORE]]
                continue
            kept[item["source"]] = kept.get(item["source"], 0) + 1
            old = np.array([end for end, _ in item["phones"]])
            moved[item["guess"]] += [float(np.abs(old - end).min()) / 16000 for end, _ in found["phones"][:-1]]
            item["phones"] = found["phones"]
    marks = [1, 5, 10, 25, 50, 75, 90, 95, 99]
    print("percentiles", marks)
    print("fit, own transcript:  ", np.percentile(right, marks).round(2))
    print("fit, wrong transcript:", np.percentile(wrong, marks).round(2))
    print(f"kept {kept} of {len(human)}; boundaries moved by (s):")
    for guess in ("fine", "coarse"):
        if moved[guess]:
            print(f"  {guess}:", np.percentile(moved[guess], marks).round(3), flush=True)
    (a.train / "realigned.json").write_text(json.dumps(meta))


if __name__ == "__main__":
    main()
