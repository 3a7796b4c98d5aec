"""A journal in the browser, on this machine only: our pages, and Datasette beneath them to browse the tables.

`guard` decides who gets in and serves what needs no page; `plugin` holds every line that depends on Datasette's
version; `serving` finds a port and runs it. Only `desk` writes to the journal: the verdicts of the judging page.
"""

#: Tried first; any free one where it is taken.
DEFAULT_PORT = 8356
