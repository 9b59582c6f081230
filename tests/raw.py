"""The smallest raw file that the open standard allows, so that tests need no camera's."""

import struct

import numpy as np

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 10: 8}  # bytes of a value by TIFF 6.0 field type


def dng(linear, full=60_000):
    """DNG 1.4 (Adobe's published specification; tags by memory) of linear values (h, w, 3), 0 to 1.

    Every pixel becomes one 2 by 2 cell of a red-green-green-blue sensor.
    """
    stored = np.round(np.clip(linear, 0, 1) * full).astype("<u2")
    h, w = stored.shape[:2]
    sensor = np.empty((2 * h, 2 * w), "<u2")
    sensor[::2, ::2], sensor[1::2, 1::2] = stored[..., 0], stored[..., 2]
    sensor[::2, 1::2] = sensor[1::2, ::2] = stored[..., 1]
    matrix = np.array(
        [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.204, 1.057]]
    )
    tags = [
        (254, 4, [0]), (256, 4, [2 * w]), (257, 4, [2 * h]), (258, 3, [16]), (259, 3, [1]),
        (262, 3, [32803]), (271, 2, b"Invented\0"), (272, 2, b"Test\0"), (273, 4, [0]),
        (274, 3, [1]), (277, 3, [1]), (278, 4, [2 * h]), (279, 4, [sensor.nbytes]),
        (33421, 3, [2, 2]), (33422, 1, [0, 1, 1, 2]), (50706, 1, [1, 4, 0, 0]),
        (50707, 1, [1, 1, 0, 0]), (50708, 2, b"Invented Test\0"), (50714, 4, [0]),
        (50717, 4, [full]), (50721, 10, np.round(matrix * 10_000).astype(int).ravel()),
        (50728, 5, [10_000] * 3), (50778, 3, [21]),
    ]  # fmt: skip
    return _file(tags, sensor.tobytes())


def _file(tags, pixels):
    after = 8 + 2 + 12 * len(tags) + 4
    data = [_packed(kind, value) for _, kind, value in tags]
    start = after + sum(len(d) + len(d) % 2 for d in data if len(d) > 4)
    data = [
        struct.pack("<I", start) if tag[0] == 273 else d for tag, d in zip(tags, data, strict=True)
    ]
    entries, rest = b"", b""
    for (number, kind, _), d in zip(tags, data, strict=True):
        held = d.ljust(4, b"\0") if len(d) <= 4 else struct.pack("<I", after + len(rest))
        entries += struct.pack("<HHI", number, kind, len(d) // _SIZES[kind]) + held
        rest += b"" if len(d) <= 4 else d + b"\0" * (len(d) % 2)
    head = b"II*\0" + struct.pack("<IH", 8, len(tags))
    return head + entries + bytes(4) + rest + pixels


def _packed(kind, value):
    if kind == 2:
        return value
    if kind in (5, 10):
        pairs = [x for v in value for x in (int(v), 10_000)]
        return struct.pack(f"<{len(pairs)}{'i' if kind == 10 else 'I'}", *pairs)
    return struct.pack(f"<{len(value)}{ {1: 'B', 3: 'H', 4: 'I'}[kind] }", *value)
