"""Reads exported files with libraries that know nothing of Lipwright, and says as JSON what they found.

mido reads the MIDI file, webvtt-py the captions; wave, csv and html.parser are Python's own.
"""
import csv
import html.parser
import json
import sys
import wave

import mido
import webvtt


def midi(path):
    file = mido.MidiFile(path, charset="utf-8")
    tempo = next(m.tempo for m in file.tracks[0] if m.type == "set_tempo")
    tracks = []
    for track in file.tracks:
        tick, lyrics, markers, controls = 0, [], [], []
        for message in track:
            tick += message.time
            at = mido.tick2second(tick, file.ticks_per_beat, tempo)
            if message.type == "lyrics":
                lyrics.append([at, message.text])
            elif message.type == "marker":
                markers.append([at, message.text])
            elif message.type == "control_change":
                controls.append([at, message.channel, message.control, message.value])
        tracks.append({"name": track.name, "lyrics": lyrics, "markers": markers, "controls": controls, "end": at})
    return {"type": file.type, "length": file.length, "tracks": tracks}


def captions(path):
    """Times in whole milliseconds."""
    def ms(text):
        hours, minutes, seconds = text.split(":")
        whole, part = seconds.split(".")
        return ((int(hours) * 60 + int(minutes)) * 60 + int(whole)) * 1000 + int(part)
    return [[c.identifier, ms(c.start), ms(c.end), c.text] for c in webvtt.read(path)]


def sound(path):
    with wave.open(path, "rb") as file:
        data = file.readframes(file.getnframes())
        return {
            "rate": file.getframerate(), "channels": file.getnchannels(), "width": file.getsampwidth(),
            "frames": file.getnframes(), "data": data.hex(),
        }


def table(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.reader(file, strict=True))


class Cells(html.parser.HTMLParser):
    """Text of every table cell, and every tag that was met."""

    def __init__(self):
        super().__init__()
        self.cells, self.tags, self.open = [], set(), False

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        if tag in ("td", "th"):
            self.open = True
            self.cells.append("")

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.open = False

    def handle_data(self, data):
        if self.open:
            self.cells[-1] += data


def page(path):
    reader = Cells()
    with open(path, encoding="utf-8") as file:
        reader.feed(file.read())
    return {"cells": reader.cells, "tags": sorted(reader.tags)}


READERS = {"mid": midi, "vtt": captions, "wav": sound, "csv": table, "html": page}

json.dump([READERS[path.rsplit(".", 1)[1]](path) for path in sys.argv[1:]], sys.stdout)
