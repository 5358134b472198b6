#!/usr/bin/env python3
"""Makes the corpus of bad input again: the files of this folder and expected.json.

    python3 tests/bad-input/make.py

Each file is small and broken in one way. expected.json says for each what Lipwright must answer: part of
its error text (what is wrong, where, what to do), or that it must take the file (some odd files are fine).
The texts are written here by hand, never copied from a run.
"""

import copy
import json
import os
import struct
import shutil
import zlib

HERE = os.path.dirname(os.path.abspath(__file__))
CASES = []


def case(kind, name, data, expect, code=2, **more):
    """A file of this kind, broken in one way; `expect` stands in the answer."""
    path = f"{kind}/{name}"
    os.makedirs(os.path.join(HERE, kind), exist_ok=True)
    with open(os.path.join(HERE, path), "wb") as f:
        f.write(data if isinstance(data, bytes) else data.encode("utf-8"))
    CASES.append({"file": path, "code": code, "says": expect if isinstance(expect, list) else [expect], **more})


# ------------------------------------------------------------------ WAV: RIFF chunks, little endian

def chunk(name, body, size=None):
    return name + struct.pack("<I", len(body) if size is None else size) + body + b"\0" * (len(body) & 1)


def fmt(tag=1, channels=1, rate=16000, align=2, bits=16, extra=b""):
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, rate, rate * align & 0xFFFFFFFF, align, bits) + extra)


def wav(*chunks, size=None, form=b"WAVE", magic=b"RIFF"):
    body = form + b"".join(chunks)
    return magic + struct.pack("<I", len(body) if size is None else size) + body


def extensible(sub=1, valid=16, align=2, bits=16, guid=bytes.fromhex("000000001000800000aa00389b71")[2:]):
    return fmt(0xFFFE, align=align, bits=bits,
               extra=struct.pack("<HHII", 22, valid, 0, sub) + guid)


TONE = struct.pack("<1600h", *[((i * 37) % 199 - 99) * 100 for i in range(1600)])
DATA = chunk(b"data", TONE)
GOOD = wav(fmt(), DATA)

