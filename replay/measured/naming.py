"""What the name of a column says, by whole words and never by parts of words.

"Coil" holds no oil and "Boiler" neither. A word is one that stands in the lists below, or one put together of such
words without a rest, as German and tags do it: "Saugdruck", "OILPRESS", "Poil". What stands in no list is strange.

How to add a word: into its line below, without capitals. A word that names another place or purpose than the
signal itself (a filter, a set point) keeps a column from being taken for it.
How to add a language: its words here; what it writes for on and off in `cells`, for good and bad in `guess_signals`,
for a mean, the least and the most in KEPT of `candidates`; then its row of LANGUAGES in
tests/measured/test_guess_languages.py, which finds what is missing.
"""

import functools
import itertools
import re
import unicodedata
from dataclasses import dataclass, field

from replay.measured.unit_text import CURRENT, KINDS, PRESSURE, SPEED, TEMPERATURE, is_unit, read_unit, unit_in_name

OIL, SUCTION, CRANKCASE, DIFFERENCE = "oil", "suction", "crankcase", "difference"
RUNNING, STATE, RESET, CLOCK, QUALITY = "running", "state", "reset", "time", "quality"
TAG, VALUE, STOPPED = "tag", "value", "stopped"
MACHINE, PLAIN, LOW, EVAPORATING, PUMP = "machine", "plain", "low", "evaporating", "pump"
SATURATED = "saturated"
UNITS = {"unit", "units", "uom", "einheit", "unité", "unidad", "unità", "eenheid", "jednostka", "unidade", "enhet"}
DISCHARGE, STUFF = "discharge side", "other stuff than refrigerant or oil"  # of ELSEWHERE
# What else a column may be about, so that it is not the signal: as it is told to the user.
ELSEWHERE = {
    "set point": "sp setpoint setpt stpt set soll sollwert consigne consigna target setting einstellung ref cutout "
    "cutin cut abschalt einschalt schaltpunkt setpunkt regelwert spt"
    " settpunkt instelwaarde ingesteld ingestelde gewenst setwaarde nastawa nastawy zadana zadane zadany"
    " zadanego referência börvärde inställd inställt sætpunkt saetpunkt sætværdi indstilling indstillet"
    " innstilt ønsket impostazione impostato impostata ajuste réglage desejado desejada",
    "alarm or fault": "alarm alarms alrm alm fault faults störung stoerung fehler warning warn trip tripped défaut "
    "alarme allarme alarma failure fail error err lockout safety sicherheit interlock störmeldung alarmen larm"
    " défauts fallo falla avería averías allarmi guasto storing awaria usterka błąd falha avaria fel fejl"
    " feil blokkering",
    "limit": "limit limits lim grenze grenzwert limite threshold thresh schwelle hyst hysteresis hysterese deadband "
    "band hihi lolo hh ll"
    " seuil límite umbral soglia grens granica limiet gräns gränsvärde grænse grænseværdi",
    "permit or command": "permit permissive enable enabled enbl release freigabe autorisation ready bereit req request "
    "anforderung demand available cmd command befehl ordre call inhibit allow allowed auto manual hand"
    " commande demande ordres permiso orden mando habilitación demanda consenso comando richiesta"
    " abilitazione vrijgave commando zezwolenie polecenie żądanie permissão pedido kommando begäran"
    " frigivning frigivelse tilladelse",
    "separator": "separator sep separ abscheider ölabscheider séparateur separatore afscheider avskiljare"
    " separador odolejacz oddzielacz oljeavskiljare udskiller olieudskiller utskiller oljeutskiller",
    "filter": "filter filt strainer filtre filtro filters filtra filtr filtru filtrem",
    "level": "level lvl niveau nivel livello füllstand fuellstand stand sight nível poziom peil nivå",
    "cooler, heater or boiler": "cooler kühler kuehler heater heizung heating boiler kessel coil coils heat chauffage"
    " refroidisseur réchauffeur chaudière résistance enfriador calentador resistencia caldera"
    " raffreddatore riscaldatore resistenza caldaia koeler verwarming ketel chłodnica grzałka kocioł"
    " resfriador aquecedor caldeira kylare värmare panna køler varmelegeme kedel kjøler",
    "vessel": "tank reservoir receiver sammler behälter vessel drum bottle reservoirs"
    " réservoir bouteille depósito recipiente serbatoio ricevitore zbiornik reservatório tanque behållare"
    " beholder",
    "valve": "valve ventil vanne valvola válvula eev exv tev txv"
    " détendeur électrovanne electroválvula elettrovalvola klep afsluiter magneetklep zawór zaworu"
    " válvulas",
    STUFF: "water wasser eau acqua agua glycol glykol brine sole air luft ambient room "
    "raum steam dampf outdoor aussen hydraulic hydraulik gas"
    " ambiante ambiant ambiance extérieure extérieur aire ambiente exterior aria esterna lucht omgeving"
    " buiten ruimte woda wody powietrze otoczenie otoczenia zewnętrzna água vatten omgivning köldbärare"
    " vand omgivelse vann",
    DISCHARGE: "discharge disch dis hochdruck hoch hp hd high head cond condensing condenser verflüssiger "
    "verflüssigung kondensation refoulement refoul mandata descarga pk pc pers persgas"
    " haute alta alto impulsión persdruk hogedruk hoge tłoczenie tłoczenia tłoczne wysokie wysokiego"
    " hetgas högtryck hög højtryk høj høytrykk condenseur condensatore condensador condensor skraplacz"
    " skraplania kondensor kondensator condensation condensación condensazione condensação",
    "stage between": "intermediate inter zwischen zwischendruck interstage economizer economiser eco mitteldruck mp"
    " intermédiaire intermedia intermedio pośrednie mellan mellem",
    "evaporator": "evaporator verdampfer évaporateur evaporatore"
    " evaporador verdamper parownik förångare fordamper fordamperen",
    "counter": "hours hrs hour stunden std heures ore horas starts count counter zähler zaehler number anzahl total "
    "totalizer totaliser runtime betriebsstunden startzähler counts"
    " compteur démarrages nombre contador arranques contatore avviamenti uren teller draaiuren"
    " bedrijfsuren godziny licznik partidas timmar räknare drifttimmar driftstimer tæller driftstid",
    "contact of something": "switch schalter pressostat door tür tuer porte relay relais window"
    " interrupteur contacteur interruptor puerta presostato interruttore porta pressostato schakelaar"
    " deur pressostaat wyłącznik drzwi presostat brytare dörr dør",
    "flow": "flow durchfluss débit caudal portata débits przepływ vazão flöde debiet",
    "power": "power leistung kw kwh energy energie puissance potenza potencia voltage spannung volt tension"
    " tensión voltaje tensione vermogen spanning moc napięcie potência tensão effekt spänning spænding",
    "position or load": "position pos stellung capacity kapazität capacité load last charge slide schieber opening "
    "open unloader stufe stage"
    " posición posizione posição carico carga belasting obciążenie belastning capaciteit capacidad"
    " capacità wydajność capacidade kapacitet apertura ouverture ouvert",
    "fan": "fan fans lüfter luefter ventilator ventilateur ventilatore ventilador wentylator fläkt blæser vifte",
    "vibration": "vibration vib schwingung vibración vibrazione trillingen drgania vibração",
    "superheat": "superheat überhitzung ueberhitzung surchauffe subcooling unterkühlung"
    " recalentamiento surriscaldamento oververhitting przegrzanie superaquecimento överhettning"
    " overhedning",
    "mode": "mode modus betriebsart",
}
_WORDS = {
    OIL: "oil lub lube lubrication lubricant gallery öl oel schmieröl schmieroel schmier huile aceite lubricante olio "
    "lubrificazione olie olja olje óleo oleo"
    " olej oleju olejowy olejowe olejowa olejowej graissage lubrification lubricación lubrificante"
    " lubrificação smarowania smarowanie smeer smeerolie smörj smörjolja smøre smøreolie smøring",
    PRESSURE: "p press pressure pressures pres prs pr druck drücke pression pressione presion presión pressão "
    "pressao druk tryck trykk tryk pt pit px psi psig psia bar barg bara kpa mpa hpa"
    " ciśnienie ciśnienia ciśnień ciśn pressioni presiones",
    TEMPERATURE: "t temp temps temperature temperatures tmp temperatur température temperatura temperatuur tt tx"
    " temperatury",
    SUCTION: "suction suct suc suctn saug ansaug aspiration asp aspirazione aspiración aspiracion zuig zuiggas sug "
    "suge insug lp nd bp po p0 niederdruck saugdruck saugseite"
    " succión sucção aspiraz aspiração ssanie ssania ssący ssawne ssawny ssawnej zasysanie zasysania"
    " zuigdruk zuigzijde suggas sugtryck sugegas sugetryk sugetrykk lågtryck lagtryck lavtryk lavtrykk"
    " lagedruk sauggas",
    EVAPORATING: "evap evaporating evaporation verdampfung verdampfungs évaporation pe"
    " evaporación evaporazione verdamping verdampings parowanie parowania evaporação förångning"
    " fordampning fordampnings",
    SATURATED: "sst saturated sat saturation sättigung saettigung to t0"
    " saturada saturazione verzadigd nasycenia mättad mættet",
    LOW: "low nieder basse bassa baja lo laag lage bajo baixa baixo låg lågt lav lavt niskie niskiego basso bas",
    CRANKCASE: "crankcase crank kurbelgehäuse kurbelgehaeuse kurbelwanne kurbelraum kurbel carter cárter sump sumpf "
    "wanne krukkast vevhus"
    " basamento karter karteru skrzyni korbowa korbowej carterdruk krumtaphus veivhus carterpan"
    " bas-carter",
    DIFFERENCE: "diff difference differential delta differenz dp pd net netto nett nutz psid δ δp différentielle "
    "differentielle diferencial differenziale verschil bard kpad above over über"
    " différentiel différence écart diferencia differenza verschildruk różnica różnicy różnicowe"
    " różnicowa diferença differens differenstryck differenstryk differansetrykk skillnad forskel netta"
    " nette",
    RUNNING: "run runs running on läuft laeuft lauf betrieb marche marcia marcha bdrijf drift onoff fb feedback "
    "rückmeldung rueckmeldung active aktiv bedrijf runfb ein going gang"
    " fonctionnement funcionamiento funcionando encendido funzionamento funzione loopt draait draaien"
    " praca pracy pracuje biegu funcionamento ligado operação gång går kører kørsel kjører",
    STATE: "status state contactor zustand statut stato estado contact kontakt signal sts stat"
    " état etat toestand stan tillstånd tilstand läge estados",
    SPEED: "speed rpm drehzahl vitesse velocità velocidad n freq frequency frequenz fréquence toerental varvtal hz",
    CURRENT: "current curr amp amps ampere amperes amperage strom courant corrente corriente stroom ström i"
    " intensité intensidad assorbimento prąd prądu strøm",
    RESET: "reset quit quittierung ackn acknowledge ack rearm"
    " réarmement acquittement rearme ripristino kasowanie återställning kvittering kvittens nulstilling",
    CLOCK: "time zeit date datum uhr uhrzeit hora heure fecha data ora stamp elapsed timestamp datetime zeitstempel "
    "tid tijd clock horodatage utc local ts sec secs second seconds s ms min"
    " temps tiempo tijdstip czas godzina klockslag tidpunkt tidspunkt klokkeslæt dato fechahora dataora"
    " datahora",
    QUALITY: "quality qual qualität quality q qc validity valid flag flags gut good bad"
    " qualité calidad qualità kwaliteit jakość qualidade kvalitet",
    MACHINE: "compressor compressors comp cpr compr kompressor verdichter compresseur compressore compresor cp c k kp "
    "v vd vfd vsd inverter unit asset machine maschine no nr nummer motor engine drive cmp komp"
    " sprężarka sprężarki motore moteur silnik motorn groupe gruppo grupo",
    PUMP: "pump pumpe pompe pompa bomba supply feed gallery main bearing lager header outlet out"
    " pomp pompy oliepomp alimentation palier palieren",
    TAG: "tag tagname tags point pointname name variable var channel parameter param signal item description metric "
    "kanal messstelle datenpunkt topic id series sensor attribute"
    " nom nome naam nazwa navn namn étiquette etiqueta zmienna variabile",
    VALUE: "value values val wert werte messwert valeur valor valore reading readings pv waarde"
    " wartość værdi verdi värde",
    STOPPED: "stop stopp stopped halted idle standby stoppad stoppet arrêt arret arrêté "
    "paro parada parado fermo postój stój stillstand stilstand steht aus uit off",
    PLAIN: "value val pv act actual ist istwert meas measured measurement mesure messwert reading wert raw avg average "
    "mean mittelwert mittel mw moyenne sensor fühler fuehler sonde transmitter transducer probe gauge rel relative abs "
    "absolute a b g plant anlage rack line leitung of the at in de d der von du des la le el il van gas1 ga signal "
    "share fraction anteil adc digits rohwert brut vide vakuum vacío vacio vácuo vuoto próżnia "
    "inst instant current1 minimum maximum min max side seite tag x y z deg degc degf celsius f level1 and und "
    "compressor1 vac vacuum l phase up down e do del"
    " les en sur dell della dello degli los las het op na w ze på av af mesurée relatif relativa relativo"
    " absolue absoluta absoluto assoluta assoluto relatief absoluut względne bezwzględne manométrique"
    " manométrica manometrica centrale"
    " central centrala instalación impianto installation huidig huidige aktuell aktuel actuel actuelle"
    " attuale atual bieżące medido medida misurata gemeten zmierzone mätt målt mierzone strona côté lado"
    " lato zijde",
}
UNITS = {"unit", "units", "uom", "einheit", "unité", "unidad", "unità", "eenheid", "jednostka", "unidade", "enhet"}
_MEANS: dict[str, set[str]] = {}
for _concept, _list in {**_WORDS, **ELSEWHERE}.items():
    for _word in _list.split():
        _MEANS.setdefault(_word, set()).add(_concept)
