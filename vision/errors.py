"""What can go wrong with a picture: one base error, each kind says what to do about it."""


class VisionError(Exception):
    """A picture or a reference that cannot be used.

    `problem` says what was found and what was expected, `hint` what the user can do.
    """

    def __init__(self, problem: str, *, hint: str = "") -> None:
        super().__init__(problem)
        self.hint = hint


class PhotoError(VisionError):
    """The file is no photo that can be read."""


class ScaleError(VisionError):
    """No reference, more than one candidate for it, or references that disagree."""


class RingsError(VisionError):
    """The photo and its scale are fine, but no ring was found."""


class CoinError(VisionError):
    """A coin was named that is unknown or that cannot serve as a reference."""


class TradeError(VisionError):
    """A size, gauge, weave or metal was named that cannot be read or does not exist."""
