"""Everything between a photo and numbers about its rings; imports nothing of the user interface."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vision.many import Failure, measure_photos
    from vision.pipeline import measure_photo
    from vision.results import Result, Ring
    from vision.rings.section import Profile
    from vision.scale.reference import Reference
    from vision.together.combine import combine

__all__ = [
    "Failure",
    "Profile",
    "Reference",
    "Result",
    "Ring",
    "combine",
    "measure_photo",
    "measure_photos",
]

_HOMES = {
    "Failure": "vision.many",
    "Profile": "vision.rings.section",
    "Reference": "vision.scale.reference",
    "Result": "vision.results",
    "Ring": "vision.results",
    "combine": "vision.together.combine",
    "measure_photo": "vision.pipeline",
    "measure_photos": "vision.many",
}


def __getattr__(name: str) -> Any:
    """Load on demand: the command line answers a wrong option without a second of imports."""
    if name not in _HOMES:
        raise AttributeError(f"module 'vision' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
