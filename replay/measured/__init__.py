"""Measured traces in: from a logger's file to traces of a library.

profile     what the user states of a file: which column is which signal, units, zero, time, gaps
dialect     what can be seen in a text file itself: encoding, separator, marks, header, unit row
text, parquet, mdf    the sources: each gives blocks of rows with their signals as numbers
clock, zones          time columns as whole ms
signals               numbers of a source as absolute Pa and running status
ticks                 channels with clocks of their own, brought onto one
assemble              rows in order, split at gaps, counted
into_library, lock    traces and their entries, whole or not at all, one import at a time
doubts, report, guess what looks wrong, what was done, a first profile for a file

Nothing here fills a gap, interpolates or takes a bad cell for a reading.
"""
