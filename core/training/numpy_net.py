"""The shipped weights run in numpy: for scoring and realigning without PyTorch, and a third opinion on the file's form."""

import struct
import zlib
from pathlib import Path

import numpy as np
from features import log_mel, normalise


class Model:
    def __init__(self, path: Path):
        data = Path(path).read_bytes()
        magic, version, length, crc = struct.unpack("<4s3I", data[:16])
        payload = data[16:]
        assert magic == b"LWAM" and version == 3 and length == len(payload) and crc == zlib.crc32(payload)
        _, _, blocks, memories = struct.unpack("<4I", payload[:16])
        at = 16 + 16
        self.spectrum = np.frombuffer(payload, "<f4", 40, at).astype(np.float64)
        self.share = np.frombuffer(payload, "<f4", 40, at + 160)
        at += 320
        layers = []
        for _ in range(5 + 2 * blocks + memories):
            out, inputs, kernel, stride, dilation = struct.unpack("<5H", payload[at : at + 10])
            at += 10
            scale, bias = np.frombuffer(payload, "<f4", 2 * out, at).reshape(2, out)
            at += 8 * out
            q = np.frombuffer(payload, np.int8, kernel * inputs * out, at).reshape(kernel, inputs, out)
            at += q.size
            layers.append((q.astype(np.float32) * scale, bias, stride, dilation))
        self.stem, self.down, *layers, self.up, self.refine, self.out = layers
        self.blocks, layers = [], iter(layers)
        for n in range(blocks):
            remembers = n + memories >= blocks
            self.blocks.append((next(layers), next(layers), next(layers) if remembers else None))
        # What may follow places edges (edges.py).
        assert at <= len(payload)

    @staticmethod
    def conv(x, layer):
        w, bias, stride, dilation = layer
        kernel = len(w)
        pad = (kernel - 1) * dilation // 2
        x = np.pad(x, ((pad, pad), (0, 0)))
        count = (len(x) - dilation * (kernel - 1) - 1) // stride + 1
        last = (count - 1) * stride + 1
        return sum(x[j * dilation : j * dilation + last : stride] @ w[j] for j in range(kernel)) + bias

    @classmethod
    def remembered(cls, x, layer):
        """One layer's states over frames × inputs; half of them go backwards."""
        renew, new = np.split(cls.conv(x, layer), 2, axis=1)
        renew = 1 / (1 + np.exp(-renew))
        half = x.shape[1] // 2
        forth = cls.scan(1 - renew[:, :half], (renew * new)[:, :half])
        back = cls.scan(1 - renew[::-1, half:], (renew * new)[::-1, half:])[::-1]
        return np.concatenate([forth, back], axis=1)

    @staticmethod
    def scan(keep, add):
        """h[t] = keep[t] · h[t-1] + add[t], from nothing (net.py does it likewise)."""
        keep, add, step = keep.copy(), add.copy(), 1
        while step < len(add):
            add[step:] = add[step:] + keep[step:] * add[:-step]
            keep[step:] = keep[step:] * keep[:-step]
            keep[:step] = 0.0
            step *= 2
        return add

    def logits(self, samples: np.ndarray) -> np.ndarray:
        x = normalise(log_mel(samples), self.spectrum)
        frames = len(x)
        x = np.pad(x, ((0, frames % 2), (0, 0)))
        relu = lambda v: np.maximum(v, 0)  # noqa: E731
        stem = relu(self.conv(x, self.stem))
        y = relu(self.conv(stem, self.down))
        for squeeze, expand, memory in self.blocks:
            y = relu(y + self.conv(relu(self.conv(y, squeeze)), expand))
            if memory:
                y = y + self.remembered(y, memory)
        up = self.conv(y, self.up).reshape(stem.shape)
        z = relu(self.conv(relu(up + stem), self.refine))
        return self.conv(z, self.out)[:frames]

    def log_posteriors(self, samples: np.ndarray) -> np.ndarray:
        z = self.logits(samples).astype(np.float64)
        z -= z.max(axis=1, keepdims=True)
        return z - np.log(np.exp(z).sum(axis=1, keepdims=True))
