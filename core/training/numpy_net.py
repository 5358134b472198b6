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
        assert magic == b"LWAM" and version in (1, 2) and length == len(payload) and crc == zlib.crc32(payload)
        _, _, blocks = struct.unpack("<3I", payload[:12])
        at = 12 + 16
        self.spectrum = np.frombuffer(payload, "<f4", 40, at).astype(np.float64)
        self.share = np.frombuffer(payload, "<f4", 40, at + 160)
        at += 320
        self.layers = []
        for _ in range(5 + 2 * blocks):
            out, inputs, kernel, stride, dilation = struct.unpack("<5H", payload[at : at + 10])
            at += 10
            scale, bias = np.frombuffer(payload, "<f4", 2 * out, at).reshape(2, out)
            at += 8 * out
            q = np.frombuffer(payload, np.int8, kernel * inputs * out, at).reshape(kernel, inputs, out)
            at += q.size
            self.layers.append((q.astype(np.float32) * scale, bias, stride, dilation))
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

    def logits(self, samples: np.ndarray) -> np.ndarray:
        x = normalise(log_mel(samples), self.spectrum)
        frames = len(x)
        x = np.pad(x, ((0, frames % 2), (0, 0)))
        relu = lambda v: np.maximum(v, 0)  # noqa: E731
        stem = relu(self.conv(x, self.layers[0]))
        y = relu(self.conv(stem, self.layers[1]))
        for i in range(2, len(self.layers) - 3, 2):
            y = relu(y + self.conv(relu(self.conv(y, self.layers[i])), self.layers[i + 1]))
        up = self.conv(y, self.layers[-3]).reshape(stem.shape)
        z = relu(self.conv(relu(up + stem), self.layers[-2]))
        return self.conv(z, self.layers[-1])[:frames]

    def log_posteriors(self, samples: np.ndarray) -> np.ndarray:
        z = self.logits(samples).astype(np.float64)
        z -= z.max(axis=1, keepdims=True)
        return z - np.log(np.exp(z).sum(axis=1, keepdims=True))