def wavs():
    w = lambda name, data, expect, **more: case("wav", name, data, expect, **more)
    w("nothing.wav", b"", "the file is empty")
    w("one-byte.wav", b"R", "not a WAV file", page_differs="the browser is asked to read it")
    w("four-bytes.wav", b"RIFF", "promises 12 bytes, but the file ends after 4")
    w("header-only.wav", GOOD[:12], "no 'fmt ' chunk was found")
    w("cut-in-fmt-name.wav", GOOD[:14], "no 'fmt ' chunk was found")
    w("cut-in-fmt.wav", GOOD[:24], "the 'fmt ' chunk at byte 12 promises 16 bytes")
    w("cut-before-data.wav", GOOD[:36], "no 'data' chunk was found up to byte 36")
    w("cut-in-data-size.wav", GOOD[:42], "no 'data' chunk was found")
    w("cut-in-data.wav", GOOD[:-100], "the 'data' chunk at byte 36 promises 3200 bytes, but the file ends after 3100")
    w("cut-by-one-byte.wav", GOOD[:-1], "it is truncated: copy or export it again")
    w("ogg.wav", b"OggS\0\2" + bytes(60), "not a WAV file: it begins with OggS", page_differs="the browser is asked to read it")
    w("mp3.wav", b"ID3\4\0\0\0\0\0\0" + bytes(200), "not a WAV file: it begins with ID3", page_differs="the browser is asked to read it")
    w("text.wav", "Mind the step.\n" * 20, "not a WAV file: it begins with Mind the ste", page_differs="the browser is asked to read it")
    w("html.wav", "<script>alert(1)</script>" * 4, "not a WAV file: it begins with <script>aler", page_differs="the browser is asked to read it")
    w("zeros.wav", bytes(4096), "not a WAV file", page_differs="the browser is asked to read it")
    w("avi.wav", wav(fmt(), DATA, form=b"AVI "), "not a WAV file")
    w("big-endian.wav", b"RIFX" + GOOD[4:], "not a WAV file: it begins with RIFX")
    w("four-gigabyte-data.wav", wav(fmt(), chunk(b"data", TONE, 0xFFFFFFF0)), "promises 4294967280 bytes")
    w("four-gigabyte-list.wav", wav(fmt(), chunk(b"LIST", b"INFO", 0xFFFFFFFE), DATA), "the 'LIST' chunk at byte 36 promises 4294967294 bytes")
    w("four-gigabyte-fmt.wav", wav(chunk(b"fmt ", fmt()[8:], 0xFFFFFFFF), DATA), "the 'fmt ' chunk at byte 12 promises 4294967295 bytes")
    w("rf64-huge.wav", wav(chunk(b"ds64", struct.pack("<QQQI", 1 << 62, 1 << 62, 1 << 61, 0)), fmt(), chunk(b"data", TONE, 0xFFFFFFFF), size=0xFFFFFFFF, magic=b"RF64"), "promises 4611686018427387904 bytes")
    w("no-fmt.wav", wav(DATA), "it comes before any 'fmt ' chunk says how to read it")
    w("fmt-after-data.wav", wav(DATA, fmt()), "it comes before any 'fmt ' chunk")
    w("two-fmt.wav", wav(fmt(), fmt(), DATA), "there are two of them")
    w("fmt-of-eight-bytes.wav", wav(chunk(b"fmt ", fmt()[8:16]), DATA), "it holds 8 bytes, and the smallest form has 16")
    w("no-channels.wav", wav(fmt(channels=0), DATA), "it names 0 channels")
    w("no-bits.wav", wav(fmt(bits=0), DATA), "it names 0 bits per sample")
    w("ninety-nine-bits.wav", wav(fmt(bits=99, align=13), DATA), "it names 99 bits per sample")
    w("frame-too-small.wav", wav(fmt(align=1), DATA), "1 channels of 16 bits do not fit a frame of 1 bytes")
    w("frame-of-nothing.wav", wav(fmt(align=0), DATA), "do not fit a frame of 0 bytes")
    w("sixty-thousand-channels.wav", wav(fmt(channels=60000, align=2), DATA), "60000 channels of 16 bits do not fit")
    w("rate-0.wav", wav(fmt(rate=0), DATA), "a sampling rate of 0 Hz is outside 8000 to 192000 Hz")
    w("rate-4000.wav", wav(fmt(rate=4000), DATA), "a sampling rate of 4000 Hz is outside")
    w("rate-4-billion.wav", wav(fmt(rate=0xFFFFFFFF), DATA), "a sampling rate of 4294967295 Hz is outside")
    w("mu-law.wav", wav(fmt(tag=7, align=1, bits=8), DATA), "names sample format 0x0007")
    w("adpcm.wav", wav(fmt(tag=2, align=1024, bits=4), DATA), "which is not read here; export as 16-bit")
    w("mp3-in-wav.wav", wav(fmt(tag=0x55, align=1, bits=8), DATA), "names sample format 0x0055")
    w("float-of-16-bits.wav", wav(fmt(tag=3), DATA), "16-bit float in 2 bytes")
    w("sixty-four-bit-integers.wav", wav(fmt(align=8, bits=64), DATA), "64-bit integer in 8 bytes")
    w("extensible-cut.wav", wav(fmt(tag=0xFFFE, extra=struct.pack("<H", 0)), DATA), "shorter than 40 bytes")
    w("extensible-guid.wav", wav(extensible(guid=bytes(12)), DATA), "unknown GUID")
    w("extensible-bits.wav", wav(extensible(valid=24), DATA), "24 valid bits do not fit 2 bytes")
    w("no-samples.wav", wav(fmt(), chunk(b"data", b"")), "the recording holds no samples")
    w("half-a-sample.wav", wav(fmt(), chunk(b"data", b"\1")), "the recording holds no samples")
    # Odd, and fine: these must be taken.
    w("fine-streamed.wav", wav(fmt(), chunk(b"data", TONE, 0xFFFFFFFF), size=0xFFFFFFFF), "written without its length", code=0)
    w("fine-odd-chunk.wav", wav(chunk(b"JUNK", b"abc"), fmt(), DATA), [], code=0)
    w("fine-nan.wav", wav(fmt(tag=3, align=4, bits=32), chunk(b"data", struct.pack("<400f", *([float("nan"), 0.1, float("inf"), -0.1] * 100)))), "not finite", code=0)
    w("fine-one-sample.wav", wav(fmt(), chunk(b"data", b"\1\0")), [], code=0)
    w("fine-trailing-rubbish.wav", GOOD + b"\xff" * 99, [], code=0)


