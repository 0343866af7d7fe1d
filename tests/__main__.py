"""All checks in one command: `python -m tests`."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CHECKS = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy",),
    ("pytest", "-q", "-n", "auto", "--dist", "loadfile"),
)


def main() -> int:
    """Run every check, the rest too when one fails; 0 if all passed."""
    failed = []
    for check in CHECKS:
        print(f"== {' '.join(check)}", flush=True)
        if subprocess.run((sys.executable, "-m", *check), cwd=ROOT, check=False).returncode:
            failed.append(check[0])
    if failed:
        print(f"failed: {', '.join(failed)}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
