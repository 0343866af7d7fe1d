"""Stage: pieces of wire that lie for themselves, as straight as they are."""
