"""Trains the acoustic model and writes its weights.

    python train.py --train TRAIN --out OUT [--items items.json] [--seconds 500]
        [--teacher-seconds 0 --ear pretrained.npz [--fold K]] [--begin acoustic.pt] [--seed 7]

TRAIN is what pack.py wrote; the items are its own, or those that realign.py labelled again and unlabelled.py and held.py added
to. With time for teachers, FOLDS larger networks are trained first, which begin with the ear of a general recogniser
(pretrained.py), each on the speech of all folds but its own. The shipped network then learns from the labels and from teachers'
opinions of the clean version of what it hears corrupted: of labelled speech, the opinion of the one teacher that has not heard
that speech, for what a teacher knows by heart it has no opinion of; of speech without labels, the mean of all. They are asked
once, before the network's training begins, which may be with the weights of a network of ours (--begin), a smaller one too. What labels call
silence although it is a loud voice (voice.py) is anything but silence. OUT gets acoustic.pt (checkpoint), acoustic.bin (weights as
shipped), acoustic.golden (a small input and what this model makes of it, for the Rust test) and train.log. Teachers are kept as
OUT/teacherK.pt and taken from there if they are there already; with --fold only one of them is trained (on several GPUs side by
side, one each); with --seconds 0 nothing else is trained. A GPU is used if there is one.
"""

import argparse
import copy
import hashlib
import json
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import torch
from augment import WARPS, Front, chance, corrupt, mask, uniform
from decode import decode
from export import quantised, write_golden, write_model
from features import HOP, RATE
from net import Acoustic, Teacher
from phones import INDEX, PHONES, SHAPE_INDEX
from torch.nn import functional as F
from voice import voiced_silence

GRID = 80
IGNORE = 255
VOICE = 254  # some phone that no one labelled, but no silence
SIL = INDEX["SIL"]
# How often a window comes from each source, whatever its length: speakers who learned English late are the most
# numerous, and must not drown native speech and the synthesisers' exact times.
SHARES = {
    "speechocean762": 0.20, "asterisk-en": 0.16, "gcompris-en-words": 0.03, "flite": 0.17, "festival": 0.07, "kokoro": 0.09,
    "acted-en": 0.28, "held": 0.05, "adventure": 0.25, "acted-other": 0.15, "prompts-other": 0.10, "words-other": 0.08,
    "kokoro-more": 0.12,
}  # fmt: skip
UNLABELLED = ("adventure", "acted-other", "prompts-other", "words-other", "kokoro-more")
SYNTHETIC = ("flite", "festival", "kokoro", "held")
FOLDS = 4
ANY = -1  # the fold of what every teacher has heard, or none
# Frames of a training window, and how often. A teacher hears only the first four; what the network remembers in an hour's
# recording must not drift away from what it knows, so it hears windows of up to 30 s.
WINDOWS = {200: 0.20, 300: 0.20, 400: 0.15, 500: 0.15, 800: 0.10, 1200: 0.08, 2000: 0.07, 3000: 0.05}
SHORT = 500
ASKED, ASIDE = 600, 100  # frames that a teacher is asked about at a time, and what it hears to either side
OPINION = 0.85  # of the loss; the rest is the labels'


