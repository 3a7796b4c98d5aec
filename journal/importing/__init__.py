"""From a card to the journal: walk, read, pair, match to a session, store. Resumable, and safe to run twice.

`walking` finds the files, `pairing` makes one frame of a raw file, its JPEG and its sidecar, `storing` writes a chunk
in one transaction, `run` ties them together. Originals are only ever opened for reading.
"""
