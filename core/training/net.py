"""The acoustic model: log-mel in at a 10 ms hop, logits of 40 phones out at the same hop.

    stem    conv 40→S, 5 frames                               10 ms
    down    conv S→C, 4 frames, stride 2                      20 ms
    blocks  n × [conv C→B, 3 frames, dilated | 1×1 B→C] + x   20 ms
    up      1×1 C→2·S: two 10 ms frames from each             10 ms
    + stem  (keeps the timing that the stride blurs)
    refine  conv S→R, 3 frames
    out     1×1 R→40

ReLU after each but the last; batch normalisation while training, folded into the convolutions on export.
Most arithmetic runs at 20 ms, which halves its cost; boundaries stay at 10 ms through the stem's path.
"""

import torch
from torch import nn
from torch.nn import functional as F

STEM, WIDE, NARROW, REFINE, DILATIONS = 96, 256, 96, 64, (1, 1, 2, 2, 4, 4, 8)


class Block(nn.Module):
    def __init__(self, dilation: int, dropout: float):
        super().__init__()
        self.squeeze = nn.Conv1d(WIDE, NARROW, 3, padding=dilation, dilation=dilation, bias=False)
        self.squeeze_norm = nn.BatchNorm1d(NARROW)
        self.expand = nn.Conv1d(NARROW, WIDE, 1, bias=False)
        self.expand_norm = nn.BatchNorm1d(WIDE)
        self.dropout = nn.Dropout1d(dropout)

    def forward(self, x):
        y = F.relu(self.squeeze_norm(self.squeeze(x)))
        y = self.expand_norm(self.expand(y))
        return F.relu(x + self.dropout(y))


class Acoustic(nn.Module):
    def __init__(self, dropout: float = 0.1):
        super().__init__()
        self.stem = nn.Conv1d(40, STEM, 5, padding=2, bias=False)
        self.stem_norm = nn.BatchNorm1d(STEM)
        self.down = nn.Conv1d(STEM, WIDE, 4, stride=2, padding=1, bias=False)
        self.down_norm = nn.BatchNorm1d(WIDE)
        self.blocks = nn.ModuleList(Block(d, dropout) for d in DILATIONS)
        self.up = nn.Conv1d(WIDE, 2 * STEM, 1, bias=False)
        self.up_norm = nn.BatchNorm1d(2 * STEM)
        self.refine = nn.Conv1d(STEM, REFINE, 3, padding=1, bias=False)
        self.refine_norm = nn.BatchNorm1d(REFINE)
        self.out = nn.Conv1d(REFINE, 40, 1)

    def forward(self, x):
        """(batch, 40, frames) normalised log-mel to (batch, 40, frames) logits."""
        frames = x.shape[2]
        if frames % 2:
            x = F.pad(x, (0, 1))
        s = F.relu(self.stem_norm(self.stem(x)))
        y = F.relu(self.down_norm(self.down(s)))
        for block in self.blocks:
            y = block(y)
        u = self.up_norm(self.up(y))
        batch, _, half = u.shape
        u = u.view(batch, 2, STEM, half).permute(0, 2, 3, 1).reshape(batch, STEM, 2 * half)
        z = F.relu(u + s)
        z = F.relu(self.refine_norm(self.refine(z)))
        return self.out(z)[:, :, :frames]

    def folded(self):
        """[(name, weight (out, in, kernel), bias, stride, dilation)] with the normalisation folded in, in file order."""

        def fold(conv, norm):
            k = norm.weight / torch.sqrt(norm.running_var + norm.eps)
            return conv.weight * k[:, None, None], norm.bias - norm.running_mean * k

        layers = [("stem", self.stem, self.stem_norm), ("down", self.down, self.down_norm)]
        for i, b in enumerate(self.blocks):
            layers += [(f"squeeze{i}", b.squeeze, b.squeeze_norm), (f"expand{i}", b.expand, b.expand_norm)]
        layers += [("up", self.up, self.up_norm), ("refine", self.refine, self.refine_norm)]
        out = [(name, *fold(c, n), c.stride[0], c.dilation[0]) for name, c, n in layers]
        return out + [("out", self.out.weight, self.out.bias, 1, 1)]


class Teacher(nn.Module):
    """A network too large to ship, whose opinion of clean speech the shipped one learns beside the labels."""

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

    def __init__(self, dropout: float = 0.25):
        super().__init__()
        w, n = self.WIDE, self.NARROW
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

    def forward(self, x):
        frames = x.shape[2]
        if frames % 2:
            x = F.pad(x, (0, 1))
        s = self.stem(x)
        y = self.down(s)
        for block in self.blocks:
            y = F.relu(y + block(y))
        y = self.drop(self.lstm(y.transpose(1, 2))[0]).transpose(1, 2)
        u = self.up(y)
        batch, _, half = u.shape
        u = u.view(batch, 2, 256, half).permute(0, 2, 3, 1).reshape(batch, 256, 2 * half)
        return self.out(self.refine(F.relu(u + s)))[:, :, :frames]
