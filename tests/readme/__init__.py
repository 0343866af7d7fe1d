"""The README's commands and pictures: kept true by a test, made by `python -m tests.readme`."""
