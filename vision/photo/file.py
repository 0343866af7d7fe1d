"""A file's bytes, whatever the name leads to."""

import errno
import os
import stat
from pathlib import Path


def read_file(path: Path, most_bytes: int) -> bytes:
    """Read a plain file.

    Nothing else is read: a pipe would be waited for without end, a device may have no end. What is
    checked is what was opened, so that nothing can take its place in between.

    Returns
    -------
    Its bytes; of a longer file the first `most_bytes` + 1.

    Raises
    ------
    OSError
        If it cannot be read, or is a folder, a device or a pipe.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(path, flags)
    try:
        file = os.fdopen(descriptor, "rb")
    except OSError:  # a folder
        os.close(descriptor)
        raise
    with file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, "it is a device or a pipe, not a plain file", str(path))
        content = file.read(most_bytes + 1)
    if content is None:  # a file of the system's own, in which nothing stands now
        raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN), str(path))
    return content
