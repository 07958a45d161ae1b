"""A log in each language that the trade writes: what a draft picks, leaves with its reason, and asks."""

import tomllib
import unicodedata
from pathlib import Path

import pytest

from replay.measured.guess import draft_profile
from replay.measured.naming import without_accents

ANALOGUE, STATUS = ("4.5", "2.1"), ("1", "0")
# Of each language: oil pressure, suction pressure, running, oil temperature; what is left and why; what is asked of
# which signal; a name that says a difference; the words of on and off.
LANGUAGES = {
    "French": (
        ("Pression d'huile (bar rel)", "Pression aspiration (bar rel)", "Marche compresseur", "Température huile (°C)"),
        {
            "Consigne pression aspiration (bar rel)": "set point",
            "Alarme pression d'huile": "an alarm or fault",
            "Pression séparateur d'huile (bar rel)": "a separator",
            "Pression refoulement (bar rel)": "a discharge side",
            "Niveau d'huile (bar)": "a level",
            "Résistance de carter": "cooler, heater or boiler",
        },
        ("suction_pressure", "Basse pression (bar rel)"),
        "Pression différentielle d'huile (bar)",
        ("Marche", "Arrêt"),
    ),
    "Spanish": (
        ("Presión de aceite (bar)", "Presión de succión (bar)", "Compresor en marcha", "Temperatura aceite (°C)"),
        {
            "Consigna aspiración (bar)": "set point",
            "Fallo presión aceite": "an alarm or fault",
            "Separador de aceite presión (bar)": "a separator",
            "Presión de descarga (bar)": "a discharge side",
            "Filtro de aceite presión (bar)": "a filter",
            "Permiso marcha": "a permit or command",
        },
        ("suction_pressure", "Baja presión (bar)"),
        "Presión diferencial de aceite (bar)",
        ("Marcha", "Paro"),
    ),
    "Italian": (
        ("Pressione olio (bar)", "Pressione aspirazione (bar)", "Compressore in marcia", "Temperatura olio (°C)"),
        {
            "Setpoint aspirazione (bar)": "set point",
            "Allarme pressione olio": "an alarm or fault",
            "Pressione separatore olio (bar)": "a separator",
            "Pressione mandata (bar)": "a discharge side",
            "Consenso marcia": "a permit or command",
            "Ore di marcia": "a counter",
        },
        ("suction_pressure", "Bassa pressione (bar)"),
        "Differenza pressione olio (bar)",
        ("Marcia", "Fermo"),
    ),
    "Dutch": (
        ("Oliedruk (bar)", "Zuigdruk (bar)", "Compressor in bedrijf", "Olietemperatuur (°C)"),
        {
            "Instelwaarde zuigdruk (bar)": "set point",
            "Storing oliedruk": "an alarm or fault",
            "Olieafscheider druk (bar)": "a separator",
            "Persdruk (bar)": "a discharge side",
            "Oliepeil (bar)": "a level",
            "Vrijgave compressor": "a permit or command",
        },
        ("suction_pressure", "Lage druk (bar)"),
        "Oliedruk verschil (bar)",
        ("Aan", "Uit"),
    ),
    "Polish": (
        ("Ciśnienie oleju (bar)", "Ciśnienie ssania (bar)", "Praca sprężarki", "Temperatura oleju (°C)"),
        {
            "Ciśnienie ssania zadane (bar)": "set point",
            "Awaria ciśnienia oleju": "an alarm or fault",
            "Ciśnienie oleju odolejacz (bar)": "a separator",
            "Ciśnienie tłoczenia (bar)": "a discharge side",
            "Poziom oleju (bar)": "a level",
            "Grzałka karteru": "cooler, heater or boiler",
        },
        ("suction_pressure", "Niskie ciśnienie (bar)"),
        "Różnica ciśnień oleju (bar)",
        ("Praca", "Postój"),
    ),
    "Portuguese": (
        ("Pressão do óleo (bar)", "Pressão de sucção (bar)", "Compressor ligado", "Temperatura do óleo (°C)"),
        {
            "Setpoint sucção (bar)": "set point",
            "Falha pressão óleo": "an alarm or fault",
            "Separador de óleo pressão (bar)": "a separator",
            "Pressão de descarga (bar)": "a discharge side",
            "Nível do óleo (bar)": "a level",
            "Permissão compressor": "a permit or command",
        },
        ("suction_pressure", "Baixa pressão (bar)"),
        "Pressão diferencial do óleo (bar)",
        ("Ligado", "Desligado"),
    ),
    "Swedish": (
        ("Oljetryck (bar)", "Sugtryck (bar)", "Kompressor i drift", "Oljetemperatur (°C)"),
        {
            "Sugtryck börvärde (bar)": "set point",
            "Larm oljetryck": "an alarm or fault",
            "Oljeavskiljare tryck (bar)": "a separator",
            "Högtryck (bar)": "a discharge side",
            "Oljenivå (bar)": "a level",
            "Drifttimmar": "a counter",
        },
        ("suction_pressure", "Lågtryck (bar)"),
        "Oljetryck differens (bar)",
        ("Drift", "Stopp"),
    ),
    "Danish": (
        ("Olietryk (bar)", "Sugetryk (bar)", "Kompressor kører", "Olietemperatur (°C)"),
        {
            "Sætpunkt sugetryk (bar)": "set point",
            "Fejl olietryk": "an alarm or fault",
            "Olieudskiller tryk (bar)": "a separator",
            "Højtryk (bar)": "a discharge side",
            "Olieniveau (bar)": "a level",
            "Varmelegeme krumtaphus": "cooler, heater or boiler",
        },
        ("suction_pressure", "Lavtryk (bar)"),
        "Olietryk differens (bar)",
        ("Kører", "Stoppet"),
    ),
}
SPELLINGS = {
    "as it is": str,
    "taken apart": lambda name: unicodedata.normalize("NFD", name),
    "without accents": lambda name: bare(name, 0),
    "capitals": lambda name: (
        bare(name, 0).split(" (")[0].upper().replace(" ", "_") + name[name.find(" (") :] * (" (" in name)
    ),
    "two letters": lambda name: bare(name, 1),
}


