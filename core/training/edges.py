"""Learns where exactly one phone ends and the next begins, and adds that to a model file.

    python edges.py --model acoustic.bin --golden acoustic.golden --speech DATA [--speech MORE …] --out acoustic.bin

The search through phones sets an edge where one phone's posterior overtakes the other's, which is not where people or
synthesisers set it: a nasal is heard in the vowel before it, a stop's burst belongs to neither neighbour. A small network
looks at the posteriors of 160 ms around a coarse edge, knows the phones on both sides, and says how far off it is.

DATA is a folder as gather.py, align.py and synthesise.py leave it; of its human speech, what passes the gate of align.py
and is for training is learned from. Edges of the tuning speakers are scored before and after. The weights join the
acoustic model's file because they are worth nothing without that very model.
"""

import argparse
import json
import multiprocessing as mp
import struct
import wave
from pathlib import Path

import numpy as np
import torch
from align import passes_gate
from export import to_int8, write_edges
from numpy_net import Model
from phones import INDEX
from realign import viterbi
from torch import nn
from torch.nn import functional as F

REACH = 8  # frames to either side that are looked at
FLOOR, SHIFT, SCALE = -8.0, 3.0, 0.5  # (max(ln p, FLOOR) + SHIFT) · SCALE
BINS, STEP = 49, 0.5  # offsets told apart, and how far apart they are in frames
HIDDEN, MIDDLE = 128, 64
ROUNDS = 2  # how often an edge is looked at, each time where it was put last
# What counts how much: the prompts have the surest labels of all human speech; the acted speech's are the least sure, and
# synthesisers, of which there is much, set edges their own way. Chosen on tuning speakers.
SHARES = {"asterisk-en": 3.0, "acted-en": 0.3, "flite": 0.3, "festival": 0.5}
PHONES = 40


def scaled(log_p):
    return (np.maximum(log_p, FLOOR) + SHIFT) * SCALE


