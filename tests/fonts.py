"""A small sound font, made as the SoundFont Technical Specification 2.04 describes it: one sine for every sound."""

from __future__ import annotations

import struct
from collections.abc import Iterable

import numpy as np

from fillgen.sound.synth.tones import RATE

PERIOD = 100
"""Samples of a period: the font's A4 has 441 Hz."""
GENERAL = (*((0, program) for program in range(128)), (128, 0))
"""The banks and programs of a General MIDI font: 128 sounds and a drum set."""
_SAMPLES, _LOOP = 4410, (1000, 4000)
_INSTRUMENT, _SAMPLE, _MODES = 41, 53, 54
"""Generators: the instrument of a preset, the sample of an instrument, and whether it loops."""


def chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def _list(kind: bytes, chunks: Iterable[bytes]) -> bytes:
    return chunk(b"LIST", kind + b"".join(chunks))


def _name(text: str) -> bytes:
    return text.encode().ljust(20, b"\0")


def font(presets: Iterable[tuple[int, int]] = GENERAL) -> bytes:
    """A whole font with presets, each as bank and program."""
    listed = list(presets)
    at = np.arange(_SAMPLES)
    sine = np.round(20000 * np.sin(2 * np.pi * at / PERIOD)).astype("<i2").tobytes() + b"\0" * 92
    info = [
        chunk(b"ifil", struct.pack("<HH", 2, 1)),
        chunk(b"isng", b"EMU8000\0"),
        chunk(b"INAM", b"Small\0"),
    ]
    heads = [
        _name(f"Sound {n}") + struct.pack("<HHHLLL", program, bank, n, 0, 0, 0)
        for n, (bank, program) in enumerate(listed)
    ]
    heads.append(_name("EOP") + struct.pack("<HHHLLL", 0, 0, len(listed), 0, 0, 0))
    pair = struct.Struct("<HH")
    sample = _name("Sine") + struct.pack("<LLLLLBbHH", 0, _SAMPLES, *_LOOP, RATE, 69, 0, 0, 1)
    tables = {
        b"phdr": b"".join(heads),
        b"pbag": b"".join(pair.pack(n, 0) for n in range(len(listed) + 1)),
        b"pmod": bytes(10),
        b"pgen": pair.pack(_INSTRUMENT, 0) * len(listed) + bytes(4),
        b"inst": _name("Sine") + pair.pack(0, 0)[:2] + _name("EOI") + pair.pack(1, 0)[:2],
        b"ibag": pair.pack(0, 0) + pair.pack(2, 0),
        b"imod": bytes(10),
        b"igen": pair.pack(_MODES, 1) + pair.pack(_SAMPLE, 0) + bytes(4),
        b"shdr": sample + _name("EOS") + bytes(26),
    }
    parts = [
        _list(b"INFO", info),
        _list(b"sdta", [chunk(b"smpl", sine)]),
        _list(b"pdta", [chunk(name, content) for name, content in tables.items()]),
    ]
    return chunk(b"RIFF", b"sfbk" + b"".join(parts))
