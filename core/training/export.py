"""Writes the trained model as core/models/acoustic.bin, and the numbers the Rust code must reproduce.

Little-endian. Header: magic "LWAM", u32 version, u32 payload bytes, u32 CRC-32 (IEEE) of the payload. Payload:

    u32 bands (40), u32 phones (40), u32 blocks, u32 blocks that remember, and both of those at 40 ms
    f32 active_range, prior_frames, clamp, scale      normalisation (features.py)
    f32[bands] spectrum                               average spectrum of speech above its level
    f32[phones] share                                 share of each phone in training
    layers in the order stem, down, of each block squeeze and expand, and of the last ones memory, then deeper, the blocks at
    40 ms likewise, rise, up, refine, out; each
        u16 out, in, kernel, stride, dilation
        f32[out] scale, f32[out] bias
        i8[kernel][in][out] weights                   weight = scale[out] · i8
    The outputs of memory are how much of each state is renewed (before a sigmoid), then what with; of either, first the
    states that go forwards.
    u32 1 if layers that place edges follow (edges.py), else 0; then window, before, after, middle, out in the same form
"""

import copy
import struct
import zlib
from pathlib import Path

import numpy as np
import torch
from features import ACTIVE_RANGE, CLAMP, PRIOR_FRAMES, SCALE, normalise
from net import DEEP, MIDDLE

VERSION = 4


def to_int8(weight: torch.Tensor) -> tuple[np.ndarray, np.ndarray]:
    """Symmetric, one scale an output: (int8 (out, in, kernel), scale (out))."""
    w = weight.detach().double().numpy()
    scale = np.maximum(np.abs(w).max(axis=(1, 2)), 1e-12) / 127.0
    scale = scale.astype(np.float32)
    return np.clip(np.round(w / scale[:, None, None].astype(np.float64)), -127, 127).astype(np.int8), scale


def quantised(model):
    """The network with exactly the weights that the file holds (as plain PyTorch modules, for checking)."""
    network = copy.deepcopy(model).cpu().eval()
    with torch.no_grad():
        for (weight, bias, _, _), (conv, norm) in zip(network.folded(), network.layers(), strict=True):
            q, scale = to_int8(weight)
            bias = bias.detach().clone()
            conv.weight.copy_(torch.tensor(q.astype(np.float32) * scale[:, None, None]))
            if norm is None:
                conv.bias.copy_(bias)
            else:
                norm.running_mean.zero_()
                norm.running_var.fill_(1.0 - norm.eps)
                norm.weight.fill_(1.0)
                norm.bias.copy_(bias)
    return network


def write_model(path: Path, model, spectrum: list[float], share: list[float]) -> None:
    counts = [n for _, _, dilations, memories in (MIDDLE, DEEP) for n in (len(dilations), memories)]
    payload = bytearray(struct.pack("<6I4f", 40, 40, *counts, ACTIVE_RANGE, PRIOR_FRAMES, CLAMP, SCALE))
    payload += np.asarray(spectrum, "<f4").tobytes() + np.asarray(share, "<f4").tobytes()
    for layer in model.folded():
        payload += packed_layer(*layer)
    write_payload(path, payload + struct.pack("<I", 0))


def packed_layer(weight: torch.Tensor, bias: torch.Tensor, stride: int = 1, dilation: int = 1) -> bytes:
    q, scale = to_int8(weight)
    out, inputs, kernel = q.shape
    head = struct.pack("<5H", out, inputs, kernel, stride, dilation)
    numbers = scale.astype("<f4").tobytes() + bias.detach().numpy().astype("<f4").tobytes()
    return head + numbers + np.ascontiguousarray(q.transpose(2, 1, 0)).tobytes()


def write_payload(path: Path, payload: bytes) -> None:
    head = b"LWAM" + struct.pack("<3I", VERSION, len(payload), zlib.crc32(payload))
    path.write_bytes(head + payload)


def write_edges(model: Path, path: Path, net) -> None:
    """The model file again, with the layers of edges.py in place of those it has."""
    payload = network_part(model.read_bytes()) + struct.pack("<I", 1)
    for layer in (net.window, net.before, net.after, net.middle, net.out):
        bias = layer.bias if layer.bias is not None else torch.zeros(layer.out_channels)
        payload += packed_layer(layer.weight, bias)
    write_payload(path, payload)


def network_part(data: bytes) -> bytes:
    """The payload of a model file without what places edges."""
    version, length = struct.unpack("<2I", data[4:12])
    payload = data[16:]
    assert data[:4] == b"LWAM" and version == VERSION and length == len(payload)
    at = 24 + 16 + 320
    _, _, blocks, memories, deep_blocks, deep_memories = struct.unpack("<6I", payload[:24])
    for _ in range(7 + 2 * (blocks + deep_blocks) + memories + deep_memories):
        out, inputs, kernel = struct.unpack("<3H", payload[at : at + 6])
        at += 10 + 8 * out + kernel * inputs * out
    return payload[:at]


def write_golden(path: Path, source: Path, model, spectrum: list[float]) -> None:
    """u32 frames, then f32 [frames][40] log-mel, normalised input, and PyTorch's posteriors of the shipped weights."""
    values = np.load(source).astype(np.float32)
    inputs = normalise(values.astype(np.float64), np.asarray(spectrum, np.float32).astype(np.float64))
    with torch.no_grad():
        logits = quantised(model)(torch.tensor(inputs.T[None]))[0].T
    posteriors = torch.softmax(logits, 1).numpy()
    with path.open("wb") as f:
        f.write(struct.pack("<I", len(values)))
        for part in (values, inputs, posteriors):
            f.write(part.astype("<f4").tobytes())
