"""Runs a benchmark by its name, or all of them."""

from __future__ import annotations

import importlib
import importlib.util
import platform
import sys

from assistant.benchmarks import BENCHMARKS


def _usage() -> str:
    lines = ["usage: python -m assistant.benchmarks [NAME] [options]", ""]
    lines += [f"  {name:<10} {about}" for name, (_, about) in BENCHMARKS.items()]
    return "\n".join(lines) + "\n"


def _run(name: str, arguments: list[str]) -> int:
    module, about = BENCHMARKS[name]
    if importlib.util.find_spec(module) is None:
        sys.stderr.write(f"{name}: {module} is not in this installation.\n")
        return 1
    sys.stdout.write(f"{name}: {about}\n")
    sys.stdout.write(f"on {platform.machine()}, Python {platform.python_version()}\n")
    done: int = importlib.import_module(module).main(arguments)
    return done


def main(arguments: list[str]) -> int:
    """Run what ``arguments`` name; give 0 when all that ran went well, 2 for an unknown name."""
    if arguments and arguments[0] in {"-h", "--help"}:
        sys.stdout.write(_usage())
        return 0
    if not arguments or arguments[0].startswith("-"):
        return max(_run(name, arguments) for name in BENCHMARKS)
    if arguments[0] not in BENCHMARKS:
        sys.stderr.write(f"There is no benchmark {arguments[0]!r}.\n{_usage()}")
        return 2
    return _run(arguments[0], arguments[1:])


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
