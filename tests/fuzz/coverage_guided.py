"""Look for damage that reaches new code, with atheris where it is installed: an option by hand.

pip install atheris
python tests/fuzz/coverage_guided.py cgats -max_total_time=600
"""

import sys
import tempfile
from pathlib import Path

import atheris

sys.path[:0] = [str(Path(__file__).parent)]
with atheris.instrument_imports(include=["dyelab"]):
    from targets import targets

    from dyelab.errors import InputError


def main():
    """Feed one target until time is up or something escapes."""
    name = sys.argv.pop(1)
    folder = Path(tempfile.mkdtemp())
    content, run = targets(folder)[name]
    corpus = folder / "corpus"
    corpus.mkdir()
    (corpus / "sound").write_bytes(content)

    def feed(data):
        try:
            run(data, folder)
        except InputError:
            return

    atheris.Setup([*sys.argv, str(corpus)], feed)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
