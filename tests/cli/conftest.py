"""The command line over a pipeline that answers what a test tells it to."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import pytest
from typer.testing import CliRunner
from typer.testing import Result as Ended

import cli.run
import vision.many
from cli.main import app
from tests.cli.fakes import result, ring
from vision.photo.decode import Photo
from vision.pipeline import settings_of
from vision.results import Result
from vision.rings.section import Profile
from vision.scale.reference import Reference


@dataclass
class Pipeline:
    """Answers by file name; anything else is a photo of one ring."""

    answers: dict[str, Result | BaseException] = field(default_factory=dict)
    asked: list[tuple[str, Reference]] = field(default_factory=list)
    profiles: list[Profile] = field(default_factory=list)

    def measure(self, photo: Photo, reference: Reference, profile: Profile) -> Result:
        name = photo.info.file
        self.profiles.append(profile)
        self.asked.append((name, reference))
        answer = self.answers.get(name, result([ring(1)], file=name))
        if isinstance(answer, BaseException):
            raise answer
        settings = settings_of(reference, profile)
        return replace(
            answer, photo=replace(answer.photo, sha256=photo.info.sha256), settings=settings
        )


@pytest.fixture
def pipeline(monkeypatch: pytest.MonkeyPatch) -> Iterator[Pipeline]:
    fake = Pipeline()
    monkeypatch.setattr(vision.many, "measure", fake.measure)
    monkeypatch.setattr(cli.run, "worker_count", lambda photos: 1)
    monkeypatch.setenv("COLUMNS", "80")
    return fake


@pytest.fixture
def run() -> Callable[..., Ended]:
    def start(*arguments: object) -> Ended:
        return CliRunner().invoke(app, [str(argument) for argument in arguments])

    return start