def frame_labels(item: dict, pcm: np.ndarray) -> np.ndarray:
    """Label of each 5 ms step, at its centre. A synthesiser's silence is silent."""
    out = np.full(-(-len(pcm) // GRID), IGNORE, dtype=np.uint8)
    start = 0
    for end, phone in item["phones"]:
        a, b = (start + GRID // 2) // GRID, (end + GRID // 2) // GRID
        out[a:b] = phone
        start = end
    if item["source"] not in SYNTHETIC:
        frames = -(-len(pcm) // HOP)
        at = np.minimum(np.arange(frames) * HOP // GRID + 1, len(out) - 1)
        voiced = voiced_silence(pcm / 32768.0, out[at] == SIL, (out[at] != SIL) & (out[at] != IGNORE))
        steps = np.repeat(voiced, HOP // GRID)[: len(out)]
        out[steps & (out == SIL)] = VOICE
    return out


def in_folds(item: dict, pcm: np.ndarray, label: np.ndarray):
    """(item, samples, labels, fold) of each part of a recording. Speakers stay together where there are many."""

    def fold(text: str) -> int:
        return int(hashlib.sha256(text.encode()).hexdigest(), 16) % FOLDS

    source = item["source"]
    if source == "held" or source in UNLABELLED or item["split"] != "train":
        return [(item, pcm, label, ANY)]
    if source in ("speechocean762", "kokoro"):
        return [(item, pcm, label, fold(item["speaker"]))]
    if len(pcm) < 300 * RATE:
        return [(item, pcm, label, fold(item["file"]))]
    cut = len(pcm) // FOLDS // GRID
    spans = [(k * cut, (k + 1) * cut if k < FOLDS - 1 else None) for k in range(FOLDS)]
    return [(item, pcm[a * GRID : b and b * GRID], label[a:b], k) for k, (a, b) in enumerate(spans)]


class Speech:
    """Every speaker's training speech as one stream on the device, and windows drawn from them."""

    def __init__(self, parts, device):
        self.device = device
        streams = {}
        for item, pcm, label, fold in parts:
            pcm = np.pad(pcm, (0, -len(pcm) % GRID))
            streams.setdefault((item["source"], item["speaker"], fold), []).append((pcm, label))
        waves, labels, self.starts, self.lengths, self.sources, self.folds = [], [], [], [], [], []
        at = 0
        for (source, _, fold), parts in streams.items():
            pcm = np.concatenate([p for p, _ in parts])
            waves.append(pcm)
            labels.append(np.concatenate([y for _, y in parts]))
            self.starts.append(at)
            self.lengths.append(len(pcm))
            self.sources.append(source)
            self.folds.append(fold)
            at += len(pcm)
        pad = 60 * RATE
        self.wave = torch.tensor(np.concatenate([*waves, np.zeros(pad, np.int16)]), device=device)
        self.label = torch.tensor(np.concatenate([*labels, np.full(pad // GRID, IGNORE, np.uint8)]), device=device)
        self.weights = self.among(lambda source, fold: True)
        self.opinion = None
        self.starts = torch.tensor(self.starts, device=device)
        self.lengths = torch.tensor(self.lengths, device=device)

    def among(self, wanted):
        """Weights of the streams that are wanted, each source with its share."""
        totals = {}
        lengths = [int(n) for n in self.lengths]
        for source, fold, length in zip(self.sources, self.folds, lengths, strict=True):
            if wanted(source, fold):
                totals[source] = totals.get(source, 0) + length
        weights = [
            SHARES[source] * length / totals[source] if wanted(source, fold) else 0.0
            for source, fold, length in zip(self.sources, self.folds, lengths, strict=True)
        ]
        return torch.tensor(weights, device=self.device)

    def windows(self, batch: int, frames: int, weights=None):
        """(batch, samples) at random speeds, (batch, frames) labels and what teachers say, of all streams or by other weights."""
        d = self.device
        n = frames * HOP
        who = torch.multinomial(self.weights if weights is None else weights, batch, replacement=True)
        speed = torch.where(torch.rand(batch, 1, device=d) < 0.8, torch.exp(uniform((batch, 1), -0.22, 0.22, d)), 1.0)
        room = (self.lengths[who].double() - 1.3 * n).clamp(min=1)
        origin = (self.starts[who] + (torch.rand(batch, device=d).double() * room).long() // GRID * GRID)[:, None]
        place = torch.arange(n, device=d)[None] * speed
        whole = place.floor()
        t = place - whole
        index = origin + whole.long()
        p0, p1, p2, p3 = (self.wave[(index + k).clamp(min=0)].float() / 32768 for k in (-1, 0, 1, 2))
        # Cubic (Catmull-Rom) interpolation.
        x = p1 + 0.5 * t * (p2 - p0 + t * (2 * p0 - 5 * p1 + 4 * p2 - p3 + t * (3 * (p1 - p2) + p3 - p0)))
        centres = (torch.arange(frames, device=d)[None] * HOP + HOP // 2) * speed
        y = self.label[(origin + centres.long()) // GRID].long()
        # Stretches of nothing at either end: a recording's silence must not sway the rest.
        for side in (0, 1):
            cut = (torch.rand(batch, 1, device=d) ** 2 * 0.6 * frames).long() * chance(batch, 0.12, d).long()
            step = torch.arange(frames, device=d)[None]
            hidden = step < cut if side == 0 else step >= frames - cut
            y = torch.where(hidden, SIL, y)
            x = x * (~hidden).float().repeat_interleave(HOP, 1)
        if self.opinion is None:
            return x, y, None
        # Between the centres of two frames, a mixture of what is said of both.
        at = ((origin + centres - HOP // 2) / HOP).clamp(min=0)
        whole = at.long().clamp(max=len(self.opinion) - 2)
        part = (at - whole).float()[..., None]
        return x, y, self.opinion[whole].float() * (1 - part) + self.opinion[whole + 1].float() * part

    def ask(self, teachers, front) -> None:
        """Keeps the teachers' posteriors of everything, a row for each frame of the streams.

        Of a fold, its own teacher's; of the rest, the mean of all."""
        frames = len(self.wave) // HOP
        fold = torch.full((frames, 1), ANY, dtype=torch.int8, device=self.device)
        spans, longest = [], ASKED + 2 * ASIDE
        for start, length, k in zip(self.starts.tolist(), self.lengths.tolist(), self.folds, strict=True):
            first, last = start // HOP, (start + length) // HOP
            fold[first:last] = k
            for a in range(first, last, ASKED):
                spans.append((a, min(a + ASKED, last), max(first, min(a - ASIDE, last - longest))))
        self.opinion = torch.zeros(frames, 40, dtype=torch.float16, device=self.device)
        for k, teacher in enumerate(teachers):
            share = torch.where(fold == k, 1.0, torch.where(fold == ANY, 1 / len(teachers), 0.0)).half()
            for i in range(0, len(spans), 64):
                these = spans[i : i + 64]
                begin = torch.tensor([b for _, _, b in these], device=self.device)[:, None]
                index = (begin * HOP + torch.arange(longest * HOP, device=self.device)).clamp(max=len(self.wave) - 1)
                x = self.wave[index].float() / 32768
                with torch.no_grad(), torch.autocast(self.device.type, dtype=torch.bfloat16):
                    said = torch.softmax(teacher(front.normalise(front.log_mel(x)), x).float(), 1)
                for row, (a, end, b) in zip(said, these, strict=True):
                    self.opinion[a:end] += row[:, a - b : end - b].T.half() * share[a:end]


def class_weights(speech: Speech) -> tuple[torch.Tensor, torch.Tensor]:
    """(loss weight of each phone, share of each phone among windows as drawn)."""
    counts = torch.zeros(40, device=speech.device)
    for _ in range(40 if speech.device.type == "cuda" else 2):
        _, y, _ = speech.windows(256, 300)
        counts += torch.bincount(y[y < VOICE], minlength=40)
    share = counts / counts.sum()
    weights = (share.clamp(min=1e-4) ** -0.25).clamp(max=8)
    return weights / (weights * share).sum(), share


def as_heard(front, pcm, label, device):
    """(1, samples), (1, 40, frames) normalised log-mel, and the label at the centre of each frame, of one recording as it is."""
    x = torch.tensor(pcm, device=device).float()[None] / 32768
    values = front.normalise(front.log_mel(x))
    label = torch.tensor(label, device=device).long()
    centre = torch.arange(values.shape[2], device=device) * 2 + 1
    return x, values, label[centre.clamp(max=len(label) - 1)]


def tune_scores(model, front, items, audio, labels, device) -> dict:
    """Frame scores on the tuning speakers, one recording at a time, nothing augmented; loud voices without a label aside."""
    to_shape = torch.tensor(SHAPE_INDEX, device=device)
    right_phone = right_shape = total = speech_total = speech_right = 0
    by_source = {}
    loss = 0.0
    model.eval()
    with torch.no_grad():
        for item, pcm, y in zip(items, audio, labels, strict=True):
            x, values, y = as_heard(front, pcm, y, device)
            logits = model(values, x)[0].T.float()
            good = y < VOICE
            p = torch.softmax(logits, 1)
            shapes = torch.zeros(len(p), 14, device=device).index_add_(1, to_shape, p).argmax(1)
            hit = (shapes == to_shape[y.clamp(max=39)]) & good
            right_shape += hit.sum().item()
            counts = by_source.setdefault(item["source"], [0, 0])
            counts[0] += hit.sum().item()
            counts[1] += good.sum().item()
            right_phone += ((p.argmax(1) == y) & good).sum().item()
            spoken = good & (y != 0)
            speech_total += spoken.sum().item()
            speech_right += (hit & spoken).sum().item()
            total += good.sum().item()
            loss += F.cross_entropy(logits[good], y[good], reduction="sum").item()
    model.train()
    each = {f"shape of {source}": right / max(1, n) for source, (right, n) in by_source.items()}
    return dict(
        loss=loss / total, phone=right_phone / total, shape=right_shape / total, speech_shape=speech_right / speech_total, **each
    )


def score_end_to_end(model, front, items, audio, labels, device) -> str:
    """Shapes right of each source with all tuning recordings end to end, each normalised by itself."""
    to_shape = torch.tensor(SHAPE_INDEX, device=device)
    values, truth, sources = [], [], []
    for item, pcm, y in zip(items, audio, labels, strict=True):
        _, heard, y = as_heard(front, pcm, y, device)
        values.append(heard)
        truth.append(y)
        sources += [item["source"]] * len(y)
    model.eval()
    with torch.no_grad():
        p = torch.softmax(model(torch.cat(values, 2))[0].T.float(), 1)
    model.train()
    y = torch.cat(truth)
    shapes = torch.zeros(len(p), 14, device=device).index_add_(1, to_shape, p).argmax(1)
    good, hit = (y < VOICE).cpu().numpy(), (shapes == to_shape[y.clamp(max=39)]).cpu().numpy()
    sources = np.array(sources)
    return ", ".join(f"{source} {hit[good & (sources == source)].mean():.4f}" for source in sorted(set(sources)))


class Trainer:
    def __init__(self, speech: Speech, front: Front, batch: int, say, tune):
        self.speech, self.front, self.batch, self.say, self.tune = speech, front, batch, say, tune
        self.device = speech.device
        self.weights, self.share = class_weights(speech)
        self.to_shape = torch.zeros(40, 14, device=self.device)
        self.to_shape[torch.arange(40), torch.tensor(SHAPE_INDEX)] = 1.0
        self.shape_of = torch.tensor(SHAPE_INDEX, device=self.device)

    def loss(self, logits, y):
        """Cross-entropy over phones, and over the shapes that they sum to: confusions within a shape cost less."""
        # Nothing waits for the device here: what does not count is left out by weights of nothing.
        logits, flat = logits.reshape(-1, 40), y.reshape(-1)
        good, voiced = flat < VOICE, flat == VOICE
        loss = F.cross_entropy(logits, torch.where(good, flat, -100), weight=self.weights, label_smoothing=0.04)
        p = torch.softmax(logits, 1)
        shapes = torch.where(good, self.shape_of[flat.clamp(max=39)], -100)
        loss = loss + 0.3 * F.nll_loss(torch.log((p @ self.to_shape).clamp(min=1e-6)), shapes)
        spoken = (1.0 - p[:, SIL]).clamp(min=1e-4).log() * voiced
        return loss - spoken.sum() / good.sum().clamp(min=1)

    def fit(self, model, seconds: float, steps: int, clean: float, rate: float, draw=None, longest: int = SHORT):
        """Trains until steps or seconds run out, annealed to nothing by then; returns the running average."""
        spans = [frames for frames in WINDOWS if frames <= longest]
        often = np.array([WINDOWS[frames] for frames in spans])
        began = time.monotonic()
        average = copy.deepcopy(model)
        # What begins with a recogniser's knowledge keeps most of it.
        known = lambda name: name.startswith("ear.")  # noqa: E731
        groups = [
            {"params": [p for n, p in model.named_parameters() if not known(n)], "share": 1.0},
            {"params": [p for n, p in model.named_parameters() if known(n)], "share": 0.05},
        ]
        optimiser = torch.optim.AdamW([g for g in groups if g["params"]], lr=rate, weight_decay=0.02)
        done, step = 0.0, 0
        while done < 1.0:
            done = max(step / steps, (time.monotonic() - began) / seconds)
            now = rate * min(1.0, step / 300) * (0.5 + 0.5 * np.cos(np.pi * min(done, 1.0))) + 1e-6
            for group in optimiser.param_groups:
                group["lr"] = now * group["share"]
            frames = int(np.random.choice(spans, p=often / often.sum()))
            batch = max(2, self.batch * 300 // frames)
            with torch.no_grad():
                x, y, said = self.speech.windows(batch, frames, draw)
                # Some are left clean: the page's users mostly record well.
                heard = torch.where(torch.rand(batch, 1, device=self.device) < clean, x, corrupt(x))
                warp = torch.randint(0, len(WARPS), (batch,), device=self.device)
                warp = torch.where(torch.rand(batch, device=self.device) < 0.7, warp, self.front.plain)
                values = mask(self.front.normalise(self.front.log_mel(heard, warp)))
            with torch.autocast(self.device.type, dtype=torch.bfloat16):
                logits = model(values, heard)
            logits = logits.float().transpose(1, 2)
            loss = self.loss(logits, y)
            if said is not None:
                said[..., SIL] *= y != VOICE
                target = said / said.sum(2, keepdim=True).clamp(min=1e-6)
                # Nothing recorded is silence, which the labels say better.
                apart = -(target * torch.log_softmax(logits, 2)).sum(2)
                loss = (1 - OPINION) * loss + OPINION * (apart * (y != SIL)).sum() / (y != SIL).sum()
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
            optimiser.step()
            step += 1
            with torch.no_grad():
                decay = min(0.999, step / (step + 50))
                mine = [p for p in average.state_dict().values() if p.is_floating_point()]
                theirs = [p for p in model.state_dict().values() if p.is_floating_point()]
                torch._foreach_mul_(mine, decay)
                torch._foreach_add_(mine, theirs, alpha=1 - decay)
            if step % 3000 == 0:
                score = self.tune(average)
                self.say(
                    f"{time.monotonic() - began:.0f} s: step {step} loss {loss.item():.3f} rate {now:.5f} tune "
                    + " ".join(f"{k} {v:.4f}" for k, v in score.items())
                )
        self.say(f"{step} steps in {time.monotonic() - began:.0f} s")
        return average.eval()


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--train", required=True, type=Path)
    args.add_argument("--out", required=True, type=Path)
    args.add_argument("--items", default="items.json")
    args.add_argument("--steps", type=int, default=20000)
    args.add_argument("--seconds", type=float, default=500, help="for the shipped network; annealed by then")
    args.add_argument("--teacher-seconds", type=float, default=0)
    args.add_argument("--ear", type=Path, help="what new teachers begin with (pretrained.py)")
    args.add_argument("--fold", type=int, help="train this teacher alone, and nothing else")
    args.add_argument("--begin", type=Path, help="a checkpoint whose weights the network begins with")
    args.add_argument("--batch", type=int, default=256, help="windows of 3 s")
    args.add_argument("--seed", type=int, default=7)
    args.add_argument("--opusdec", default="opusdec")
    a = args.parse_args()
    began = time.monotonic()
    torch.manual_seed(a.seed)
    np.random.seed(a.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    log = (a.out / ("train.log" if a.fold is None else f"teacher{a.fold}.log")).open("w")

    def say(text: str) -> None:
        print(text, flush=True)
        log.write(text + "\n")
        log.flush()

    meta = json.loads((a.train / a.items).read_text())
    for item in meta["items"]:
        # What realign.py labelled passed its own gate; the rest answers to that of align.py.
        if not item["gate"] and (a.items == "items.json" or item["split"] == "tune"):
            item["phones"] = [[item["samples"], IGNORE]]
    items = [i for i in meta["items"] if i["split"] == "train" or i["phones"][0][1] != IGNORE]
    with ThreadPoolExecutor() as pool:
        audio = list(pool.map(lambda i: decode(a.train / "audio" / i["file"], a.opusdec.split()), items))
        labels = list(pool.map(frame_labels, items, audio))
    for source in sorted({i["source"] for i in items}):
        mine = np.concatenate([y for i, y in zip(items, labels, strict=True) if i["source"] == source])
        silent, voiced = (mine == SIL).sum(), (mine == VOICE).sum()
        say(f"{source}: {len(mine) * GRID / RATE / 60:.0f} min, {100 * voiced / max(1, silent + voiced):.1f} % of silence a voice")
    parts = [part for all_of in zip(items, audio, labels, strict=True) for part in in_folds(*all_of)]
    speech = Speech([part for part in parts if part[0]["split"] == "train"], device)
    tuning = [list(column) for column in zip(*(part[:3] for part in parts if part[0]["split"] == "tune"), strict=True)]
    front = Front(meta["spectrum"], device)
    trainer = Trainer(speech, front, a.batch, say, lambda m: tune_scores(m, front, *tuning, device))
    say(f"{time.monotonic() - began:.0f} s: {len(speech.wave) / RATE / 3600:.2f} h, {len(tuning[0])} recordings for tuning, on {device}")
    say("shares " + " ".join(f"{p} {s:.3f}" for p, s in zip(PHONES, trainer.share.tolist(), strict=True)))
    kept = [a.out / f"teacher{k}.pt" for k in range(FOLDS)]
    for k, path in enumerate(kept):
        if a.teacher_seconds > 0 and not path.exists() and a.fold in (None, k):
            torch.manual_seed(a.seed + k)
            draw = speech.among(lambda source, fold, k=k: source not in UNLABELLED and fold != k)
            teacher = trainer.fit(Teacher(ear=a.ear).to(device), a.teacher_seconds, a.steps, clean=0.3, rate=2e-3, draw=draw)
            teacher.save(path)
            say(f"teacher {k}: tune {trainer.tune(teacher)}")
    if a.seconds <= 0 or a.fold is not None:
        return
    if any(path.exists() for path in kept):
        speech.ask([Teacher.load(path, device) for path in kept], front)
    model = Acoustic().to(device)
    say(f"{sum(p.numel() for p in model.parameters())} parameters")
    if a.begin:
        model.begin_with(torch.load(a.begin, device)["model"])
        say(f"begins with {trainer.tune(model)}")
    model = trainer.fit(model, a.seconds, a.steps, clean=0.3, rate=1.5e-3 if a.begin else 2e-3, longest=max(WINDOWS))
    plain = trainer.tune(model)
    torch.save({"model": model.state_dict(), "spectrum": meta["spectrum"], "share": trainer.share.tolist()}, a.out / "acoustic.pt")
    coarse = trainer.tune(quantised(model).to(device))
    long = score_end_to_end(model.to(device), front, *tuning, device)
    say(f"final tune {plain}\nint8 tune  {coarse}\nend to end {long}\n{time.monotonic() - began:.0f} s")
    model = model.cpu()
    write_model(a.out / "acoustic.bin", model, meta["spectrum"], trainer.share.tolist())
    write_golden(a.out / "acoustic.golden", a.train / "golden_input.npy", model, meta["spectrum"])


if __name__ == "__main__":
    main()
