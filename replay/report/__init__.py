"""The report of a scored library: one page that needs no network, to read, to print and to keep.

units_view   settings in both unit systems
contents     what the page says; page.html.j2 how it stands there
write        the page itself
junit        a score as JUnit XML
record       an evidence record: kept, and recomputed

How to add a section: a field of `Contents` in `contents` and its place in templates/page.html.j2. Figures come from
`replay.score`; the page never counts. Drawings carry their words (`svg.drawing`), tables their heads.
"""
