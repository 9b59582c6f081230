"""Seeded damage: bytes, lines, numbers and structure of sound inputs, as disks and people do it."""

import random
import re

NASTY = [
    b"\0",
    b"\xff",
    b"\x80",
    b"\xef\xbb\xbf",
    b"\r",
    b"\n\n",
    b'"',
    b",",
    b";",
    b"\t",
    b"<",
    b"&",
]
NUMBERS = [
    b"1e999",
    b"-1",
    b"0",
    b"nan",
    b"inf",
    b"9" * 400,
    b"1,5",
    b"1.000,5",
    "²".encode(),
    b"1e-320",
]
WORDS = [
    "٣",
    "=1+1",
    "../..",
    "\u202e",
    "\ud7ff",
    "a" * 3000,
    "()" * 500,
    "{}",
    "%s",
    "NaN",
    "\u2028",
]


def bits(chance, content):
    at = chance.randrange(len(content))
    return content[:at] + bytes([content[at] ^ (1 << chance.randrange(8))]) + content[at + 1 :]


def byte(chance, content):
    at = chance.randrange(len(content))
    return content[:at] + chance.choice([*NASTY, b""]) + content[at + 1 :]


def cut(chance, content):
    return content[: chance.randrange(len(content))]


def hole(chance, content):
    one, two = sorted(chance.randrange(len(content)) for _ in range(2))
    return content[:one] + content[min(two, one + 400) :]


def doubled(chance, content):
    one, two = sorted(chance.randrange(len(content)) for _ in range(2))
    part = content[one : min(two, one + 300)]
    return content[:one] + part * chance.choice([2, 3, 50]) + content[one:]


def swapped(chance, content):
    lines = content.split(b"\n")
    one, two = (chance.randrange(len(lines)) for _ in range(2))
    lines[one], lines[two] = lines[two], lines[one]
    return b"\n".join(lines)


def number(chance, content):
    found = list(re.finditer(rb"\d+(\.\d+)?", content[:200_000]))
    if not found:
        return byte(chance, content)
    match = chance.choice(found)
    return content[: match.start()] + chance.choice(NUMBERS) + content[match.end() :]


def word(chance, content):
    found = list(re.finditer(rb"[A-Za-z_]{2,}", content[:200_000]))
    if not found:
        return byte(chance, content)
    match = chance.choice(found)
    new = chance.choice(WORDS).encode("utf-8", "surrogatepass")
    return content[: match.start()] + new + content[match.end() :]


def nested(chance, content):
    at = chance.randrange(len(content))
    opening = chance.choice([b"[", b"{", b"(", b"<a>", b'{"a":'])
    return content[:at] + opening * chance.choice([3, 200, 20_000]) + content[at:]


WAYS = (bits, byte, cut, hole, doubled, swapped, number, word, nested)


def mutated(seed, content):
    """Return the content damaged in one to three ways, the same for the same seed."""
    chance = random.Random(seed)
    for _ in range(chance.choice([1, 1, 2, 3])):
        if content:
            content = chance.choice(WAYS)(chance, content)
    return content
