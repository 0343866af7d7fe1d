"""Led by coverage: `python -m tests.fuzz.guided -max_total_time=120 FOLDER` (extra `fuzz`).

Atheris looks for inputs that reach new code of `vision.photo.decode` and of the decoders in Python,
from the files in FOLDER on; an empty one is first filled with small valid pictures of every kind.
"""

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["PIL", "vision.photo"], enable_loader_override=False):
    # instrumented as they are first imported: nothing above may need them
    from tests.fuzz.seeds import seeds
    from tests.fuzz.targets import read
    from tests.fuzz.watched import FAULT

SCRATCH = Path(tempfile.mkdtemp()) / "photo.jpg"


def once(data: bytes) -> None:
    """Read one input as a photo."""
    SCRATCH.write_bytes(data)
    said = read(SCRATCH)
    if said.startswith(FAULT):
        raise RuntimeError(said)


def main() -> None:
    """Fuzz until an option of libFuzzer, or a fault, ends it."""
    folders = [Path(given) for given in sys.argv[1:] if not given.startswith("-")]
    if folders:
        folders[0].mkdir(parents=True, exist_ok=True)
        if not any(folders[0].iterdir()):
            for name, data in seeds().items():
                (folders[0] / name).write_bytes(data)
    atheris.Setup(sys.argv, once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
