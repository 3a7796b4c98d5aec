"""The pages as files that need no server and no network: a folder, or one HTML file.

What is shown is built from the same answers as the served pages (`builders` and `estimates`, one function per page),
the frames as a small table of numbers (`material`), pictures encoded anew (`pictures`), and packed in `packing`. What
is private stays out unless it is asked for by name (`privacy`). Nothing here writes to the journal.
"""
