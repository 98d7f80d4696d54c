"""Fuzz one reader, led by coverage: python tests/fuzz/run.py wfdb --seconds 600.

Needs atheris (dependency group `fuzz`). What breaks a rule is written to the folder given by --out,
and the exit code is not 0. Inputs that broke a rule once are kept in tests/fuzz/found and tried by
tests/test_fuzz.py.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import tracemalloc
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parent))

WATCHED = ["infantmon.formats", "infantmon.model", "wfdb"]
# Before the rest: what is imported here is watched by the fuzzer.
with atheris.instrument_imports(include=WATCHED):
    import targets


def main() -> None:
    parser = argparse.ArgumentParser(description="Fuzz one reader.")
    parser.add_argument("reader", choices=sorted(targets.TARGETS))
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--out", type=Path, default=None, help="where findings are written")
    parser.add_argument("--seed", type=int, default=0, help="0: another one each time")
    told = parser.parse_args()
    target = targets.TARGETS[told.reader]
    with tempfile.TemporaryDirectory() as scratch:
        corpus, words = Path(scratch) / "corpus", Path(scratch) / "words"
        corpus.mkdir()
        (Path(scratch) / "seeds").mkdir()
        for number, seed in enumerate(target.packed_seeds(Path(scratch) / "seeds")):
            (corpus / f"seed-{number}").write_bytes(seed)
        words.write_text("".join(f'"{word}"\n' for word in target.words), encoding="ascii")
        out = told.out or Path(scratch)
        out.mkdir(parents=True, exist_ok=True)
        arguments = [
            sys.argv[0], f"-max_total_time={told.seconds}", f"-timeout={targets.LONGEST_S}",
            "-rss_limit_mb=2048", "-max_len=8192", f"-dict={words}", f"-seed={told.seed}",
            "-print_final_stats=1", f"-artifact_prefix={out}/{told.reader}-", str(corpus),
        ]  # fmt: skip
        with atheris.instrument_imports(include=WATCHED):
            for seed in sorted(corpus.iterdir()):  # loads what is loaded late, before it is counted
                targets.run_once(target, seed.read_bytes())
        tracemalloc.start()
        atheris.Setup(arguments, lambda data: targets.run_once(target, data))
        atheris.Fuzz()


if __name__ == "__main__":
    main()
