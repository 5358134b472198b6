"""The acoustic model: log-mel in at a 10 ms hop, logits of 40 phones out at the same hop.

    stem     conv 40→S, 5 frames                               10 ms
    down     conv S→C, 4 frames, stride 2                      20 ms
    middle   n × [conv C→B, 3 frames, dilated | 1×1 B→C] + x   20 ms
             and after each of the last m of these blocks
    memory   1×1 C→2·C: C/2 states forwards, C/2 backwards, + x
    deeper   conv C→D, 2 frames, stride 2                      40 ms
    deep     blocks and memories of the same kind              40 ms
    rise     1×1 D→2·C: two 20 ms frames from each, + middle   20 ms
    up       1×1 C→2·S: two 10 ms frames from each             10 ms
    + stem   (keeps the timing that the strides blur)
    refine   conv S→R, 3 frames
    out      1×1 R→40

ReLU after each convolution but `memory`, `rise`, `up` and the last; batch normalisation while training, folded into the
convolutions on export. Most arithmetic runs at 20 and 40 ms, which makes it cheap; boundaries stay at 10 ms through the stem's path.
"""

import math

import numpy as np
import torch
from augment import mask
from features import HOP
from pretrained import BANDS, HEADS, LAYERS, WIDTH, mel_filters
from torch import nn
from torch.nn import functional as F

STEM, REFINE = 96, 64
# Width, width inside a block, dilation of each block, how many of the last ones remember.
MIDDLE = (256, 96, (1, 2, 4, 1), 3)
DEEP = (224, 96, (1,), 1)


class Block(nn.Module):
    def __init__(self, wide: int, narrow: int, dilation: int, dropout: float):
        super().__init__()
        self.squeeze = nn.Conv1d(wide, narrow, 3, padding=dilation, dilation=dilation, bias=False)
        self.squeeze_norm = nn.BatchNorm1d(narrow)
        self.expand = nn.Conv1d(narrow, wide, 1, bias=False)
        self.expand_norm = nn.BatchNorm1d(wide)
        self.dropout = nn.Dropout1d(dropout)

    def forward(self, x):
        y = F.relu(self.squeeze_norm(self.squeeze(x)))
        y = self.expand_norm(self.expand(y))
        return F.relu(x + self.dropout(y))


def scan(keep, add):
    """h[t] = keep[t] · h[t-1] + add[t] along dimension 1, from nothing, in as many steps as the length has binary digits."""
    step, rows = 1, keep.shape[1]
    while step < rows:
        add = add + keep * F.pad(add[:, :-step], (0, 0, step, 0))
        keep = keep * F.pad(keep[:, :-step], (0, 0, step, 0))
        step *= 2
    return add


def quick_scan(keep, add):
    """`scan` in one pass, if there is a GPU to do it."""
    if not keep.is_cuda:
        return scan(keep, add)
    from scan import Scan

    return Scan.apply(keep, add)


class Memory(nn.Module):
    """States that each frame renews in part; how much and with what, that frame alone decides. Half of them go backwards.

    The f-pooling of quasi-recurrent networks (Bradbury and others, arXiv 1611.01576)."""

    def __init__(self, wide: int, dropout: float):
        super().__init__()
        self.decide = nn.Conv1d(wide, 2 * wide, 1)
        with torch.no_grad():
            # From states that are slow to ones that are quick.
            self.decide.bias[:wide] = torch.linspace(-3.0, 1.0, wide)
        self.drop = nn.Dropout(dropout)

    def forward(self, x):
        z = self.decide(x).transpose(1, 2)
        with torch.autocast(x.device.type, enabled=False):
            renew, new = z.float().chunk(2, 2)
            renew = torch.sigmoid(renew)
            states = turned(quick_scan(turned(1 - renew), turned(renew * new)))
        return self.drop(states).transpose(1, 2)


def turned(x):
    """The states that go backwards in the order in which they see the frames; once more, and all is as it was."""
    half = x.shape[2] // 2
    return torch.cat([x[..., :half], x[..., half:].flip(1)], 2)


