"""Unpacks streams of the ProPack format, method 1, as old archives hold them.

A stream has a big-endian head of 18 bytes ("RNC\\1", u32 unpacked size, u32 packed size, u16 CRC-16/ARC of what is unpacked,
u16 CRC-16 of what is packed, u8 leeway, u8 chunks), then chunks in bits, lowest first, of little-endian 16-bit words, with raw
bytes in between where the reading stands. Each chunk is three canonical Huffman tables (run of literals, distance - 1,
length - 2), a 16-bit count, and count times literals and a copy, the last without a copy. Both checksums are checked.
"""

import struct


def crc_table() -> list[int]:
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = (byte >> 1) ^ (0xA001 if byte & 1 else 0)
        table.append(byte)
    return table


CRC = crc_table()


def crc16(data: bytes) -> int:
    crc = 0
    for byte in data:
        crc = (crc >> 8) ^ CRC[(crc ^ byte) & 255]
    return crc


class Rnc1:
    """One RNC method 1 stream.

    `acc` holds `have` bits (0..15) taken from the words read so far; the next word is taken from
    `pos` only when a bit of it is needed, which is what puts raw bytes at the right place.
    """

    def __init__(self, blob):
        if blob[:4] != b"RNC\x01":
            raise ValueError("no RNC method 1 stream")
        self.size, self.packed = struct.unpack(">II", blob[4:12])
        self.crc_out, self.crc_in = struct.unpack(">HH", blob[12:16])
        self.chunks = blob[17]
        self.data = blob[18:18 + self.packed]
        if len(self.data) != self.packed or crc16(self.data) != self.crc_in:
            raise ValueError("packed data damaged")
        self.pos = self.acc = self.have = 0

    def bits(self, count):
        value = 0
        for place in range(count):
            if not self.have:
                self.acc = int.from_bytes(self.data[self.pos:self.pos + 2], "little")
                self.pos += 2
                self.have = 16
            value |= (self.acc & 1) << place
            self.acc >>= 1
            self.have -= 1
        return value

    def table(self):
        """Lookup by the next bits: (bits taken in all, shift to the extra bits, mask, base)."""
        lengths = [self.bits(4) for _ in range(self.bits(5))]
        deepest = max(lengths, default=0)
        lookup = [None] * (1 << deepest)
        code = 0
        for length in range(1, deepest + 1):
            code <<= 1
            for symbol, its in enumerate(lengths):
                if its != length:
                    continue
                mirrored = int(format(code, "0%db" % length)[::-1], 2)
                extra = max(symbol - 1, 0)
                base = symbol if symbol < 2 else 1 << extra
                lookup[mirrored::1 << length] = (
                    [(length + extra, length, (1 << extra) - 1, base)] * (1 << (deepest - length)))
                code += 1
        return lookup, (1 << deepest) - 1

    def unpack(self):
        out = bytearray()
        data, from_bytes = self.data + bytes(8), int.from_bytes
        self.bits(2)
        for _ in range(self.chunks):
            tables = (self.table(), self.table(), self.table())
            (runs, runs_mask), (dists, dists_mask), (lens, lens_mask) = tables
            left = self.bits(16)
            pos, acc, have = self.pos, self.acc, self.have
            while True:
                ahead = acc | from_bytes(data[pos:pos + 4], "little") << have
                take, shift, mask, base = runs[ahead & runs_mask]
                value = base + ((ahead >> shift) & mask)
                words = (take - have + 15) >> 4          # <= 0: the bits held were enough
                if words > 0:
                    pos += 2 * words
                    have += 16 * words
                have -= take
                acc = (ahead >> take) & ((1 << have) - 1)
                if value:
                    out += data[pos:pos + value]
                    pos += value
                left -= 1
                if not left:
                    break

                ahead = acc | from_bytes(data[pos:pos + 4], "little") << have
                take, shift, mask, base = dists[ahead & dists_mask]
                dist = base + ((ahead >> shift) & mask) + 1
                words = (take - have + 15) >> 4
                if words > 0:
                    pos += 2 * words
                    have += 16 * words
                have -= take
                acc = (ahead >> take) & ((1 << have) - 1)

                ahead = acc | from_bytes(data[pos:pos + 4], "little") << have
                take, shift, mask, base = lens[ahead & lens_mask]
                size = base + ((ahead >> shift) & mask) + 2
                words = (take - have + 15) >> 4
                if words > 0:
                    pos += 2 * words
                    have += 16 * words
                have -= take
                acc = (ahead >> take) & ((1 << have) - 1)

                start = len(out) - dist
                if start < 0:
                    raise ValueError("copy from before the beginning")
                if dist >= size:
                    out += out[start:start + size]
                else:                                    # overlapping: the tail repeats
                    out += (out[start:] * (size // dist + 1))[:size]
            self.pos, self.acc, self.have = pos, acc, have
        if len(out) != self.size or crc16(out) != self.crc_out:
            raise ValueError("unpacked data damaged")
        return bytes(out)
