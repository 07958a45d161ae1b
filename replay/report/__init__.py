"""The report of a scored library: one page that needs no network, and the forms that other programs and reviewers read.

contents     what the page says; templates/page.html.j2 how it stands there
tuning_view  what a tuning run left, for the page
write        the page itself
fleet        the page of a triage; templates/fleet.html.j2
junit        the score for test runners and build servers
record       the score as evidence that anybody can recompute
tuning_folder what a tuning run leaves, with its plots

How to add a section: a field of `Contents` in `contents` and its place in templates/page.html.j2. Figures come from
`replay.score`; the page never counts. Drawings carry their words (`svg.drawing`), tables their heads.
"""
