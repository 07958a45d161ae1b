"""Measured traces in: from a logger's file to traces of a library.

profile     what the user states of a file: which column is which signal, units, zero, time, gaps
dialect     what can be seen in a text file itself: encoding, separator, marks, header, unit row
text, parquet, mdf    the sources: each gives blocks of rows with their signals as numbers
clock, zones          time columns as whole ms
ticks                 channels with clocks of their own, brought onto one
channels              numbers of a source as absolute Pa
assemble              rows in order, split at gaps, counted
into_library          traces and their entries, whole or not at all, one import at a time
doubts, report, guess what looks wrong, what was done, a first profile for a file

Nothing here fills a gap, interpolates or takes a bad cell for a reading.

How to add a dialect of text files: `dialect` sees how a file is written, `marks` tells decimal and thousands marks,
`clock` the forms of time, `unit_text` spellings of units. Whatever may be read two ways is a doubt that the profile
settles, never a guess. The fast and the exact way of `text` have to give the same numbers: the fast way gives a block
up for any cell that the exact way might refuse. The form goes into tests/measured/test_import_dialects.py or
test_import_time.py beside it.

How to add a source format: a class with what `Source` in `sources` names (units, clock, `notes()`, `blocks()`, ...),
found there by the first bytes of a file. Blocks hold numbers in the source's units; Pa, order, gaps and doubts come
after.

How to add a key of profiles: its row in `profile_keys`, its field in `profile`, and the README's example.
"""
