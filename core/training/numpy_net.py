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
        assert magic == b"LWAM" and version == 4 and length == len(payload) and crc == zlib.crc32(payload)
        _, _, *counts = struct.unpack("<6I", payload[:24])
        at = 24 + 16
        self.spectrum = np.frombuffer(payload, "<f4", 40, at).astype(np.float64)
        self.share = np.frombuffer(payload, "<f4", 40, at + 160)
        at += 320
        layers = []
        for _ in range(7 + 2 * (counts[0] + counts[2]) + counts[1] + counts[3]):
            out, inputs, kernel, stride, dilation = struct.unpack("<5H", payload[at : at + 10])
            at += 10
            scale, bias = np.frombuffer(payload, "<f4", 2 * out, at).reshape(2, out)
            at += 8 * out
            q = np.frombuffer(payload, np.int8, kernel * inputs * out, at).reshape(kernel, inputs, out)
            at += q.size
            layers.append((q.astype(np.float32) * scale, bias, stride, dilation))
        layers = iter(layers)
        self.stem, self.down = next(layers), next(layers)
        self.middle = self.stack(layers, *counts[:2])
        self.deeper = next(layers)
        self.deep = self.stack(layers, *counts[2:])
        self.rise, self.up, self.refine, self.out = layers
        # What may follow places edges (edges.py).
        assert at <= len(payload)

    @staticmethod
    def stack(layers, blocks, memories):
        """[(squeeze, expand, memory or nothing)]"""
        return [(next(layers), next(layers), next(layers) if n + memories >= blocks else None) for n in range(blocks)]

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

    @classmethod
    def through(cls, stack, y):
        for squeeze, expand, memory in stack:
            y = np.maximum(y + cls.conv(np.maximum(cls.conv(y, squeeze), 0), expand), 0)
            if memory:
                y = y + cls.remembered(y, memory)
        return y

    def logits(self, samples: np.ndarray) -> np.ndarray:
        x = normalise(log_mel(samples), self.spectrum)
        frames = len(x)
        x = np.pad(x, ((0, -frames % 4), (0, 0)))
        relu = lambda v: np.maximum(v, 0)  # noqa: E731
        stem = relu(self.conv(x, self.stem))
        y = self.through(self.middle, relu(self.conv(stem, self.down)))
        deep = self.through(self.deep, relu(self.conv(y, self.deeper)))
        y = y + self.conv(deep, self.rise).reshape(y.shape)
        up = self.conv(y, self.up).reshape(stem.shape)
        z = relu(self.conv(relu(up + stem), self.refine))
        return self.conv(z, self.out)[:frames]

    def log_posteriors(self, samples: np.ndarray) -> np.ndarray:
        z = self.logits(samples).astype(np.float64)
        z -= z.max(axis=1, keepdims=True)
        return z - np.log(np.exp(z).sum(axis=1, keepdims=True))
