"""How long dyelab takes to start, beside the bare interpreter and its heaviest libraries.

Run: python tests/benchmarks/start_up.py
"""

import subprocess
import sys
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).parents[2]
BOOK = "from dyelab import book, synth; book.open(synth.example())"
COLOUR = "from dyelab import convert; convert.spectrum_to_lab(range(400, 701, 10), [0.5] * 31)"
RUNS = {
    "the bare interpreter": ["-c", "pass"],
    "import dyelab": ["-c", "import dyelab"],
    "dyelab --help": ["-m", "dyelab", "--help"],
    "import pandas": ["-c", "import pandas"],
    "a first spectrum to CIELAB": ["-c", COLOUR],
    "import colour (colour-science)": ["-W", "ignore", "-c", "import colour"],
    "open the example book": ["-c", BOOK],
}
INSIDE = f"import time; from dyelab import book, synth; t = time.perf_counter(); {BOOK}"


def best(arguments):
    """Best of seven runs, in seconds."""
    times = []
    for _ in range(7):
        start = perf_counter()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
        times.append(perf_counter() - start)
    return min(times)


def inside():
    """Opening the book alone, libraries already imported."""
    code = f"{INSIDE}; print(time.perf_counter() - t)"
    runs = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
        for _ in range(3)
    ]
    return min(float(run.stdout) for run in runs)


def main():
    print("best of 7 runs, each a new process")
    for name, arguments in RUNS.items():
        print(f"  {name:34} {best(arguments) * 1000:7.0f} ms")
    print(f"  {'book.open alone, once imported':34} {inside() * 1000:7.0f} ms")


if __name__ == "__main__":
    main()