def twice(x):
    """Two rows from each."""
    batch, wide, rows = x.shape
    return x.view(batch, 2, wide // 2, rows).permute(0, 2, 3, 1).reshape(batch, wide // 2, 2 * rows)


class Stack(nn.Module):
    """Blocks, the last of which are each followed by a layer that remembers."""

    def __init__(self, wide: int, narrow: int, dilations: tuple, memories: int, dropout: float):
        super().__init__()
        self.blocks = nn.ModuleList(Block(wide, narrow, d, dropout) for d in dilations)
        self.memory = nn.ModuleList(Memory(wide, dropout) for _ in range(memories))

    def remembering(self):
        """(block, its memory or nothing) of each block."""
        return zip(self.blocks, [None] * (len(self.blocks) - len(self.memory)) + list(self.memory), strict=True)

    def forward(self, y):
        for block, memory in self.remembering():
            y = block(y)
            if memory is not None:
                y = y + memory(y)
        return y

    def layers(self):
        layers = []
        for b, memory in self.remembering():
            layers += [(b.squeeze, b.squeeze_norm), (b.expand, b.expand_norm)]
            if memory is not None:
                layers.append((memory.decide, None))
        return layers


class Acoustic(nn.Module):
    def __init__(self, dropout: float = 0.05):
        super().__init__()
        wide, deep = MIDDLE[0], DEEP[0]
        self.stem = nn.Conv1d(40, STEM, 5, padding=2, bias=False)
        self.stem_norm = nn.BatchNorm1d(STEM)
        self.down = nn.Conv1d(STEM, wide, 4, stride=2, padding=1, bias=False)
        self.down_norm = nn.BatchNorm1d(wide)
        self.middle = Stack(*MIDDLE, dropout)
        self.deeper = nn.Conv1d(wide, deep, 2, stride=2, bias=False)
        self.deeper_norm = nn.BatchNorm1d(deep)
        self.deep = Stack(*DEEP, dropout)
        self.rise = nn.Conv1d(deep, 2 * wide, 1, bias=False)
        self.rise_norm = nn.BatchNorm1d(2 * wide)
        self.up = nn.Conv1d(wide, 2 * STEM, 1, bias=False)
        self.up_norm = nn.BatchNorm1d(2 * STEM)
        self.refine = nn.Conv1d(STEM, REFINE, 3, padding=1, bias=False)
        self.refine_norm = nn.BatchNorm1d(REFINE)
        self.out = nn.Conv1d(REFINE, 40, 1)

    def forward(self, x, samples=None):
        """(batch, 40, frames) normalised log-mel to (batch, 40, frames) logits. Only a teacher hears the samples too."""
        frames = x.shape[2]
        x = F.pad(x, (0, -frames % 4))
        s = F.relu(self.stem_norm(self.stem(x)))
        y = self.middle(F.relu(self.down_norm(self.down(s))))
        z = self.deep(F.relu(self.deeper_norm(self.deeper(y))))
        y = y + twice(self.rise_norm(self.rise(z)))
        z = F.relu(twice(self.up_norm(self.up(y))) + s)
        z = F.relu(self.refine_norm(self.refine(z)))
        return self.out(z)[:, :, :frames]

    def begin_with(self, kept) -> None:
        """The weights of a network of this form, or of one without what works at 40 ms, which then adds nothing at first."""
        with torch.no_grad():
            self.rise_norm.weight.zero_()
        added = [name for name in self.state_dict() if name.startswith(("deep", "rise"))]
        missing, unknown = self.load_state_dict(kept, strict=False)
        if unknown or missing and missing != added:
            raise SystemExit(f"these weights are of another form: {[*missing, *unknown][:5]} …")

    def layers(self):
        """[(convolution, its normalisation or nothing)] in file order."""
        return [
            (self.stem, self.stem_norm), (self.down, self.down_norm), *self.middle.layers(),
            (self.deeper, self.deeper_norm), *self.deep.layers(), (self.rise, self.rise_norm),
            (self.up, self.up_norm), (self.refine, self.refine_norm), (self.out, None),
        ]  # fmt: skip

    def folded(self):
        """[(weight (out, in, kernel), bias, stride, dilation)] in file order, with the normalisation folded in."""

        def fold(conv, norm):
            if norm is None:
                return conv.weight, conv.bias
            k = norm.weight / torch.sqrt(norm.running_var + norm.eps)
            return conv.weight * k[:, None, None], norm.bias - norm.running_mean * k

        return [(*fold(conv, norm), conv.stride[0], conv.dilation[0]) for conv, norm in self.layers()]


class Ear(nn.Module):
    """A general recogniser's encoder (pretrained.py): samples to its layers' values, one row every 20 ms."""

    LONGEST = 1500  # rows; what is longer is heard in parts

    def __init__(self, weights=None):
        super().__init__()
        self.conv1 = nn.Conv1d(BANDS, WIDTH, 3, padding=1)
        self.conv2 = nn.Conv1d(WIDTH, WIDTH, 3, stride=2, padding=1)
        self.layers = nn.ModuleList(
            nn.ModuleDict(
                dict(
                    before=nn.LayerNorm(WIDTH), qkv=nn.Linear(WIDTH, 3 * WIDTH), back=nn.Linear(WIDTH, WIDTH),
                    then=nn.LayerNorm(WIDTH), wide=nn.Linear(WIDTH, 4 * WIDTH), narrow=nn.Linear(4 * WIDTH, WIDTH),
                )
            )
            for _ in range(LAYERS)
        )  # fmt: skip
        rates = torch.exp(-math.log(10000) / (WIDTH // 2 - 1) * torch.arange(WIDTH // 2))
        turns = torch.arange(self.LONGEST)[:, None] * rates
        self.register_buffer("places", torch.cat([turns.sin(), turns.cos()], 1))
        self.register_buffer("filters", torch.tensor(mel_filters(), dtype=torch.float32))
        self.register_buffer("window", torch.hann_window(400))
        if weights:
            self.take(weights)

    def take(self, path) -> None:
        """The weights of the recogniser."""
        kept = np.load(path)

        def put(module, name, *kinds):
            for kind, theirs in kinds:
                getattr(module, kind).data.copy_(torch.tensor(kept[f"{name}/{theirs}"].astype(np.float32)))

        line, norm = (("weight", "weight"), ("bias", "bias")), (("weight", "gamma"), ("bias", "beta"))
        put(self.conv1, "conv1", *line)
        put(self.conv2, "conv2", *line)
        for i, layer in enumerate(self.layers):
            put(layer["before"], f"layer_{i}/self_attention/layer_norm", *norm)
            put(layer["qkv"], f"layer_{i}/self_attention/linear_0", *line)
            put(layer["back"], f"layer_{i}/self_attention/linear_1", *line)
            put(layer["then"], f"layer_{i}/ffn/layer_norm", *norm)
            put(layer["wide"], f"layer_{i}/ffn/linear_0", *line)
            put(layer["narrow"], f"layer_{i}/ffn/linear_1", *line)

    def log_mel(self, x):
        """(batch, samples), a multiple of 320 of them, to (batch, 80, frames); gain changes nothing but the noise floor."""
        x = x * 0.1 / x.square().mean(1, keepdim=True).sqrt().clamp(min=1e-5)
        power = torch.stft(x, 400, HOP, window=self.window, return_complex=True)[..., :-1].abs() ** 2
        values = torch.log10(torch.clamp(self.filters.T @ power, min=1e-10))
        return (torch.maximum(values, values.amax((1, 2), keepdim=True) - 8.0) + 4.0) / 4.0

    def forward(self, samples):
        with torch.autocast(samples.device.type, enabled=False):
            values = self.log_mel(samples.float())
        if self.training:
            values = mask(values)
        parts = [self.hear(part) for part in values.split(2 * self.LONGEST, dim=2)]
        return [torch.cat(layer, 1) for layer in zip(*parts, strict=True)]

    def hear(self, values):
        x = F.gelu(self.conv2(F.gelu(self.conv1(values)))).transpose(1, 2)
        x = x + self.places[: x.shape[1]]
        batch, rows, _ = x.shape
        out = []
        for layer in self.layers:
            q, k, v = (
                part.view(batch, rows, HEADS, WIDTH // HEADS).transpose(1, 2) for part in layer["qkv"](layer["before"](x)).chunk(3, 2)
            )
            seen = F.scaled_dot_product_attention(q, k, v).transpose(1, 2).reshape(batch, rows, WIDTH)
            x = x + layer["back"](seen)
            x = x + layer["narrow"](F.gelu(layer["wide"](layer["then"](x))))
            out.append(x)
        return out


class Teacher(nn.Module):
    """A network too large to ship, whose opinion of clean speech the shipped one learns beside the labels.

    Beside layers like those of the shipped one it has the ear of a general recogniser, which it trains further."""

    WIDE, NARROW, LSTM = 512, 192, 384

    @classmethod
    def load(cls, path, device="cpu"):
        """What `save` kept, ready to be asked."""
        teacher = cls().to(device)
        kept = torch.load(path, device)
        teacher.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in kept.items()})
        return teacher.eval()

    def save(self, path) -> None:
        """In half precision: its opinion needs no more."""
        torch.save({k: v.half() if v.is_floating_point() else v for k, v in self.state_dict().items()}, path)

    def __init__(self, dropout: float = 0.25, ear=None):
        super().__init__()
        w, n = self.WIDE, self.NARROW
        self.ear = Ear(ear)
        self.levels = nn.Parameter(torch.zeros(LAYERS))
        self.join = nn.Linear(WIDTH, w)
        self.deaf = nn.Dropout(dropout)
        self.stem = nn.Sequential(nn.Conv1d(40, 256, 5, padding=2, bias=False), nn.BatchNorm1d(256), nn.ReLU())
        self.down = nn.Sequential(nn.Conv1d(256, w, 4, stride=2, padding=1, bias=False), nn.BatchNorm1d(w), nn.ReLU())
        self.blocks = nn.ModuleList(
            nn.Sequential(
                nn.Conv1d(w, n, 3, padding=d, dilation=d, bias=False), nn.BatchNorm1d(n), nn.ReLU(),
                nn.Conv1d(n, w, 1, bias=False), nn.BatchNorm1d(w), nn.Dropout1d(dropout),
            )
            for d in (1, 2, 4, 1, 2, 4)
        )  # fmt: skip
        self.lstm = nn.LSTM(w, self.LSTM, 2, batch_first=True, bidirectional=True, dropout=dropout)
        self.up = nn.Conv1d(2 * self.LSTM, 2 * 256, 1)
        self.drop = nn.Dropout(dropout)
        self.refine = nn.Sequential(nn.Conv1d(256, 192, 3, padding=1, bias=False), nn.BatchNorm1d(192), nn.ReLU())
        self.out = nn.Conv1d(192, 40, 1)

    def forward(self, x, samples):
        frames = x.shape[2]
        if frames % 2:
            x = F.pad(x, (0, 1))
        s = self.stem(x)
        y = self.down(s)
        for block in self.blocks:
            y = F.relu(y + block(y))
        heard = self.ear(F.pad(samples, (0, x.shape[2] * HOP - samples.shape[1])))
        shares = torch.softmax(self.levels, 0)
        heard = sum(share * F.layer_norm(layer, (WIDTH,)) for share, layer in zip(shares, heard, strict=True))
        y = y + self.deaf(self.join(heard)).transpose(1, 2)
        y = self.drop(self.lstm(y.transpose(1, 2))[0]).transpose(1, 2)
        u = self.up(y)
        batch, _, half = u.shape
        u = u.view(batch, 2, 256, half).permute(0, 2, 3, 1).reshape(batch, 256, 2 * half)
        return self.out(self.refine(F.relu(u + s)))[:, :, :frames]