_BARE = str.maketrans({"ł": "l", "ø": "o", "æ": "ae", "ß": "ss"})
_IN_TWO = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ø": "oe", "å": "aa", "æ": "ae", "ß": "ss", "ł": "l"})


def without_accents(word: str) -> tuple[str, str]:
    """Return a word as it is written where its accents cannot be: left out, or with two letters for one."""
    bare, in_two = word.translate(_BARE), word.translate(_IN_TWO)
    told = [unicodedata.normalize("NFKD", text) for text in (bare, in_two)]
    return tuple("".join(c for c in text if not unicodedata.combining(c)) for text in told)  # type: ignore[return-value]


for _word in [word for word in _MEANS if len(word) > 3]:  # noqa: PLR2004 - shorter ones would become other words
    for _bare in without_accents(_word):
        _MEANS.setdefault(_bare, _MEANS[_word])
_SHORT = {"öl", "dp", "p", "t"}  # what a longer word may be put together of beside words of three letters and more
_LETTERS = [chr(code) for code in range(0x41, 0x180) if chr(code).isalpha()]  # of the languages of Europe
_LOW, _HIGH = ("".join(c for c in _LETTERS if c.islower() is low) for low in (True, False))
_LETTER = f"{_LOW}{_HIGH}ΔδΑ-ω"
_CHUNK = re.compile(rf"[{_LETTER}0-9]+")
_PART = re.compile(rf"[^\W\d_{_LOW}]+(?=[^\W\d_{_LOW}][{_LOW}])|[^\W\d_]?[{_LOW}]+|[^\W\d_]+|\d+")
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

        The discharge of an oil pump is no discharge side of the machine: it is where oil pressure is taken. And suction
        gas is what suction is about.
        """
        own = {DISCHARGE} if self.says(OIL, PUMP) else set()
        own |= {STUFF} if self.says(SUCTION) and self.means.get(STUFF) == "gas" else set()
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


def unit_column(names: list[str], others: set[int]) -> int | None:
    """Return the place of the column that is named for the units of the readings, None where there is none."""
    return next((n for n, name in enumerate(names) if UNITS & set(read_name(name).words) and n not in others), None)


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
    return word if word in _MEANS else ""


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
