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
        _, _, blocks, memory = struct.unpack("<4I", payload[:16])
        at = 16 + 16
        self.spectrum = np.frombuffer(payload, "<f4", 40, at).astype(np.float64)
        self.share = np.frombuffer(payload, "<f4", 40, at + 160)
        at += 320
        layers = []
        for _ in range(5 + 2 * blocks + 4 * memory):
            out, inputs, kernel, stride, dilation = struct.unpack("<5H", payload[at : at + 10])
            at += 10
            scale, bias = np.frombuffer(payload, "<f4", 2 * out, at).reshape(2, out)
            at += 8 * out
            q = np.frombuffer(payload, np.int8, kernel * inputs * out, at).reshape(kernel, inputs, out)
            at += q.size
            layers.append((q.astype(np.float32) * scale, bias, stride, dilation))
        self.stem, self.down, *layers, self.up, self.refine, self.out = layers
        self.blocks = [layers[i : i + 2] for i in range(0, 2 * blocks, 2)]
        units = [layers[i : i + 2] for i in range(2 * blocks, len(layers), 2)]
        self.memory = [units[i : i + 2] for i in range(0, len(units), 2)]
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
    def gru(cls, x, unit, backwards: bool):
        """One unit over frames × inputs: frames × states. Rows of its layers as torch.nn.GRU has them."""
        given = cls.conv(x, unit[0])
        weights, bias = unit[1][0][0], unit[1][1]
        size = len(weights)
        state, out = np.zeros(size, np.float32), np.empty((len(x), size), np.float32)
        for t in range(len(x))[:: -1 if backwards else 1]:
            held = state @ weights + bias
            reset, update = np.split(1 / (1 + np.exp(-(given[t, : 2 * size] + held[: 2 * size]))), 2)
            new = np.tanh(given[t, 2 * size :] + reset * held[2 * size :])
            state = out[t] = new + update * (state - new)
        return out

    def logits(self, samples: np.ndarray) -> np.ndarray:
        x = normalise(log_mel(samples), self.spectrum)
        frames = len(x)
        x = np.pad(x, ((0, frames % 2), (0, 0)))
        relu = lambda v: np.maximum(v, 0)  # noqa: E731
        stem = relu(self.conv(x, self.stem))
        y = relu(self.conv(stem, self.down))
        for squeeze, expand in self.blocks:
            y = relu(y + self.conv(relu(self.conv(y, squeeze)), expand))
        held = y
        for forwards, backwards in self.memory:
            held = np.concatenate([self.gru(held, forwards, False), self.gru(held, backwards, True)], axis=1)
        up = self.conv(y + held, self.up).reshape(stem.shape)
        z = relu(self.conv(relu(up + stem), self.refine))
        return self.conv(z, self.out)[:frames]

    def log_posteriors(self, samples: np.ndarray) -> np.ndarray:
        z = self.logits(samples).astype(np.float64)
        z -= z.max(axis=1, keepdims=True)
        return z - np.log(np.exp(z).sum(axis=1, keepdims=True))
