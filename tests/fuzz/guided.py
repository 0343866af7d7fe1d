"""Coverage-guided: `python -m tests.fuzz.guided -runs=20000 FOLDER` (extra `fuzz`: atheris)."""

from tests.fuzz.targets import guided

if __name__ == "__main__":
    guided()
