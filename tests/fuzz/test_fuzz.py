"""Damaged inputs of every kind end in a refusal or in a reading, never in a traceback or a hang.

Short here; long by hand, with a report of every escape:

    python tests/fuzz/test_fuzz.py 200000 [FIRST_SEED] [TARGET]

With atheris installed, ``python tests/fuzz/coverage_guided.py TARGET`` looks for more by itself.
"""

import resource
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parent)]
from mutations import mutated  # noqa: E402
from targets import targets  # noqa: E402

from dyelab.errors import InputError  # noqa: E402

SECONDS = 10
A_TARGET = 3  # mutations of each in CI
A_SLOW = 100  # one input in so many is a book or a page, which take 10 to 50 times as long


def one(content, run, folder):
    """Return the trouble an input makes, nothing where it is read or refused."""
    start = time.process_time()
    try:
        run(content, folder)
    except InputError as error:
        if not str(error).strip() or len(str(error)) > 3000:
            return f"a refusal of {len(str(error))} letters"
    except Exception:
        return traceback.format_exc(limit=-6)
    took = time.process_time() - start
    return f"{took:.1f} s" if took > SECONDS else ""


@pytest.fixture(scope="module")
def every(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fuzz")
    return folder, targets(folder)


def test_damaged_inputs_are_read_or_refused(every, monkeypatch, tmp_path):
    folder, found = every
    monkeypatch.chdir(tmp_path)
    for name, (content, run) in found.items():
        assert not one(content, run, folder), name
        for seed in range(A_TARGET if "book" not in name else 1):
            trouble = one(mutated(f"{name} {seed}", content), run, folder)
            assert not trouble, f"{name}, seed {seed}:\n{trouble}"


def main(count, first=0, only=""):
    """Run so many mutations over all targets; print each kind of escape once, and a summary."""
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", category=DeprecationWarning)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        found = {k: v for k, v in targets(folder).items() if only in k}
        seen, slowest, escapes = {}, (0.0, ""), 0
        for i in range(first, first + count):
            name = _whose_turn(list(found), i)
            content, run = found[name]
            start = time.process_time()
            trouble = one(mutated(f"{name} {i}", content), run, folder)
            took = time.process_time() - start
            slowest = max(slowest, (took, f"{name} {i}"))
            if trouble:
                escapes += 1
                kind = trouble.strip().rsplit("\n", 1)[-1][:60] + name
                if kind not in seen:
                    seen[kind] = i
                    print(f"== {name}, seed {i}\n{trouble}", flush=True)
            if (i + 1 - first) % 1000 == 0 or i + 1 == first + count:
                _report(i + 1 - first, escapes, seen, slowest)
    return bool(escapes)


def _whose_turn(names, i):
    """Quick readers in turn, and a book or a page in turn every so often."""
    slow = [name for name in names if name == "page text" or name.startswith("book ")]
    quick = [name for name in names if name not in slow] or slow
    chosen, at = (slow, i // A_SLOW) if slow and i % A_SLOW == 0 else (quick, i)
    return chosen[at % len(chosen)]


def _report(done, escapes, seen, slowest):
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{done} inputs, {escapes} escapes of {len(seen)} kinds, slowest {slowest}, {peak:.0f} MB",
        flush=True,
    )


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(main(int(given[0]), int(given[1]) if len(given) > 1 else 0, *given[2:3]))
