"""What the name of a column says, by whole words and never by parts of words.

"Coil" holds no oil and "Boiler" neither. A word is one that stands in the lists below, or one put together of such
words without a rest, as German and tags do it: "Saugdruck", "OILPRESS", "Poil". What stands in no list is strange.

How to add a word: into its line below, without capitals. A word that names another place or another purpose than the
signal itself (a filter, a set point) keeps a column from being taken for it.
"""

import functools
import itertools
import re
import unicodedata
from dataclasses import dataclass, field

from replay.measured.unit_text import CURRENT, KINDS, PRESSURE, SPEED, TEMPERATURE, is_unit, read_unit, unit_in_name

OIL, SUCTION, CRANKCASE, DIFFERENCE = "oil", "suction", "crankcase", "difference"
RUNNING, STATE, RESET, CLOCK, QUALITY = "running", "state", "reset", "time", "quality"
TAG, VALUE = "tag", "value"
MACHINE, PLAIN, LOW, EVAPORATING, PUMP = "machine", "plain", "low", "evaporating", "pump"
SATURATED = "saturated"
DISCHARGE = "discharge side"  # one of ELSEWHERE
# What else a column may be about, so that it is not the signal: as it is told to the user.
ELSEWHERE = {
    "set point": "sp setpoint setpt stpt set soll sollwert consigne consigna target setting einstellung ref cutout "
    "cutin cut abschalt einschalt schaltpunkt setpunkt regelwert spt",
    "alarm or fault": "alarm alarms alrm alm fault faults störung stoerung fehler warning warn trip tripped défaut "
    "alarme allarme alarma failure fail error err lockout safety sicherheit interlock störmeldung alarmen larm",
    "limit": "limit limits lim grenze grenzwert limite threshold thresh schwelle hyst hysteresis hysterese deadband "
    "band hihi lolo hh ll",
    "permit or command": "permit permissive enable enabled enbl release freigabe autorisation ready bereit req request "
    "anforderung demand available cmd command befehl ordre call inhibit allow allowed auto manual hand",
    "separator": "separator sep separ abscheider ölabscheider séparateur separatore afscheider avskiljare",
    "filter": "filter filt strainer filtre filtro filters",
    "level": "level lvl niveau nivel livello füllstand fuellstand stand sight",
    "cooler, heater or boiler": "cooler kühler kuehler heater heizung heating boiler kessel coil coils heat chauffage",
    "vessel": "tank reservoir receiver sammler behälter vessel drum bottle reservoirs",
    "valve": "valve ventil vanne valvola válvula eev exv tev txv",
    "other stuff than refrigerant or oil": "water wasser eau acqua agua glycol glykol brine sole air luft ambient room "
    "raum steam dampf outdoor aussen hydraulic hydraulik gas",
    DISCHARGE: "discharge disch dis hochdruck hoch hp hd high head cond condensing condenser verflüssiger "
    "verflüssigung kondensation refoulement refoul mandata descarga pk pc pers persgas",
    "stage between": "intermediate inter zwischen zwischendruck interstage economizer economiser eco mitteldruck mp",
    "evaporator": "evaporator verdampfer évaporateur evaporatore",
    "counter": "hours hrs hour stunden std heures ore horas starts count counter zähler zaehler number anzahl total "
    "totalizer totaliser runtime betriebsstunden startzähler counts",
    "contact of something": "switch schalter pressostat door tür tuer porte relay relais window",
    "flow": "flow durchfluss débit caudal portata",
    "power": "power leistung kw kwh energy energie puissance potenza potencia voltage spannung volt tension",
    "position or load": "position pos stellung capacity kapazität capacité load last charge slide schieber opening "
    "open unloader stufe stage",
    "fan": "fan fans lüfter luefter ventilator ventilateur",
    "vibration": "vibration vib schwingung",
    "superheat": "superheat überhitzung ueberhitzung surchauffe subcooling unterkühlung",
    "mode": "mode modus betriebsart",
}
_WORDS = {
    OIL: "oil lub lube lubrication lubricant öl oel schmieröl schmieroel schmier huile aceite lubricante olio "
    "lubrificazione olie olja olje óleo oleo",
    PRESSURE: "p press pressure pressures pres prs pr druck drücke pression pressione presion presión pressão "
    "pressao druk tryck trykk tryk pt pit px psi psig psia bar barg bara kpa mpa hpa",
    TEMPERATURE: "t temp temps temperature temperatures tmp temperatur température temperatura temperatuur tt tx",
    SUCTION: "suction suct suc suctn saug ansaug aspiration asp aspirazione aspiración aspiracion zuig zuiggas sug "
    "suge insug lp nd bp po p0 niederdruck saugdruck saugseite",
    EVAPORATING: "evap evaporating evaporation verdampfung verdampfungs évaporation pe",
    SATURATED: "sst saturated sat saturation sättigung saettigung to t0",
    LOW: "low nieder basse bassa baja lo",
    CRANKCASE: "crankcase crank kurbelgehäuse kurbelgehaeuse kurbelwanne kurbelraum kurbel carter cárter sump sumpf "
    "wanne krukkast vevhus",
    DIFFERENCE: "diff difference differential delta differenz dp pd net netto nett nutz psid δ δp différentielle "
    "differentielle diferencial differenziale verschil bard kpad above over über",
    RUNNING: "run runs running on läuft laeuft lauf betrieb marche marcia marcha bdrijf drift onoff fb feedback "
    "rückmeldung rueckmeldung active aktiv bedrijf runfb ein going gang",
    STATE: "status state zustand statut stato estado contact kontakt signal sts stat",
    SPEED: "speed rpm drehzahl vitesse velocità velocidad n freq frequency frequenz fréquence toerental varvtal hz",
    CURRENT: "current curr amp amps ampere amperes amperage strom courant corrente corriente stroom ström i",
    RESET: "reset quit quittierung ackn acknowledge ack rearm",
    CLOCK: "time zeit date datum uhr uhrzeit hora heure fecha data ora stamp elapsed timestamp datetime zeitstempel "
    "tid tijd clock horodatage utc local ts sec secs second seconds s ms min",
    QUALITY: "quality qual qualität quality q qc validity valid flag flags gut good bad",
    MACHINE: "compressor compressors comp cpr compr kompressor verdichter compresseur compressore compresor cp c k kp "
    "v vd unit machine maschine no nr nummer motor engine drive cmp komp",
    PUMP: "pump pumpe pompe pompa bomba supply feed gallery main bearing lager header outlet out aus",
    TAG: "tag tagname tags point pointname name variable var channel parameter param signal item description metric "
    "kanal messstelle datenpunkt topic id series sensor attribute",
    VALUE: "value values val wert werte messwert valeur valor valore reading readings pv waarde",
    PLAIN: "value val pv act actual ist istwert meas measured measurement mesure messwert reading wert raw avg average "
    "mean mittelwert mittel mw moyenne sensor fühler fuehler sonde transmitter transducer probe gauge rel relative abs "
    "absolute a b g plant anlage rack line leitung of the at in de d der von du des la le el il van gas1 ga signal "
    "inst instant current1 minimum maximum min max side seite tag x y z deg degc degf celsius f level1 and und "
    "compressor1 vac vacuum l phase off up down e do del",
}
_MEANS: dict[str, set[str]] = {}
for _concept, _list in {**_WORDS, **ELSEWHERE}.items():
    for _word in _list.split():
        _MEANS.setdefault(_word, set()).add(_concept)