# ------------------------------------------------------------------ scripts

def scripts():
    s = lambda name, data, expect, **more: case("script", name, data, expect, **more)
    s("latin-1.txt", "Caf\u00e9 at the quay".encode("latin-1"), "not UTF-8 text; save it as UTF-8")
    s("utf-16.txt", "Mind the step".encode("utf-16"), "not UTF-8 text; save it as UTF-8")
    s("cut-in-a-letter.txt", "Mind the caf\u00e9".encode()[:-1], "not UTF-8 text")
    s("picture.txt", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "not UTF-8 text")
    s("fine-empty.txt", "", [], code=0)
    s("fine-blank.txt", " \n\t\r\n ", [], code=0)
    s("fine-bom.txt", "\ufeffWelcome to the harbour museum", [], code=0)
    s("fine-zero-bytes.txt", "Welcome\0 to\0 the museum", [], code=0)
    s("fine-markup.txt", "<img src=x onerror=alert(1)> welcome </script><script>alert(2)</script>", [], code=0)
    s("fine-brackets.txt", "[" * 5000 + "welcome", [], code=0)
    s("fine-right-to-left.txt", "\u202ewelcome\u202c \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627", [], code=0)
    s("fine-digits.txt", "9" * 4000, [], code=0)
    s("fine-one-long-word.txt", "harbour" * 3000, [], code=0)
    # The margin: how a name is said, which language is spoken. What cannot be used is told; the rest is heard.
    m = lambda name, data, expect: s("fine-margin-" + name + ".txt", data, expect, code=0)
    m("phone", "Wimbry = W IX M\nA toy boat", ["line 1 of the script, how \u201cWimbry\u201d is said", "IX"])
    m("silence", "A toy boat\nWimbry = SIL", ["line 2 of the script", "SIL cannot be part of a pronunciation"])
    m("two-words", "Port Wimbry = P AO1 R T\nA toy boat", "\u201cPort Wimbry\u201d is not one word")
    m("only-signs", "!!! = AA1\nA toy boat", "\u201c!!!\u201d is not one word")
    m("language", "language = Klingon\nA toy boat", "the language \u201cKlingon\u201d is not known; there are English, French")
    m("no-language", "language =\nA toy boat", "the language \u201c\u201d is not known")
    m("markup", "language = <script>alert(1)</script>\nA toy boat", "the language \u201c<script>alert(1)</script>\u201d is not known")
    m("after-bom", "\ufefflanguage = Klingon\r\nA toy boat\r\n", "line 1 of the script: the language \u201cKlingon\u201d")
    m("alone", "Wimbry = W IH1 M B R IY0\n", "The script has no words")
    m("equals", "=\n= =\n===\nA = toy = boat\n", [])
    m("hundreds", "boat = B OW1 T\n" * 300 + "A toy boat", [])
    m("long", "a" * 5000 + " = " + "AA1 " * 5000 + "\nA toy boat", [])


# ------------------------------------------------------------------ rigs, from a small good one

RIG = json.loads("""{
 "format": "lipwright-rig",
 "version": 1,
 "name": "Bad on purpose",
 "supply": {
  "input_v": 12.0,
  "rail_v": 6.0,
  "budget_a": 1.0
 },
 "servos": [
  {
   "name": "jaw",
   "controller": "main",
   "channel": 0,
   "pulse_min_us": 800.0,
   "pulse_max_us": 2200.0,
   "pulse_neutral_us": 1500.0,
   "us_per_degree": 11.11,
   "speed_s_per_60deg": 0.08,
   "load_derating_up": 0.65,
   "load_derating_down": 0.65,
   "acceleration_deg_per_s2": 10000.0,
   "dead_band_us": 4.0,
   "idle_current_a": 0.015,
   "moving_current_a": 0.5,
   "stall_current_a": 2.8
  }
 ],
 "mechanisms": [
  {
   "name": "jaw hinge",
   "kind": "rotary",
   "ratio": 0.35,
   "lever_mm": 75.0,
   "servos": [
    "jaw"
   ],
   "drives": [
    {
     "dof": "jaw-open",
     "gain": 1.0,
     "at_neutral_mm": 9.0
    }
   ]
  }
 ],
 "dofs": [
  {
   "dof": "jaw-open",
   "skin_min_mm": 0.0,
   "skin_max_mm": 18.0,
   "rest_mm": 0.0
  }
 ]
}""")


