"""The only writer of the journal file.

`opening` opens and migrates; every other module holds the statements of one subject. A change and the summaries that
depend on it are written in one transaction (`opening.writing`, `summaries.refresh`).
"""
