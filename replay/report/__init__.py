"""The report of a scored library: one page that needs no network, to read, to print and to keep.

svg          lines, text and axes as SVG, with few bytes
trace_plot   one trace
margins      how much time the hits left
strips       every trace of a library, small
diagram      the state diagram, from the rows of the cause-and-effect table
table_view   the same rows in words
units_view   settings in both unit systems
contents     what the page says; page.html.j2 how it stands there
write        the page itself
tuning_folder    what a tuning run leaves, with its plots
"""
