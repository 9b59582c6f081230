"""How alike a misspelt word must be to be taken for a known one.

``python tests/benchmarks/near_words.py [slips]``: every word of a spreadsheet's headings and of the
materials' names with a slip of the pen (a letter lost, doubled, changed, or two swapped); how many
are taken for the right one, for another, for none, and how many words that are right are so like
one of another meaning, for several values of `CLOSE` (headings) and `LIKE` (materials).
"""

import difflib
import sys

import numpy as np

from dyelab import recipe
from dyelab.book.spreadsheet import vocabulary
from dyelab.book.suspicions import LIKE


def slip(word, rng):
    """The word with one slip."""
    at, kind = int(rng.integers(len(word) - 1)), int(rng.integers(4))
    letter = chr(int(rng.integers(97, 123)))
    middle = ("", word[at] * 2, letter, word[at + 1] + word[at])[kind]
    return word[:at] + middle + word[at + (2 if kind == 3 else 1) :]


def taken(known, cutoff, slips, rng):
    """Shares of slips taken for the right meaning, another, none; words near another meaning."""
    words = [word for word in known if len(word) >= 4]
    counts = np.zeros(3)
    for word in rng.choice(words, slips):
        found = difflib.get_close_matches(slip(str(word), rng), known, n=1, cutoff=cutoff)
        same = found and known[found[0]] == known[str(word)]
        counts[0 if same else 1 if found else 2] += 1
    alike = 0
    for word in words:
        others = [one for one in known if known[one] != known[word]]
        alike += bool(difflib.get_close_matches(word, others, n=1, cutoff=cutoff))
    return counts / slips, alike / len(words)


def main(argv):
    slips = int(argv[0]) if argv else 300
    materials = {str(name): str(name) for name in recipe.materials()["material"]}
    for what, known, used in (
        ("headings", vocabulary.words("field"), vocabulary.CLOSE),
        ("materials", materials, LIKE),
    ):
        for cutoff in (0.68, 0.74, 0.8, 0.84, 0.9):
            (right, wrong, none), alike = taken(known, cutoff, slips, np.random.default_rng(1))
            mark = " (used)" if cutoff == used else ""
            print(f"{what} {cutoff:g}{mark}: right {right:.0%}, another {wrong:.0%}, none "
                  f"{none:.0%}; {alike:.0%} of right words are so like another")  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1:])