_NO_ACCENTS = {
    "".join(c for c in unicodedata.normalize("NFKD", word) if not unicodedata.combining(c)): word
    for word in _MEANS
    if len(word) > 3  # noqa: PLR2004 - shorter ones would become other words
}
_SHORT = {"öl", "dp", "p", "t"}  # what a longer word may be put together of beside words of three letters and more
_LETTER = "A-Za-zÀ-ÖØ-öø-ÿΔδΑ-ω"
_CHUNK = re.compile(rf"[{_LETTER}0-9]+")
_PART = re.compile(r"[^\W\d_a-zà-öø-ÿ]+(?=[^\W\d_a-zà-öø-ÿ][a-zà-öø-ÿ])|[^\W\d_]?[a-zà-öø-ÿ]+|[^\W\d_]+|\d+")
_BRACKETS = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]")


@dataclass(frozen=True)
class Named:
    """What a name says: its words in order, what they mean (each meaning with the word that says it), strange ones."""

    words: tuple[str, ...]
    means: dict[str, str] = field(hash=False)
    strange: tuple[str, ...] = ()

    def says(self, *concepts: str) -> bool:
        """Say whether all these are meant."""
        return all(concept in self.means for concept in concepts)

    @property
    def elsewhere(self) -> tuple[str, str] | None:
        """Return (the word, what it names) where the name is about another place or purpose.

        The discharge of an oil pump is no discharge side of the machine: it is where oil pressure is taken.
        """
        own = {DISCHARGE} if self.says(OIL, PUMP) else set()
        return next(((self.means[what], what) for what in ELSEWHERE if what in self.means and what not in own), None)


