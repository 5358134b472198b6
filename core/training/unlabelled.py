"""Adds speech without labels to the training speech: what the teacher says of it is learned, and nothing else.

    python unlabelled.py --train TRAIN

From Debian's packages `beneath-a-steel-sky` (English, 2 hours) and `fillets-ng-data-cs`, `fillets-ng-data-nl` (Czech and
Dutch, 3.3 hours), installed: acted dialogue by people and characters that no labelled source has. The mouth's sounds of
other languages are told apart as well as an ear for English can, as the tool is asked to. Nothing of the recordings is
shipped but what the weights have learned; the licences are in README.md. Reads TRAIN/realigned.json, writes the recordings
to TRAIN/audio and TRAIN/more.json. Needs ffmpeg and opusenc.

The first package's index, sky.dnr, is u32 the number of entries, then of each u16 number, u24 offset (with its top bit set,
in units of 16 bytes) and u24 size (22 bits, and two flags that spoken lines lack), little-endian. Spoken lines are numbered
50000 to 59672. Each has 22 bytes of header, eleven u16 (the first one's low byte is 0x81; its high byte and the seventh are the
unpacked size with the header), then a packed stream (rnc.py) of unsigned 8-bit samples at 11 025 Hz; the first two and the
last are not always sound.
"""

import argparse
import json
import struct
import subprocess
import wave
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from features import RATE
from rnc import Rnc1

ADVENTURE = Path("/usr/share/scummvm/beneath-a-steel-sky")
FILLETS = Path("/usr/share/games/fillets-ng/sound")
NOISES = range(59494, 59500)  # of the introduction: fire, a helicopter
HEADER = 22
LEAST, MOST = 0.8, 25.0  # seconds
IGNORE = 255


def spoken_lines(folder: Path):
    """(number, unsigned 8-bit samples at 11 025 Hz) of each line."""
    index, disk = (folder / "sky.dnr").read_bytes(), (folder / "sky.dsk").read_bytes()
    (count,) = struct.unpack_from("<I", index)
    entries = []
    for at in range(4, 4 + 8 * count, 8):
        number, offset, size = (int.from_bytes(index[a:b], "little") for a, b in ((at, at + 2), (at + 2, at + 5), (at + 5, at + 8)))
        if 50000 <= number < 60000 and not size >> 22 and number not in NOISES:
            entries.append((number, (offset & 0x7FFFFF) << 4 if offset >> 23 else offset, size))
    for number, offset, size in sorted(entries):
        packed = disk[offset : offset + size]
        head = struct.unpack("<11H", packed[:HEADER])
        if head[0] & 0xFF == 0x81:
            pcm = Rnc1(packed[HEADER:]).unpack()
            if len(pcm) + HEADER != (head[0] >> 8 << 16) + head[6]:
                raise SystemExit(f"unlabelled.py: line {number} is not as long as its header says")
            yield number, pcm[2:-1]


def at_16_khz(pcm: bytes) -> np.ndarray:
    """Through the spectrum, in a length that transforms well; zeros behind keep the ends apart."""
    x = np.frombuffer(pcm, np.uint8).astype(np.float64) - 128.0
    blocks = 1 << (-(-len(x) // 441)).bit_length()  # 441 samples become 640
    y = np.fft.irfft(np.fft.rfft(x - x.mean(), 441 * blocks), 640 * blocks)[: round(len(x) * RATE / 11025)]
    return np.clip(np.rint(y * (640 / 441) * 256.0), -32768, 32767).astype("<i2")


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--train", required=True, type=Path)
    a = args.parse_args()
    audio, items = a.train / "audio", []

    def add(name: str, speaker: str, source: str) -> None:
        wav = audio / f"{name}.wav"
        samples = (wav.stat().st_size - 44) // 2
        if LEAST * RATE <= samples <= MOST * RATE:
            # Like all that travels to where the training runs.
            command = ["opusenc", "--quiet", "--bitrate", "16", "--discard-comments", wav, audio / f"{name}.opus"]
            subprocess.run(command, check=True)
            items.append(
                dict(file=f"{name}.opus", speaker=speaker, source=source, split="train", samples=samples,
                     phones=[[samples, IGNORE]], gate=False, guess="none")
            )  # fmt: skip
        wav.unlink()

    for number, pcm in spoken_lines(ADVENTURE):
        with wave.open(str(audio / f"adventure-{number}.wav"), "wb") as w:
            w.setparams((1, 2, RATE, 0, "NONE", ""))
            w.writeframes(at_16_khz(pcm).tobytes())
        add(f"adventure-{number}", "adventure", "adventure")

    def other(path: Path) -> None:
        language = path.parent.name
        name = f"other-{language}-{path.parent.parent.name}-{path.stem}"
        command = ["ffmpeg", "-y", "-v", "error", "-i", path, "-ar", "16000", "-ac", "1", "-bitexact", audio / f"{name}.wav"]
        subprocess.run(command, check=True)
        add(name, f"fillets-{language}", "acted-other")

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(other, sorted(p for p in FILLETS.rglob("*.ogg") if p.parent.name in ("cs", "nl"))))
    meta = json.loads((a.train / "realigned.json").read_text())
    meta["items"] += sorted(items, key=lambda i: i["file"])
    (a.train / "more.json").write_text(json.dumps(meta))
    for source in ("adventure", "acted-other"):
        mine = [i["samples"] for i in items if i["source"] == source]
        print(f"{source}: {len(mine)} recordings, {sum(mine) / RATE / 3600:.2f} h")


if __name__ == "__main__":
    main()