def bare(name: str, way: int) -> str:
    """Return a name without accents, its capitals and its unit kept."""
    return "".join(
        part.capitalize() if letter.isupper() else part
        for letter in name
        for part in ([letter] if letter == "°" else [without_accents(letter.casefold())[way]])
    )


def drafted(folder: Path, columns: dict[str, tuple[str, str]]) -> tuple[dict, list[str]]:
    """Return the draft of a log with these columns and two kinds of rows in turn, as a table and in lines."""
    lines = [";".join(["Time (s)", *columns])]
    lines += [";".join([str(s), *(cells[s % 2] for cells in columns.values())]) for s in range(40)]
    (folder / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = draft_profile(folder / "log.csv")
    return tomllib.loads(text), text.splitlines()


@pytest.mark.parametrize("spelling", SPELLINGS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_log_in_the_languages_of_the_trade(language: str, spelling: str, tmp_path: Path) -> None:
    """Catches a set point, an alarm or a discharge taken for a signal since its word is of another language."""
    picked, left, *_, words = LANGUAGES[language]
    spell = SPELLINGS[spelling]
    oil, suction, running, temperature = map(spell, picked)
    columns = {oil: ANALOGUE, suction: ANALOGUE, running: words, temperature: ("45.5", "44.1")}
    columns |= {spell(name): ANALOGUE if "(" in name else STATUS for name in left}
    table, lines = drafted(tmp_path, columns)

    taken = [table[of]["column"] for of in ("oil_pressure", "suction_pressure", "running", "oil_temperature")]
    assert taken == [oil, suction, running, temperature]
    assert "on" not in table["running"]  # its words are known
    for name, why in left.items():
        (line,) = [line for line in lines if line.startswith(f'#   "{spell(name)}"')]
        assert why in line


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_may_be_another_signal_is_asked_in_every_language(language: str, tmp_path: Path) -> None:
    """Catches low pressure beside suction, or a crankcase beside oil, decided by which column comes first."""
    picked, _, (signal, second), *_ = LANGUAGES[language]
    columns = dict.fromkeys(picked[:2], ANALOGUE) | {picked[2]: STATUS, second: ("4.2", "2.2")}
    table, lines = drafted(tmp_path, columns)

    (line,) = [line for line in lines if line.startswith('column = "?"')]
    assert table[signal]["column"] == "?"
    assert f'"{second}"' in line


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_difference_is_asked_in_every_language(language: str, tmp_path: Path) -> None:
    """Catches a net oil pressure that is counted from the atmosphere."""
    picked, *_, difference, _ = LANGUAGES[language]
    columns = {difference: ("2.1", "0.1"), picked[1]: ANALOGUE, picked[2]: STATUS}
    table, _ = drafted(tmp_path, columns)

    assert table["oil_pressure"]["column"] == difference
    assert table["oil_pressure"]["reference"] == "?"