@functools.lru_cache(maxsize=4096)
def read_name(name: str) -> Named:
    """Return what a column's name says; a unit at its end is no word of it, but "psid" says a difference."""
    text = unicodedata.normalize("NFC", name)
    means: dict[str, str] = {}
    for found in [unit_in_name(text, PRESSURE)]:
        if found and read_unit(found, PRESSURE).reference == DIFFERENCE:
            means[DIFFERENCE] = found
        if found:
            means.setdefault(PRESSURE, found)
            text = text[: text.rindex(found)] + " " + text[text.rindex(found) + len(found) :]
    text = _BRACKETS.sub(lambda m: " " if any(is_unit(m[1] or m[2] or "", kind) for kind in KINDS) else m[0], text)
    words: list[str] = []
    strange: list[str] = []
    for chunk in _CHUNK.findall(text):
        for word in _words(chunk):
            words.append(word)
            concepts = _MEANS.get(word, set())
            for concept in concepts:
                means.setdefault(concept, word)
            if not concepts and not word.isdigit():
                strange.append(word)
    for before, after in itertools.pairwise(words):
        if (before, after) == ("d", "p"):
            means[DIFFERENCE] = "dp"
    return Named(tuple(words), means, tuple(strange))


def _words(chunk: str) -> list[str]:
    """Return the words that a run of letters and digits is made of."""
    whole = _known(chunk.casefold())
    if whole:
        return [whole]
    return [word for part in _PART.findall(chunk) for word in _parts(part.casefold())]


def _parts(part: str) -> list[str]:
    """Return one part as a word, as words put together, or as it is."""
    whole = _known(part)
    return [whole] if whole else list(_put_together(part) or [part])


def _known(word: str) -> str:
    return word if word in _MEANS else _NO_ACCENTS.get(word, "")


@functools.lru_cache(maxsize=4096)
def _put_together(text: str) -> tuple[str, ...]:
    """Return the fewest known words that a text is put together of, () where there is a rest."""
    best: tuple[str, ...] = ()
    for end in range(1, len(text)):
        head = text[:end]
        if head not in _MEANS or (len(head) < 3 and head not in _SHORT):  # noqa: PLR2004 - too short to be a part
            continue
        tail = text[end:]
        last = tail in _MEANS and (len(tail) > 2 or tail in _SHORT)  # noqa: PLR2004
        rest = (tail,) if last else _put_together(tail)
        if rest and (not best or len(rest) + 1 < len(best)):
            best = (head, *rest)
    return best
