"""Trains the acoustic model and writes its weights.

    python train.py --train TRAIN --out OUT [--items items.json] [--seconds 500] [--teacher-seconds 0] [--seed 7]

TRAIN is what pack.py wrote; the items are its own, or those that realign.py labelled again. With time for a teacher, a
larger network is trained first; the shipped one then learns from the labels and from the teacher's opinion of the
clean version of what it hears corrupted, also where no transcript fitted. OUT gets acoustic.pt (checkpoint),
acoustic.bin (weights as shipped), acoustic.golden (a small input and what this model makes of it, for the Rust test)
and train.log. A teacher is kept as OUT/teacher.pt, and taken from there if it is there already; with --seconds 0 nothing
else is trained. A GPU is used if there is one.
"""

import argparse
import copy
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
from phones import PHONES, SHAPE_INDEX
from torch.nn import functional as F

GRID = 80
IGNORE = 255
# How often a window comes from each source, whatever its length: speakers who learned English late are the most
# numerous, and must not drown native speech and the synthesisers' exact times.
SHARES = {
    "speechocean762": 0.20, "asterisk-en": 0.14, "gcompris-en-words": 0.03, "flite": 0.14, "festival": 0.06, "kokoro": 0.15,
    "acted-en": 0.28,
}  # fmt: skip


