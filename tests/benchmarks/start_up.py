"""How long dyelab takes to start, beside the bare interpreter and its heaviest libraries.

Run: python tests/benchmarks/start_up.py
"""

import resource
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
INSIDE = f"import time; {BOOK}; t = time.process_time(); {BOOK}; print(time.process_time() - t)"


def cpu():
    """Processor time of all finished children, in seconds."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def best(arguments, runs=7):
    """Least time on the clock and least processor time of several runs, in ms."""
    clocks, processors = [], []
    for _ in range(runs):
        start, before = perf_counter(), cpu()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
        clocks.append(perf_counter() - start)
        processors.append(cpu() - before)
    return min(clocks) * 1000, min(processors) * 1000


def inside():
    """Opening the book a second time in one process: reading and checking alone, in ms."""
    command = [sys.executable, "-c", INSIDE]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return float(run.stdout) * 1000


def main():
    print("best of 7 runs, each a new process; on a busy machine the processor's time is the fair")
    print(f"  {'':34} {'clock':>7} {'processor':>12}")
    for name, arguments in RUNS.items():
        clock, processor = best(arguments)
        print(f"  {name:34} {clock:7.0f} ms {processor:9.0f} ms")
    print(f"  {'book.open again in one process':34} {'':10} {inside():9.0f} ms")


if __name__ == "__main__":
    main()
