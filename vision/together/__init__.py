"""Several photos of the same untouched rings as one result: arithmetic on results, no pixels."""
