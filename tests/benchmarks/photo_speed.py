"""Speed and memory of measuring a 24-megapixel photo, beside decoding it alone in the same run.

Run on a quiet machine: python tests/benchmarks/photo_speed.py

Prints: median seconds to decode, by Pillow and by OpenCV, and to read and measure, one JPEG with
24 windows, the three in turn so that what else the machine does falls on all, by the clock and of
processor time; the peak memory of a fresh process that measures it; and how much faster two
processes are than one.
"""
# ruff: noqa: E402

import io
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

HERE = Path(__file__)
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

import photos
from PIL import Image
from worlds.synth import render

from dyelab import calibrate, measure, read


def seconds(*works, repeats=7):
    times = []
    for _ in range(repeats):
        for work in works:
            start = time.perf_counter(), time.process_time()
            work()
            now = time.perf_counter(), time.process_time()
            times.append(np.subtract(now, start))
    return np.median(np.reshape(times, (repeats, len(works), 2)), axis=0).T


def throughput(paths, workers):
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        measure.photos(paths, executor=pool)  # every process has imported and warmed up
        start = time.perf_counter()
        measure.photos(paths, executor=pool)
        return time.perf_counter() - start


def peak_megabytes(path):
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from dyelab import measure; "
        "measure.photos([sys.argv[2]]); "
        "status = open('/proc/self/status').read(); "
        "print(int(status.split('VmHWM:')[1].split()[0]) / 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code, str(HERE.parents[2]), str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return float(done.stdout)


def main(folder):
    picture = render.render(photos.cloth(3), render.Shot(megapixels=24, tilt=12, turn=5), seed=3)
    content = picture.jpeg()
    reference = calibrate.reference()

    def whole():
        return measure.photo(read.photo(content, name="a.jpg"), reference)

    def pillow():
        return np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))

    def opencv():
        return cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)

    cv2.setNumThreads(1)
    whole()
    for kind, (plain, other, both) in zip(
        ("clock", "processor"), seconds(pillow, opencv, whole), strict=True
    ):
        print(
            f"{kind}: decode by Pillow {plain:.2f} s, by OpenCV {other:.2f} s; read and measure "
            f"{both:.2f} s: {both / plain:.2f} and {both / other:.2f} times",
            flush=True,
        )
    paths = [Path(folder) / f"{i}.jpg" for i in range(12)]
    for path in paths:
        path.write_bytes(content)
    print(f"peak memory {peak_megabytes(paths[0]):.0f} MB")
    one, two = throughput(paths, 1), throughput(paths, 2)
    print(f"12 photos: one process {one:.1f} s, two {two:.1f} s: {one / two:.2f} times")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        main(folder)
