"""The commands by topic, in the order in which one meets them, each with examples: what `--help` prints.

How to add one: a line here, under the topic that fits.
"""

TOPICS: dict[str, dict[str, tuple[str, ...]]] = {
    "Try it": {
        "demo": ("demo site",),
        "help": ("help", "help units"),
    },
    "Score a library": {
        "score": ("score site", "score site --settings new.toml --csv scores.csv", "score site --junit junit.xml -q"),
        "explain": ("explain site suction-valve-shut-00000", "explain site/traces/suction-valve-shut-00000.csv"),
        "show": (
            "show site suction-valve-shut-00000 -o trace.png",
            "show site/traces/suction-valve-shut-00000.csv -o trace.svg --units bar",
        ),
        "report": ("report site -o report.html", "report site -o report.html --against before.json"),
        "compare": ("compare old.toml new.toml --library site", "compare old.json new.json"),
        "record": ("score site --record rec", "record check rec"),
        "record check": ("record check rec", "record check rec --library site"),
    },
    "Settings": {
        "bench": ("bench site -o bench.html",),
        "guarantee": ("guarantee site/settings.toml",),
        "floor": ('floor --outer-radius "55 mm" --speed "1450 rpm"',),
        "tune": (
            "tune site --vary 'trip_delay=60s..240s/7' --out tuned --quick",
            "tune site --vary 'cut_out=6psi..14psi' --vary 'cut_in=cut_out+4psi' --budget 200 --out tuned",
            "tune site --vary 'vacuum_weight=0.4,1' --forecast 12 --cost nuisance_stops=1 --cost lost_with=300 --out t",
        ),
        "tolerances": ("tolerances site", "tolerances site --plot tornado.png"),
    },
    "Your machine": {
        "machine": ("machine new machine.toml", "machine check machine.toml --settings my.toml"),
        "machine new": ("machine new machine.toml",),
        "machine check": ("machine check machine.toml --settings my.toml",),
        "machine sensitivity": ("machine sensitivity fitted.toml --plot sensitivity.svg",),
        "fit": ("fit machine.toml runs --to fitted.toml --hold-out third --plot fit.svg",),
        "forecast": (
            "forecast --settings my.toml --years 12 --seed 1",
            "forecast --machine machine.toml --settings new.toml --against old.toml --years 12 --seed 1 --keep wrong",
        ),
    },
    "Logs and labels": {
        "import": ("import --guess LOG.csv --out p.toml", "import LOG*.csv --profile p.toml --to logs"),
        "triage": ("triage logs --settings my.toml", "triage logs --settings my.toml --html fleet.html"),
        "label": (
            'label logs K1-00000 --must-trip "10 min" "14 min" --note "bearing 2 wiped, opened 3 March"',
            'label logs K1-00001 --ride-through --note "came through, oil clean"',
        ),
        "remove": ('remove logs K1-00002 --note "recorded twice"',),
        "synth": ("synth made --count 84 --seed 1", "synth --closed-loop --count 84 --seed 1 --settings my.toml"),
    },
    "Firmware": {
        "export": ("export site/settings.toml --to c --out settings.c",),
        "vectors": ("vectors vec",),
        "conform": ("conform --port ./my_port", "conform --serial /dev/ttyUSB0"),
        "export-sources": ("export-sources lubetrip.zip --settings site/settings.toml",),
    },
}
EXAMPLES = {command: lines for commands in TOPICS.values() for command, lines in commands.items()}
STATUS = (
    ("0", "done; score: acceptance met"),
    ("1", "score: not met; compare: B is worse; record check: does not hold; conform: different"),
    ("2", "bad input; one line says what would be accepted"),
    ("3", "score, tune, tolerances: not enough evidence"),
    ("70", "unexpected error: please report it"),
    ("130, 141, 143", "interrupted; output closed; terminated"),
)