def rigs():
    def r(name, text, expect, **more):
        case("rig", name, text, expect, **more)

    base = json.dumps(RIG)
    r("nothing.json", "", "the rig file is not valid JSON at line 1")
    r("half.json", base[: len(base) // 2], "correct the file there")
    r("not-json.json", "jaw = 3", "the rig file is not valid JSON at line 1, column 1")
    r("a-list.json", "[]", "the file says nothing, not \"lipwright-rig\"")
    r("a-number.json", "17", "choose a rig file")
    r("null.json", "null", "choose a rig file")
    r("deep.json", "[" * 5000, "recursion limit exceeded")
    r("deep-objects.json", '{"a":' * 3000, "recursion limit exceeded")
    r("nan.json", base.replace("12.0", "NaN", 1), "the rig file is not valid JSON at line 1")
    r("infinity.json", base.replace("12.0", "1e999", 1), "number out of range")
    r("utf-16.json", base.encode("utf-16"), "not UTF-8 text; save it as UTF-8")
    r("comment.json", "// my rig\n" + base, "the rig file is not valid JSON at line 1, column 1")
    r("trailing-comma.json", base[:-1] + ",}", "trailing comma")
    r("two-documents.json", base + base, "trailing characters")
    r("track-as-rig.json", base.replace("lipwright-rig", "lipwright-track"), "a track or project is another file")
    r("newer.json", base.replace('"version": 1', '"version": 7'), "the rig file has version 7, this Lipwright reads up to 1")
    r("version-text.json", base.replace('"version": 1', '"version": "one"'), "give a whole number that is not negative")
    r("version-negative.json", base.replace('"version": 1', '"version": -1'), "version: is -1")
    for field, value, expect in [
        ("pulse_min_us", -5, "servos[0].pulse_min_us"), ("pulse_max_us", 1e300, "servos[0].pulse_max_us"),
        ("us_per_degree", 0, "servos[0].us_per_degree"), ("channel", -1, "servos[0].channel"),
        ("channel", 1.5, "servos[0].channel: is 1.5"), ("name", ["jaw"], "servos[0].name: is a list; give a text in quotes"),
        ("acceleration_deg_per_s2", "fast", "servos[0].acceleration_deg_per_s2: is a text; give a plain number"),
    ]:
        rig = copy.deepcopy(RIG)
        rig["servos"][0][field] = value
        r(f"servo-{field}-{str(value)[:6].strip('[]').replace(chr(39), '')}.json".replace(" ", ""), json.dumps(rig), expect)
    rig = copy.deepcopy(RIG)
    rig["servos"] = rig["servos"] * 30
    r("thirty-servos-on-one-pin.json", json.dumps(rig), "servos[1]")


# ------------------------------------------------------------------ tracks

def tracks():
    def t(name, text, expect, **more):
        case("track", name, text, expect, **more)

    track = {
        "format": "lipwright-track", "version": 1, "line": "bad", "audio": {"name": "bad.wav", "sha256": ""},
        "rig": {"name": "Jaw only", "sha256": ""}, "frame_ms": 20.0, "start_ms": -40.0, "frames": 3,
        "servos": [{"name": "jaw", "controller": "main", "channel": 0, "pulses_us": [1500.0, 1500.0, 1500.0]}],
    }
    base = json.dumps(track)

    def changed(**fields):
        new = copy.deepcopy(track)
        new.update(fields)
        return json.dumps(new)

    def servo(**fields):
        new = copy.deepcopy(track)
        new["servos"][0].update(fields)
        for key in [k for k, v in fields.items() if v is None]:
            del new["servos"][0][key]
        return json.dumps(new)

    t("nothing.csv", "", "the first row does not start with time_ms and a servo")
    t("half.json", base[:90], "the track is not readable at line 1")
    t("deep.json", '{"a":' * 3000, "the track is not readable at line 1")
    t("deep-servos.json", base.replace('"servos": [', '"servos": [' + "[" * 3000), "the track is not readable at line 1")
    t("list.json", "[1, 2, 3]", "the track is not readable at line 1")
    t("rig-as-track.json", json.dumps(RIG), "choose a servo track (a rig or project is another file)")
    t("no-format.json", "{}", "the file says nothing")
    t("newer.json", changed(version=99), "the track has version 99")
    t("version-0.json", changed(version=0), "version: is 0; export the track again")
    t("frame-0.json", changed(frame_ms=0), "frame: is 0 us")
    t("frame-negative.json", changed(frame_ms=-20), "give 1 us to 10 s, usually 20 ms")
    t("frame-too-fine.json", changed(frame_ms=0.00001), "frame_ms: is 0.00001; give milliseconds with at most 3 decimals")
    t("one-frame.json", changed(frames=1), "frames: are 1; give 2 to 2000000 frames")
    t("frames-4-billion.json", changed(frames=4294967295), "frames: are 4294967295; give 2 to 2000000 frames")
    t("frames-negative.json", changed(frames=-3), "the track is not readable at line 1")
    t("frames-do-not-match.json", changed(frames=4), "has 3 pulses for 4 frames; give one pulse per frame")
    t("no-servos.json", changed(servos=[]), "servos: are 0; give 1 to 256 servos")
    t("servos-is-text.json", changed(servos="jaw"), "expected a sequence")
    t("same-servo-twice.json", changed(servos=track["servos"] * 2), 'servo "jaw": stands there twice')
    t("pulse-negative.json", servo(pulses_us=[1500.0, -1.0, 1500.0]), 'servo "jaw": has the pulse -1; give 0 to 10000 us')
    t("pulse-huge.json", servo(pulses_us=[1500.0, 1e308, 1500.0]), "give 0 to 10000 us with at most one decimal")
    t("pulse-too-fine.json", servo(pulses_us=[1500.0, 1500.123, 1500.0]), "has the pulse 1500.123")
    t("pulse-nan.json", base.replace("1500.0", "NaN", 1), "the track is not readable at line 1")
    t("pulse-null.json", servo(pulses_us=[1500.0, float("1500"), None]).replace("1500.0, null", "1500.0, null"), "invalid type: null")
    t("neither-form.json", servo(pulses_us=None), "does not have exactly one of pulses_us, knots and smooth_knots")
    t("both-forms.json", servo(knots=[[0, 1500], [2, 1500]]), "does not have exactly one of pulses_us, knots and smooth_knots")
    t("knots-fall.json", servo(pulses_us=None, knots=[[0, 1500], [2, 1500], [1, 1500]]), "strictly rising frames")
    t("knots-start-late.json", servo(pulses_us=None, knots=[[1, 1500], [2, 1500]]), "the first at 0 and the last at frames - 1")
    t("channel-300.json", servo(channel=300), "invalid value: integer `300`, expected u8")
    t("bytes.csv", b"time_ms,jaw\r\n0,15\xff0\r\n", "the file is not UTF-8 text")
    t("utf-16.csv", "time_ms,jaw\r\n0,1500\r\n".encode("utf-16"), "the file is not UTF-8 text")
    t("no-header.csv", "0,1500\r\n20,1500\r\n", "the first row does not start with time_ms and a servo")
    t("header-only.csv", "time_ms,jaw\r\n", "frame: is 0 us")
    t("semicolons.csv", "time_ms;jaw\r\n0;1500\r\n20;1500\r\n", "the first row does not start with time_ms and a servo")
    t("short-row.csv", "time_ms,jaw,lip\r\n0,1500,1500\r\n20,1500\r\n", "not readable at line 3: the row has 2 fields, the header 3")
    t("long-row.csv", "time_ms,jaw\r\n0,1500\r\n20,1500,7\r\n", "the row has 3 fields, the header 2")
    t("time-is-a-word.csv", "time_ms,jaw\r\nnow,1500\r\n", "the time is \"now\"; give milliseconds")
    t("time-goes-back.csv", "time_ms,jaw\r\n0,1500\r\n20,1500\r\n10,1500\r\n", "the time 10 does not go on in equal steps")
    t("time-jumps.csv", "time_ms,jaw\r\n0,1500\r\n20,1500\r\n60,1500\r\n", "line 4: the time 60 does not go on in equal steps")
    t("pulse-is-a-word.csv", "time_ms,jaw\r\n0,1500\r\n20,wide\r\n", 'the pulse of "jaw" is "wide"; give 0 to 10000 us')
    t("pulse-with-comma.csv", "time_ms,jaw\r\n0,1500\r\n20,\"1500,5\"\r\n", 'the pulse of "jaw" is "1500,5"')
    t("pulse-nan.csv", "time_ms,jaw\r\n0,1500\r\n20,NaN\r\n", 'the pulse of "jaw" is "NaN"')
    t("pulse-1e400.csv", "time_ms,jaw\r\n0,1500\r\n20,1e400\r\n", 'the pulse of "jaw" is "1e400"')
    t("open-quote.csv", "time_ms,\"jaw\r\n0,1500\r\n20,1500\r\n", "quot")
    t("same-column-twice.csv", "time_ms,jaw,jaw\r\n0,1500,1500\r\n20,1500,1500\r\n", "stands there twice")
    t("three-hundred-columns.csv", "time_ms" + ",a" * 300 + "\r\n", "there are 300 servos; give at most 256 servos")
    t("other-servos.csv", "time_ms,tail\r\n0,1500\r\n20,1500\r\n", "tail", code=1)


# ------------------------------------------------------------------ projects

def projects():
    def p(name, text, expect, **more):
        case("project", name, text, expect, **more)

    segment = {"start_s": 0.0, "end_s": 2.0, "shape": "rest", "confidence": 1.0, "strength": 1.0}
    project = {
        "format": "lipwright-project", "version": 1, "name": "Bad on purpose",
        "lines": [{"name": "Welcome", "audio": {"name": "welcome.wav", "sha256": "0" * 64, "duration_s": 2.0},
                   "performance": {"duration_s": 2.0, "segments": [segment]}}],
    }
    base = json.dumps(project)

    def line(change):
        new = copy.deepcopy(project)
        change(new["lines"][0])
        return json.dumps(new)

    def segments(*rows):
        def change(entry):
            entry["performance"]["segments"] = [
                {"start_s": a, "end_s": b, "shape": shape, "confidence": 1.0, "strength": 1.0} for a, b, shape in rows]
        return line(change)

    p("nothing.json", "", "project file: EOF while parsing a value")
    p("half.json", base[: len(base) // 2], "it may be cut short or edited by hand: restore an earlier copy")
    p("deep.json", "[" * 5000, "recursion limit exceeded")
    p("a-list.json", "[]", "not a project file: its \"format\" is null")
    p("track-as-project.json", base.replace("lipwright-project", "lipwright-track"), "its \"format\" is \"lipwright-track\"")
    p("newer.json", base.replace('"version": 1', '"version": 99'), "project version 99 is newer than this Lipwright")
    p("version-0.json", base.replace('"version": 1', '"version": 0'), "\"version\" is 0, expected a whole number")
    p("version-text.json", base.replace('"version": 1', '"version": "1"'), "expected a whole number from 1 to 3")
    p("utf-16.json", base.encode("utf-16"), "not UTF-8 text")
    p("no-lines.json", base.replace('"lines"', '"rows"'), "missing field `lines`")
    p("lines-is-text.json", json.dumps({**project, "lines": "many"}), "expected a sequence")
    p("no-performance.json", line(lambda e: e.pop("performance")), "missing field `performance`")
    p("no-audio.json", line(lambda e: e.pop("audio")), "missing field `audio`")
    p("negative-time.json", segments((-1.0, 2.0, "rest")), "segment 0 at -1.000 s")
    p("gap.json", segments((0.0, 0.5, "rest"), (0.7, 2.0, "open")), "segment 1 at 0.700 s")
    p("overlap.json", segments((0.0, 1.5, "rest"), (1.0, 2.0, "open")), "segment 1 at 1.000 s")
    p("reversed.json", segments((0.0, 1.5, "rest"), (1.5, 1.0, "open")), "segment 1 at 1.500 s")
    p("past-the-end.json", segments((0.0, 3.0, "rest")), "must end where the line ends")
    p("too-short.json", segments((0.0, 0.001, "rest"), (0.001, 2.0, "open")), "segment 0 at 0.000 s")
    p("unknown-shape.json", segments((0.0, 2.0, "shouting")), "shouting")
    p("no-segments.json", segments(), "a line needs at least one segment")
    p("nan-time.json", base.replace("2.0", "NaN"), "project file: ")
    p("endless-time.json", base.replace("2.0", "1e999"), "number out of range")
    p("duration-0.json", base.replace("2.0", "0.0"), "project file: ")
    p("word-outside.json", line(lambda e: e["performance"].update(words=[{"text": "x", "start_s": 1.0, "end_s": 9.0}])), "project file: ")

    # Version 2: markers, locked segments, suggested looks.
    def two(name, expect, **fields):
        new = copy.deepcopy(project)
        new["version"] = 2
        new["lines"][0]["performance"].update(fields)
        p(f"two-{name}.json", json.dumps(new), expect)

    look = {"start_s": 0.4, "look": {"time_s": 0.5, "expression": "shocked", "amount": 0.4}, "until_s": 0.8, "end_s": 1.0,
            "part": "brows", "confidence": 0.7, "reason": "brows up"}
    mark = lambda t, name="door": {"time_s": t, "name": name}
    two("marker-outside", "marker 0 at 2.500 s: its time must lie inside the line", markers=[mark(2.5)])
    two("marker-negative", "marker 0 at -0.500 s: its time must lie inside the line", markers=[mark(-0.5)])
    two("marker-without-name", "marker 0 at 1.000 s: its name must have 1 to 80 characters", markers=[mark(1.0, " ")])
    two("marker-long-name", "marker 1 at 1.500 s: its name must have 1 to 80 characters", markers=[mark(1.0), mark(1.5, "x" * 81)])
    two("markers-out-of-order", "marker 1 at 0.500 s: must come after the marker before it", markers=[mark(1.0), mark(0.5)])
    two("markers-at-once", "marker 1 at 1.000 s: must come after the marker before it", markers=[mark(1.0), mark(1.0)])
    two("marker-without-time", "missing field `time_s`", markers=[{"name": "door"}])
    two("marker-is-a-time", "invalid type: floating point `1.5`", markers=[1.5])
    two("markers-is-text", "expected a sequence", markers="door")
    two("locked-is-text", "invalid type: string \"yes\", expected a boolean", segments=[{**segment, "locked": "yes"}])
    two("suggestion-outside", "suggestion 0 at 0.400 s: its times must rise inside the line", suggestions=[{**look, "end_s": 2.5}])
    two("suggestion-reversed", "suggestion 0 at 0.400 s: its times must rise inside the line", suggestions=[{**look, "until_s": 0.45}])
    two("suggestion-negative", "suggestion 0 at -1.000 s: its times must rise", suggestions=[{**look, "start_s": -1.0}])
    two("suggestion-confidence", "suggestion 0 at 0.400 s: confidence must lie in 0 to 1", suggestions=[{**look, "confidence": 70}])
    two("suggestion-amount", "suggestion 0 at 0.400 s: its amount must lie in 0 to 1.5",
        suggestions=[{**look, "look": {**look["look"], "amount": 40.0}}])
    two("suggestion-value", "its values must be numbers of mm or degrees, at most 360",
        suggestions=[{**look, "look": {**look["look"], "values": {"neck-turn": 1e9}}}])
    two("suggestions-out-of-order", "suggestion 1 at 0.300 s: must not begin before the one before it",
        suggestions=[look, {**look, "start_s": 0.3}])
    two("suggestion-of-an-ear", "unknown variant `ears`", suggestions=[{**look, "part": "ears"}])
    two("suggestion-unknown-look", "unknown variant `sneer`", suggestions=[{**look, "look": {**look["look"], "expression": "sneer"}}])
    two("suggestion-unknown-dof", "unknown variant `whiskers`",
        suggestions=[{**look, "look": {**look["look"], "values": {"whiskers": 1.0}}}])


# ------------------------------------------------------------------ packed tracks: core/src/export/packed

# A jaw that opens and closes once, in 70 frames: header of 24 bytes, coded part, CRC-32 (that of zip files).
LWP = bytes.fromhex("4c57500164cde09d46000000c081faff204e01000e0000000c82e285236c012aed8896f86e722e95355d")


def packed_tracks():
    def k(name, data, expect, **more):
        case("packed", name + ".lwp", data, expect, **more)

    def changed(at, new, coded=LWP[24:-4]):
        """Other bytes in the header or the coded part; length and check sum are true."""
        data = bytearray(LWP[:20] + struct.pack("<I", len(coded)) + coded)
        data[at : at + len(new)] = new
        return bytes(data) + struct.pack("<I", zlib.crc32(bytes(data)))

    short = "ends within the header; export it again"
    k("nothing", b"", "packed track, byte 0: does not begin as a packed track")
    k("json", '{"format": "lipwright-track"}', "byte 0: does not begin as a packed track")
    k("name-only", LWP[:3], "byte 3: " + short)
    k("version-only", LWP[:4], "byte 4: " + short)
    k("half-a-header", LWP[:20], "byte 20: " + short)
    k("header-without-check", LWP[:24], "byte 24: " + short)
    k("newer", changed(3, b"\x09"), "packed track version 9 is newer than this Lipwright reads; use a newer Lipwright")
    k("version-0", changed(3, b"\0"), "byte 3: has no possible version")
    k("cut-by-one-byte", LWP[:-1], "byte 20: has another length than it says")
    k("cut-in-half", LWP[:31], "byte 20: has another length than it says")
    k("one-byte-more", LWP + b"\0", "byte 20: has another length than it says")
    k("twice", LWP + LWP, "byte 20: has another length than it says")
    k("four-gigabytes", LWP[:20] + b"\xff\xff\xff\xff" + LWP[24:], "byte 20: has another length than it says")
    k("flipped-bit", LWP[:30] + bytes([LWP[30] ^ 4]) + LWP[31:], "byte 38: has a wrong check sum")
    k("flipped-check", LWP[:-1] + bytes([LWP[-1] ^ 128]), "byte 38: has a wrong check sum")
    k("flipped-rig", LWP[:5] + bytes([LWP[5] ^ 1]) + LWP[6:], "byte 38: has a wrong check sum")
    for frames in [0, 1, 2_000_001, 0xFFFFFFFF]:
        k(f"frames-{frames}", changed(8, struct.pack("<I", frames)), "byte 8: has no possible number of frames")
    k("frames-too-few", changed(8, struct.pack("<I", 2)), "goes on after its end")
    k("frames-too-many", changed(8, struct.pack("<I", 2_000_000)), "packed track, byte ")
    for channels in [0, 33, 255]:
        k(f"channels-{channels}", changed(18, bytes([channels])), "byte 18: has no possible number of channels")
    k("channels-2", changed(18, b"\x02"), "packed track, byte ")
    k("spare-byte", changed(19, b"\x01"), "byte 19: has something where there is nothing to say")
    k("nothing-coded", changed(0, b"", coded=b""), "packed track, byte ")
    k("coded-ones", changed(0, b"", coded=b"\xff" * 14), "byte 24: has no possible channel table")


if __name__ == "__main__":
    for kind in ["wav", "script", "rig", "track", "project", "packed"]:
        shutil.rmtree(os.path.join(HERE, kind), ignore_errors=True)
    wavs()
    scripts()
    rigs()
    tracks()
    projects()
    packed_tracks()
    with open(os.path.join(HERE, "expected.json"), "w") as f:
        f.write("[\n" + ",\n".join(json.dumps(c) for c in CASES) + "\n]\n")
    print(len(CASES), "files")