def noisy(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """White to brownish noise, 5 to 30 dB below the speech."""
    noise = rng.standard_normal(len(samples))
    bend = rng.uniform(0, 0.97)
    for i in range(2):
        noise[i:] = noise[i:] + bend * np.concatenate([[0.0], noise[i:-1]])
    level = 10 ** (-rng.uniform(5, 30) / 20) * np.sqrt(np.mean(samples**2) / np.mean(noise**2))
    return samples + level * noise


def study(job):
    """Scaled log posteriors of a recording and [(coarse edge, true edge, phone before, phone after)], in frames."""
    path, phones, dirty = job
    with wave.open(str(path)) as w:
        samples = np.frombuffer(w.readframes(w.getnframes()), np.int16) / 32768.0
    if dirty:
        samples = noisy(samples, np.random.default_rng(len(samples)))
    log_p = _model.log_posteriors(samples)
    names, ends = [], []
    for _, end, name in phones:
        if names and name == "SIL" and names[-1] == "SIL":
            ends[-1] = end
        else:
            names.append(name)
            ends.append(end)
    sequence = [INDEX[n] for n in names]
    found = viterbi(log_p, sequence)
    if not found:
        return None
    owners = found[0]
    edges = []
    for t in np.flatnonzero(np.diff(owners)) + 1:
        a, b = owners[t - 1], owners[t]
        if b == a + 1:
            edges.append((t, ends[a] * 100.0, sequence[a], sequence[b]))
    return scaled(log_p).astype(np.float16), edges


def start(model: str) -> None:
    global _model
    _model = Model(Path(model))


def recordings(folders: list[Path]):
    """(path, phones, kind, source, split) of all labelled speech for training and tuning."""
    lines = lambda path: [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []  # noqa: E731
    for folder in folders:
        labels = {e["id"]: e for e in lines(folder / "aligned.jsonl") if e["phones"] and passes_gate(e)}
        for u in [*lines(folder / "utterances.jsonl"), *lines(folder / "synthetic.jsonl")]:
            phones = u.get("phones") or labels.get(u["id"], {}).get("phones")
            if phones and u["split"] in ("train", "tune"):
                assert u["speaker"] != "rms", "rms is test data"
                yield folder / u["audio"], phones, u["kind"], u["source"], u["split"]


class Edges(nn.Module):
    def __init__(self):
        super().__init__()
        self.window = nn.Conv1d(PHONES + 2, HIDDEN, 2 * REACH)
        self.before = nn.Conv1d(PHONES, HIDDEN, 1, bias=False)
        self.after = nn.Conv1d(PHONES, HIDDEN, 1, bias=False)
        self.middle = nn.Conv1d(HIDDEN, MIDDLE, 1)
        self.out = nn.Conv1d(MIDDLE, BINS, 1)
        self.drop = nn.Dropout(0.2)

    def forward(self, x, a, b):
        """(batch, 42, 16) and two (batch,) of phones to (batch, 49) logits."""
        one_hot = lambda i: F.one_hot(i, PHONES).float()[:, :, None]  # noqa: E731
        h = F.relu(self.window(x) + self.before(one_hot(a)) + self.after(one_hot(b)))
        h = F.relu(self.middle(self.drop(h)))
        return self.out(h)[:, :, 0]


def windows(log_p, at, a, b):
    rows = log_p[at[:, None] + torch.arange(-REACH, REACH, device=at.device)]
    pick = lambda i: rows.gather(2, i[:, None, None].expand(-1, 2 * REACH, 1))  # noqa: E731
    return torch.cat([rows, pick(a), pick(b)], 2).transpose(1, 2)


def offset(logits):
    """Median of the distribution, in frames: inside a bin as if it were flat there."""
    p = torch.softmax(logits.double(), 1)
    total = p.cumsum(1)
    k = (total < 0.5).sum(1).clamp(max=BINS - 1)
    here = p.gather(1, k[:, None])[:, 0]
    before = total.gather(1, k[:, None])[:, 0] - here
    return (k - BINS // 2 - 0.5 + (0.5 - before) / here.clamp(min=1e-9)) * STEP


def place(net, log_p, at, a, b):
    at = at.double()
    for _ in range(ROUNDS):
        base = at.round().long()
        at = base + offset(net(windows(log_p, base, a, b), a, b))
    return at


def report(net, log_p, edges, name):
    coarse, true, a, b = edges[:, 0], edges[:, 1], edges[:, 2].long(), edges[:, 3].long()
    net.eval()
    with torch.no_grad():
        parts = range(0, len(edges), 4096)
        fine = torch.cat([place(net, log_p, *(v[i : i + 4096] for v in (coarse.long(), a, b))) for i in parts])
    net.train()
    for what, where in (("as found", coarse), ("placed", fine)):
        off = (where - true).cpu().numpy() * 10
        print(
            f"  {name}, {len(off)} edges {what}: median {np.median(off):.1f} ms, mean distance {np.abs(off).mean():.1f} ms, "
            f"{100 * (np.abs(off) <= 20).mean():.1f} % within 20 ms, {100 * (np.abs(off) <= 10).mean():.1f} % within 10",
            flush=True,
        )


def write_golden(source: Path, path: Path, net) -> None:
    """u32 frames, f32 [frames][40] posteriors (those of acoustic.golden), u32 edges, then of each f32 where it was found,
    phone before, phone after, where PyTorch places it."""
    data = source.read_bytes()
    frames = struct.unpack("<I", data[:4])[0]
    posteriors = np.frombuffer(data, "<f4", frames * 40, 4 + 2 * 160 * frames).reshape(frames, 40)
    log_p = np.log(np.maximum(posteriors.astype(np.float64), 1e-30))
    padded = torch.tensor(np.pad(scaled(log_p), ((2 * REACH, 2 * REACH), (0, 0)), mode="edge"), dtype=torch.float32)
    heard = posteriors.argmax(1)
    at = np.arange(3, frames - 3, 3)
    before, after = heard[at - 3], heard[at + 3]
    with torch.no_grad():
        tensors = (torch.tensor(v, dtype=torch.long) for v in (at + 2 * REACH, before, after))
        placed = place(net, padded, *tensors).numpy() - 2 * REACH
    with path.open("wb") as f:
        f.write(struct.pack("<I", frames) + posteriors.tobytes() + struct.pack("<I", len(at)))
        f.write(np.stack([at, before, after, placed], 1).astype("<f4").tobytes())


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--model", required=True, type=Path)
    args.add_argument("--speech", required=True, type=Path, action="append")
    args.add_argument("--out", required=True, type=Path)
    args.add_argument("--golden", required=True, type=Path, help="acoustic.golden; edges.golden is written beside OUT")
    args.add_argument("--steps", type=int, default=4000)
    args.add_argument("--seed", type=int, default=1)
    a = args.parse_args()
    torch.manual_seed(a.seed)
    np.random.seed(a.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")

    speech = list(recordings(a.speech))
    jobs, about = [], []
    for i, (path, phones, kind, source, split) in enumerate(speech):
        for dirty in [False] if split == "tune" else [False, True] if i % 2 else [False]:
            jobs.append((path, phones, dirty))
            about.append((kind, source, split))
    rows, edges, at = [], [], 0
    sources = sorted({s for _, s, _ in about})
    with mp.Pool(None, start, (str(a.model),)) as pool:
        for (kind, source, split), made in zip(about, pool.imap(study, jobs, chunksize=8), strict=True):
            if not made:
                continue
            log_p, found = made
            # What lies before the first frame and after the last is taken to be like them.
            log_p = np.pad(log_p, ((2 * REACH, 2 * REACH), (0, 0)), mode="edge")
            at += 2 * REACH
            for coarse, true, x, y in found:
                edges.append((at + coarse, at + true, x, y, split == "tune", SHARES.get(source, 1.0), sources.index(source)))
            rows.append(log_p)
            at += len(log_p) - 2 * REACH
    log_p = torch.tensor(np.concatenate(rows), dtype=torch.float32, device=device)
    edges = torch.tensor(edges, dtype=torch.float64, device=device)
    tune, train = edges[edges[:, 4] == 1], edges[edges[:, 4] == 0]
    train = train[(train[:, 0] - train[:, 1]).abs() < BINS // 2 * STEP]
    print(f"{len(speech)} recordings, {len(train)} edges to learn from, on {device}")

    net = Edges().to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=1.5e-3, weight_decay=0.02)
    shares = train[:, 5].float()
    for step in range(a.steps):
        for group in optimiser.param_groups:
            group["lr"] = 1.5e-3 * (0.5 + 0.5 * np.cos(np.pi * step / a.steps))
        some = train[torch.multinomial(shares, 512, replacement=True)]
        coarse, true, x, y = some[:, 0], some[:, 1], some[:, 2].long(), some[:, 3].long()
        # On other speech than this the search errs more.
        moved = coarse + torch.distributions.Laplace(0.0, 1.2).sample(coarse.shape).to(device).round()
        coarse = torch.where((moved - true).abs() < BINS // 2 * STEP, moved, coarse)
        where = ((true - coarse) / STEP + BINS // 2).clamp(0, BINS - 1.001)
        k, part = where.floor().long(), (where % 1).float()
        target = torch.zeros(len(some), BINS, device=device)
        target.scatter_(1, k[:, None], (1 - part)[:, None]).scatter_add_(1, k[:, None] + 1, part[:, None])
        heard = windows(log_p, coarse.long(), x, y)
        heard = heard * (0.75 + 0.5 * torch.rand(len(some), 1, 1, device=device)) + 0.1 * torch.randn_like(heard)
        loss = -(target * torch.log_softmax(net(heard, x, y), 1)).sum(1).mean()
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        if (step + 1) % 1000 == 0:
            print(f"step {step + 1} loss {loss.item():.3f}")
            report(net, log_p, tune, "tuning speakers")
    # As the file holds them.
    with torch.no_grad():
        for layer in (net.window, net.before, net.after, net.middle, net.out):
            q, scale = to_int8(layer.weight.cpu())
            layer.weight.copy_(torch.tensor(q.astype(np.float32) * scale[:, None, None]))
    report(net, log_p, tune, "tuning speakers, weights of 8 bits")
    for i, source in enumerate(sources):
        mine = train[train[:, 6] == i]
        report(net, log_p, mine[torch.randperm(len(mine))[:4000]], f"{source} (trained on)")
    net = net.cpu().eval()
    write_edges(a.model, a.out, net)
    write_golden(a.golden, a.out.parent / "edges.golden", net)


if __name__ == "__main__":
    main()
