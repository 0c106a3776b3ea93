"""History in: a file of past firing tests, checked whole, then stored in chunks that a rerun completes.

`columns` says what a cell may hold, `reader` streams the file, `checks` is the first pass, `loader` the
second; `ledger` keeps on disk what the passes must remember, so that memory does not grow with the file.
"""
