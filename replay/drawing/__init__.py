"""What there is to draw of a trace (`picture`, `decimation`, `looks`), and matplotlib that draws it and a tuning.

How to add something to draw of a trace: what it is goes into `picture`, once; how it looks, into `plot` (matplotlib)
and `trace_plot` (SVG). Colours, dashes and the places of labels are those of `looks`; curves are thinned by
`decimation`, which keeps every crossing of every level.
"""
