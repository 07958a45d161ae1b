"""Measured traces in: from a logger's file to traces of a library.

profile     what the user states of a file: which column is which signal, units, zero, time, gaps, holds
opened      a given file as the files in it: unpacked, sheet by sheet (workbooks), as a table (tables)
dialect     what can be seen in a text file itself: encoding, separator, marks, header, unit row, units in cells
text, parquet, mdf    the sources: each gives blocks of rows with their signals as numbers
long_form, tag_files  a row for each reading, a file for each tag: as a table with a column for each signal
long_days   readings of a long table by days, on disk where they are many
machines    which machines a file holds
clock, zones, mending time columns as whole ms; times that a spreadsheet damaged
ticks       channels with clocks of their own, brought onto one
quality, holding, steady    readings that are not good; that hold until written again; running without flicker
channels, saturation  numbers of a source as absolute Pa
assemble    rows in order, split at gaps, counted
into_library, replacing     traces and their entries, whole or not at all, one import at a time
doubts, losses, report      what looks wrong, what was lost, what was done
guess, guess_time, guess_signals, guess_machines    a first profile for a file, from look, naming (words),
            candidates, threshold

Nothing here fills a gap, interpolates or takes a bad cell for a reading; what holds does so as the profile says.

How to add a dialect of text files: `dialect` sees how a file is written, `marks` tells decimal and thousands marks,
`clock` the forms of time, `unit_text` spellings of units. Whatever may be read two ways is a doubt that the profile
settles, never a guess. The fast and the exact way of `text` have to give the same numbers: the fast way gives a block
up for any cell that the exact way might refuse. The form goes into tests/measured/test_import_dialects.py or
test_import_time.py beside it.

How to add a source format: a class with what `Source` in `sources` names (units, clock, `notes()`, `blocks()`, ...),
found there by the first bytes of a file. Blocks hold numbers in the source's units; Pa, order, gaps and doubts come
after.

How to add a word of the trade to the draft, or a language: the head of `naming`.

How to add a key of profiles: its row in `profile_keys`, its field in `profile`, and the example of the
guide `replay/guides/profile.md`.
"""
