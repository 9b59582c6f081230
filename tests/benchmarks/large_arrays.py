"""A million ΔE00 beside two peers, and what pieces of other sizes cost.

Run as ``python tests/benchmarks/large_arrays.py [COUNT]``; prints seconds (the best of a few),
how far the results lie apart, and the cost of other `numerics.PIECE`s.
"""

import sys
import time
import warnings

import numpy as np

from dyelab import convert, numerics


def best(work, rounds=4):
    """Least of some times, in seconds, and the result."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        found = work()
        times.append(time.perf_counter() - start)
    return min(times), np.asarray(found)


def peers():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        from skimage.color import deltaE_ciede2000
    return {
        "colour-science": lambda a, b: colour.difference.delta_E_CIE2000(a, b),
        "scikit-image": deltaE_ciede2000,
    }


def main(argv):
    count = int(argv[0]) if argv else 1_000_000
    rng = np.random.default_rng(0)
    one, two = (rng.uniform([5, -60, -60], [95, 60, 60], (count, 3)) for _ in range(2))
    own, ours = best(lambda: convert.dE00(one, two))
    print(f"{count:,} ΔE00")
    print(f"dyelab          {own:.3f} s")
    whole, plain = best(lambda: convert.dE00.__wrapped__(one, two))
    print(f"in one go       {whole:.3f} s, apart {np.abs(plain - ours).max():.1e}")
    figures = {"dyelab": own}
    for name, peer in peers().items():
        took, theirs = best(lambda peer=peer: peer(one, two))
        apart = np.abs(theirs - ours).max()
        print(f"{name:15} {took:.3f} s, {took / own:.1f} times as long, apart {apart:.1e}")
        figures[name] = took
    usual = numerics.PIECE
    for piece in (4096, 8192, 16384, 32768, 65536):
        numerics.PIECE = piece
        took, _ = best(lambda: convert.dE00(one, two))
        print(f"pieces of {piece:6,} {took:.3f} s")
    numerics.PIECE = usual
    return figures


if __name__ == "__main__":
    main(sys.argv[1:])
