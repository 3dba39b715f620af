"""Run every benchmark, or those named: ``python -m benchmarks volume thin``."""

import sys
from importlib import import_module
from pathlib import Path


def main() -> None:
    """Run the benchmarks one after the other."""
    every = sorted(p.stem for p in Path(__file__).parent.glob("*.py") if p.stem[0] != "_")
    unknown = [name for name in sys.argv[1:] if name not in every]
    if unknown:
        raise SystemExit(f"no benchmark {unknown[0]!r}, there are: {', '.join(every)}")
    for name in sys.argv[1:] or every:
        print(f"\n== {name} ==", flush=True)
        import_module(f"benchmarks.{name}").main()


if __name__ == "__main__":
    main()