def frame_labels(phones, samples: int) -> np.ndarray:
    """Label of each 5 ms step, at its centre."""
    out = np.full(-(-samples // GRID), IGNORE, dtype=np.uint8)
    start = 0
    for end, phone in phones:
        a, b = (start + GRID // 2) // GRID, (end + GRID // 2) // GRID
        out[a:b] = phone
        start = end
    return out


class Speech:
    """Every speaker's training speech as one stream on the device, and windows drawn from them."""

    def __init__(self, items, audio, device):
        self.device = device
        streams = {}
        for item, pcm in zip(items, audio, strict=True):
            pcm = np.pad(pcm, (0, -len(pcm) % GRID))
            streams.setdefault((item["source"], item["speaker"]), []).append((pcm, frame_labels(item["phones"], len(pcm))))
        waves, labels, self.starts, self.lengths, weights = [], [], [], [], []
        at = 0
        totals = {}
        for (source, _), parts in streams.items():
            totals[source] = totals.get(source, 0) + sum(len(p) for p, _ in parts)
        for (source, _), parts in streams.items():
            pcm = np.concatenate([p for p, _ in parts])
            waves.append(pcm)
            labels.append(np.concatenate([y for _, y in parts]))
            self.starts.append(at)
            self.lengths.append(len(pcm))
            weights.append(SHARES[source] * len(pcm) / totals[source])
            at += len(pcm)
        pad = 20 * RATE
        self.wave = torch.tensor(np.concatenate([*waves, np.zeros(pad, np.int16)]), device=device)
        self.label = torch.tensor(np.concatenate([*labels, np.full(pad // GRID, IGNORE, np.uint8)]), device=device)
        self.starts = torch.tensor(self.starts, device=device)
        self.lengths = torch.tensor(self.lengths, device=device)
        self.weights = torch.tensor(weights, device=device)

    def windows(self, batch: int, frames: int):
        """(batch, samples) at random speeds and (batch, frames) labels."""
        d = self.device
        n = frames * HOP
        who = torch.multinomial(self.weights, batch, replacement=True)
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
            y = torch.where(hidden, 0, y)
            x = x * (~hidden).float().repeat_interleave(HOP, 1)
        return x, y


def class_weights(speech: Speech) -> tuple[torch.Tensor, torch.Tensor]:
    """(loss weight of each phone, share of each phone among windows as drawn)."""
    counts = torch.zeros(40, device=speech.device)
    for _ in range(40 if speech.device.type == "cuda" else 2):
        _, y = speech.windows(256, 300)
        counts += torch.bincount(y[y != IGNORE], minlength=40)
    share = counts / counts.sum()
    weights = (share.clamp(min=1e-4) ** -0.25).clamp(max=8)
    return weights / (weights * share).sum(), share


def tune_scores(model, front, items, audio, device) -> dict:
    """Frame scores on the tuning speakers, one recording at a time, nothing augmented."""
    to_shape = torch.tensor(SHAPE_INDEX, device=device)
    right_phone = right_shape = total = speech_total = speech_right = 0
    by_source = {}
    loss = 0.0
    model.eval()
    with torch.no_grad():
        for item, pcm in zip(items, audio, strict=True):
            y = torch.tensor(frame_labels(item["phones"], len(pcm)), device=device).long()
            x = torch.tensor(pcm, device=device).float()[None] / 32768
            logits = model(front.normalise(front.log_mel(x)))[0].T.float()
            centre = torch.arange(len(logits), device=device) * 2 + 1
            y = y[centre.clamp(max=len(y) - 1)]
            good = y != IGNORE
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
        logits, flat = logits.reshape(-1, 40), y.reshape(-1)
        good = flat != IGNORE
        logits, flat = logits[good], flat[good]
        loss = F.cross_entropy(logits, flat, weight=self.weights, label_smoothing=0.04)
        shape_p = torch.softmax(logits, 1) @ self.to_shape
        return loss + 0.3 * F.nll_loss(torch.log(shape_p.clamp(min=1e-6)), self.shape_of[flat])

    def fit(self, model, seconds: float, steps: int, clean: float, rate: float, teacher=None):
        """Trains until steps or seconds run out, annealed to nothing by then; returns the running average."""
        began = time.monotonic()
        average = copy.deepcopy(model)
        optimiser = torch.optim.AdamW(model.parameters(), lr=rate, weight_decay=0.02)
        done, step = 0.0, 0
        while done < 1.0:
            done = max(step / steps, (time.monotonic() - began) / seconds)
            now = rate * min(1.0, step / 300) * (0.5 + 0.5 * np.cos(np.pi * min(done, 1.0))) + 1e-6
            for group in optimiser.param_groups:
                group["lr"] = now
            frames = int(np.random.choice([200, 300, 400, 500]))
            batch = max(2, self.batch * 300 // frames)
            with torch.no_grad():
                x, y = self.speech.windows(batch, frames)
                # Some are left clean: the page's users mostly record well.
                heard = torch.where(torch.rand(batch, 1, device=self.device) < clean, x, corrupt(x))
                warp = torch.randint(0, len(WARPS), (batch,), device=self.device)
                warp = torch.where(torch.rand(batch, device=self.device) < 0.7, warp, self.front.plain)
                values = mask(self.front.normalise(self.front.log_mel(heard, warp)))
            with torch.autocast(self.device.type, dtype=torch.bfloat16):
                logits = model(values)
            logits = logits.float().transpose(1, 2)
            loss = self.loss(logits, y)
            if teacher is not None:
                with torch.no_grad(), torch.autocast(self.device.type, dtype=torch.bfloat16):
                    opinion = teacher(self.front.normalise(self.front.log_mel(x)))
                target = torch.softmax(opinion.float().transpose(1, 2), 2)
                # Nothing recorded is silence, which the labels say better.
                apart = -(target * torch.log_softmax(logits, 2)).sum(2)
                loss = 0.4 * loss + 0.6 * (apart * (y != 0)).sum() / (y != 0).sum()
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
            if step % 1500 == 0:
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
    log = (a.out / "train.log").open("w")

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
    both = list(zip(items, audio, strict=True))
    split = lambda name: ([i for i, _ in both if i["split"] == name], [p for i, p in both if i["split"] == name])  # noqa: E731
    train_items, train_audio = split("train")
    tune_items, tune_audio = split("tune")
    speech = Speech(train_items, train_audio, device)
    front = Front(meta["spectrum"], device)
    trainer = Trainer(speech, front, a.batch, say, lambda m: tune_scores(m, front, tune_items, tune_audio, device))
    say(
        f"{time.monotonic() - began:.0f} s: {len(train_items)} + {len(tune_items)} recordings, "
        f"{len(speech.wave) / RATE / 3600:.2f} h, on {device}"
    )
    say("shares " + " ".join(f"{p} {s:.3f}" for p, s in zip(PHONES, trainer.share.tolist(), strict=True)))
    teacher, kept = None, a.out / "teacher.pt"
    if kept.exists():
        teacher = Teacher.load(kept, device)
    elif a.teacher_seconds > 0:
        teacher = trainer.fit(Teacher().to(device), a.teacher_seconds, a.steps, clean=0.3, rate=2e-3)
        teacher.save(kept)
    if a.seconds <= 0:
        return
    model = Acoustic(dropout=0.05).to(device)
    say(f"{sum(p.numel() for p in model.parameters())} parameters")
    model = trainer.fit(model, a.seconds, a.steps, clean=0.15, rate=3e-3, teacher=teacher)
    plain = trainer.tune(model)
    torch.save({"model": model.state_dict(), "spectrum": meta["spectrum"], "share": trainer.share.tolist()}, a.out / "acoustic.pt")
    model = model.cpu()
    coarse = trainer.tune(quantised(model).to(device))
    say(f"final tune {plain}\nint8 tune  {coarse}\n{time.monotonic() - began:.0f} s")
    write_model(a.out / "acoustic.bin", model, meta["spectrum"], trainer.share.tolist())
    write_golden(a.out / "acoustic.golden", a.train / "golden_input.npy", model, meta["spectrum"])


if __name__ == "__main__":
    main()
