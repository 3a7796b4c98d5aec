"""Records what a photographer meant, which settings were used, and which frames were keepers.

`journal` writes facts into one SQLite file and never says what they mean; that is `analytics`, which reads the file.
The floors, from the ground up: errors, optics, notation, records, schema, store and readers, importing, cli.
"""
