"""The one map from foreign column names to the vocabulary: words and units, never the names of programs.

A name is cut into words, abbreviations are spelled out, and the words are compared with what each quantity needs.
Nothing here knows a product: a new spelling is a new word or abbreviation in a table.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from dataclasses import dataclass

from tickover.errors import UnitError
from tickover.signals import convert, signal

TIME = "time"
"""Stands beside the vocabulary for a column that says when a row was written."""

_SPELLED: dict[str, str] = {
    "rpm": "engine speed", "revs": "engine speed", "abs": "absolute", "temp": "temperature", "pos": "position",
    "press": "pressure", "accel": "accelerator", "acc": "accelerator", "app": "pedal", "eng": "engine",
    "veh": "vehicle", "spd": "speed", "ect": "coolant temperature", "clt": "coolant temperature",
    "map": "manifold absolute pressure", "maf": "mass air flow", "iat": "intake air temperature",
    "aat": "ambient air temperature", "tps": "throttle position", "vss": "vehicle speed", "airflow": "air flow",
    "stft": "short term fuel trim", "shrtft": "short term fuel trim", "ltft": "long term fuel trim",
    "longft": "long term fuel trim", "mil": "lamp", "cel": "lamp", "dtc": "codes", "dtcs": "codes", "code": "codes",
    "clear": "cleared", "clr": "cleared", "clrd": "cleared", "dist": "distance", "equiv": "equivalence",
    "baro": "barometric pressure", "volts": "voltage", "volt": "voltage", "batt": "battery", "calc": "calculated",
    "rel": "relative", "cmd": "commanded", "evap": "evaporative", "warmup": "warm ups", "warmups": "warm ups",
    "runtime": "run time", "iac": "idle air control", "cat": "catalyst", "adv": "advance", "ign": "ignition",
    "travelled": "traveled", "kmh": "km/h", "secs": "seconds", "elapsed": "elapsed", "amb": "ambient",
    "eot": "oil temperature", "up": "ups",
}  # fmt: skip

# German, French, Spanish, Italian, Portuguese, Dutch; accents are taken off first.
_FOREIGN: dict[str, str] = {
    "datum": "date", "fecha": "date",
    "drehzahl": "engine speed", "motordrehzahl": "engine speed", "geschwindigkeit": "vehicle speed",
    "fahrzeuggeschwindigkeit": "vehicle speed", "kuhlmitteltemperatur": "coolant temperature",
    "kuehlmitteltemperatur": "coolant temperature", "kuhlmittel": "coolant", "kuehlmittel": "coolant",
    "temperatur": "temperature", "wassertemperatur": "coolant temperature",
    "ansauglufttemperatur": "intake air temperature", "ansaugluft": "intake air", "lufttemperatur": "air temperature",
    "umgebungstemperatur": "ambient temperature", "aussentemperatur": "ambient temperature",
    "oltemperatur": "oil temperature", "oeltemperatur": "oil temperature", "saugrohrdruck": "manifold pressure",
    "ansaugdruck": "manifold pressure", "ladedruck": "boost pressure", "luftdruck": "barometric pressure",
    "luftmasse": "mass air flow", "luftmassenstrom": "mass air flow", "luftmassendurchsatz": "mass air flow",
    "drosselklappe": "throttle", "drosselklappenstellung": "throttle position",
    "drosselklappenwinkel": "throttle position", "gaspedal": "accelerator pedal", "fahrpedal": "accelerator pedal",
    "zeit": "time", "uhrzeit": "clock", "zeitstempel": "timestamp", "laufzeit": "run time", "sekunden": "seconds",
    "batteriespannung": "battery voltage", "bordspannung": "battery voltage", "spannung": "voltage", "last": "load",
    "motorlast": "engine load", "zundwinkel": "ignition advance", "zuendwinkel": "ignition advance",
    "regime": "engine speed", "moteur": "engine", "vitesse": "vehicle speed", "liquide": "of",
    "refroidissement": "coolant", "pression": "pressure", "admission": "intake", "collecteur": "manifold",
    "temps": "time", "debit": "flow", "masse": "mass", "papillon": "throttle", "tension": "voltage",
    "batterie": "battery", "huile": "oil", "charge": "load", "exterieure": "ambient",
    "revoluciones": "engine speed", "velocidad": "vehicle speed", "vehiculo": "vehicle", "motor": "engine",
    "temperatura": "temperature", "refrigerante": "coolant", "anticongelante": "coolant", "presion": "pressure",
    "colector": "manifold", "tiempo": "time", "hora": "clock", "caudal": "flow", "aire": "air", "mariposa": "throttle",
    "carga": "load", "tensione": "voltage", "bateria": "battery", "aceite": "oil", "admision": "intake",
    "giri": "engine speed", "motore": "engine", "velocita": "vehicle speed", "veicolo": "vehicle", "acqua": "coolant",
    "pressione": "pressure", "collettore": "manifold", "tempo": "time", "farfalla": "throttle", "aria": "air",
    "aspirazione": "intake", "carico": "load", "batteria": "battery", "olio": "oil", "portata": "flow",
    "massa": "mass", "liquido": "of", "raffreddamento": "coolant",
    "rotacao": "engine speed", "rotacoes": "engine speed", "velocidade": "vehicle speed", "arrefecimento": "coolant",
    "pressao": "pressure", "coletor": "manifold", "borboleta": "throttle",
    "toerental": "engine speed", "motortoerental": "engine speed", "snelheid": "vehicle speed",
    "koelvloeistoftemperatuur": "coolant temperature", "koelvloeistof": "coolant", "temperatuur": "temperature",
    "inlaatdruk": "manifold pressure", "tijd": "time", "gasklep": "throttle",
}  # fmt: skip
_ARTICLES = frozenset(
    {
        "der",
        "die",
        "das",
        "des",
        "du",
        "de",
        "la",
        "le",
        "les",
        "del",
        "della",
        "do",
        "da",
        "el",
        "il",
        "en",
        "van",
        "het",
    }
)

_UNIT_WORDS: dict[str, str] = {
    "rpm": "r/min", "r/min": "r/min", "1/min": "r/min", "rev/min": "r/min", "min-1": "r/min", "hz": "Hz",
    "km/h": "km/h", "kmh": "km/h", "kph": "km/h", "mph": "mph", "mi/h": "mph", "miles/h": "mph", "m/s": "m/s",
    "°c": "°C", "c": "°C", "degc": "°C", "deg c": "°C", "celsius": "°C", "ºc": "°C",
    "°f": "°F", "f": "°F", "degf": "°F", "deg f": "°F", "fahrenheit": "°F", "ºf": "°F", "k": "K",
    "kpa": "kPa", "pa": "Pa", "hpa": "hPa", "mbar": "mbar", "bar": "bar", "psi": "psi", "inhg": "inHg",
    "in hg": "inHg", "g/s": "g/s", "g/sec": "g/s", "grams/sec": "g/s", "gm/s": "g/s", "kg/h": "kg/h",
    "kg/hr": "kg/h", "lb/min": "lb/min", "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "tr/min": "r/min", "u/min": "r/min", "umin": "r/min", "giri/min": "r/min", "1/min.": "r/min", "omw/min": "r/min",
    "ms": "ms", "msec": "ms", "milliseconds": "ms", "minutes": "min", "mins": "min", "min": "min", "h": "h",
    "hours": "h", "hour": "h", "km": "km", "m": "m", "mi": "mi", "mile": "mi", "miles": "mi", "v": "V", "volts": "V",
    "volt": "V", "mv": "mV", "%": "%", "percent": "%", "pct": "%", "°": "°", "deg": "°", "degrees": "°",
    "° btdc": "°", "deg btdc": "°", "λ": "λ", "lambda": "λ", "ratio": "λ", "count": "count", "code": "code",
}  # fmt: skip

_TRAILING_UNITS = ("kmh", "kph", "mph", "kpa", "psi", "degc", "degf", "celsius", "fahrenheit", "percent", "pct", "ms")
_FILLER = frozenset(
    {"of", "the", "since", "with", "at", "in", "from", "sensor", "value", "signal", "pid", "obd", "ecu"}
)
# Words that change what is measured: a name that has one too many of them is never guessed.
_DECISIVE = frozenset({
    "vacuum", "relative", "absolute", "commanded", "desired", "target", "average", "avg", "max", "min", "maximum",
    "minimum", "bank2", "sensor2", "pedal", "throttle", "b", "c", "d", "e", "f", "1", "2", "3", "4", "fuel", "oil",
    "rail", "boost", "gps", "wheel", "error", "torque", "on", "lamp", "cleared", "exhaust", "gearbox", "transmission",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Need:
    """Words a quantity must have, and words that may stand beside them."""

    name: str
    words: frozenset[str]
    beside: frozenset[str] = frozenset()


def _needs(name: str, beside: str, *ways: str) -> list[_Need]:
    return [_Need(name, frozenset(way.split()), frozenset(beside.split())) for way in ways]


_NEEDS: tuple[_Need, ...] = (
    *_needs(TIME, "log session device elapsed stamp recording system date clock time s seconds",
            "time", "timestamp", "elapsed", "seconds", "clock", "date time", "date", "t"),
    *_needs("engine_speed", "crankshaft engine", "engine speed", "crankshaft speed", "engine revolutions"),
    *_needs("vehicle_speed", "", "vehicle speed", "road speed", "speed"),
    *_needs("engine_speed", "", "speed"),
    *_needs("coolant_temperature", "engine", "coolant temperature", "coolant", "water temperature"),
    *_needs("intake_temperature", "air manifold", "intake temperature"),
    *_needs("ambient_temperature", "air", "ambient temperature", "outside temperature"),
    *_needs("oil_temperature", "engine", "oil temperature"),
    *_needs("catalyst_temperature_1", "bank1 sensor1", "catalyst temperature"),
    *_needs("catalyst_temperature_2", "bank1", "catalyst temperature sensor2"),
    *_needs("manifold_pressure", "intake absolute air", "manifold pressure", "intake pressure"),
    *_needs("barometric_pressure", "absolute", "barometric pressure", "atmospheric pressure", "barometer"),
    *_needs("air_flow", "mass rate meter intake", "air flow"),
    *_needs("throttle_position", "position absolute a manifold", "throttle"),
    *_needs("throttle_position_b", "position absolute", "throttle b"),
    *_needs("relative_throttle", "position", "relative throttle"),
    *_needs("commanded_throttle", "position actuator control", "commanded throttle"),
    *_needs("commanded_idle_air", "commanded control valve position", "idle air"),
    *_needs("pedal_d", "accelerator position d", "pedal"),
    *_needs("pedal_e", "accelerator position", "pedal e"),
    *_needs("short_trim_1", "term fuel bank1", "short trim"),
    *_needs("long_trim_1", "term fuel bank1", "long trim"),
    *_needs("short_trim_2", "term fuel", "short trim bank2"),
    *_needs("long_trim_2", "term fuel", "long trim bank2"),
    *_needs("fuel_system_status", "status 1", "fuel system", "fuel status"),
    *_needs("engine_load", "calculated engine", "load"),
    *_needs("absolute_load", "engine", "absolute load"),
    *_needs("spark_advance", "engine ignition spark timing", "timing advance", "spark advance", "ignition advance",
            "ignition timing", "spark timing"),
    *_needs("equivalence_ratio", "commanded fuel air lambda", "equivalence ratio", "commanded lambda"),
    *_needs("module_voltage", "control", "module voltage", "battery voltage", "system voltage", "voltage"),
    *_needs("fuel_level", "input", "fuel level", "fuel tank", "fuel tank level"),
    *_needs("purge_command", "commanded evaporative canister system", "purge"),
    *_needs("run_time", "engine start", "run time", "time engine start"),
    *_needs("warm_ups", "codes cleared trouble", "warm ups"),
    *_needs("distance_since_clear", "traveled codes trouble", "distance cleared"),
    *_needs("time_since_clear", "run codes trouble engine", "time cleared"),
    *_needs("distance_lamp_on", "traveled on", "distance lamp"),
    *_needs("time_lamp_on", "run on engine", "time lamp"),
    *_needs("lamp", "engine on status check malfunction indicator", "lamp"),
)  # fmt: skip
_KNOWN = frozenset().union(*(n.words | n.beside for n in _NEEDS)) | _FILLER | _DECISIVE | {"bank"}


@dataclass(frozen=True, slots=True)
class Match:
    """What a column was taken for.

    Attributes:
        name: the standard name, or ``time``.
        unit: the unit it is written in.
        unit_given: whether the file says so; else the vocabulary's own unit is assumed.
        guessed: whether a word had to be corrected or passed over.
    """

    name: str
    unit: str
    unit_given: bool
    guessed: bool


def unit_of(text: str) -> str | None:
    """The unit a piece of text spells, or None. ``"degC"`` and ``"°C"`` are both ``"°C"``."""
    return _UNIT_WORDS.get(" ".join(text.lower().split()))


def match(header: str, unit_row: str = "") -> Match | None:
    """What a column header names.

    Args:
        header: the name as the file has it, with or without a unit in round or square brackets.
        unit_row: what a row of units under the header says, where there is one.
    Returns: the quantity and its unit, or None where nothing in the vocabulary fits.
    Example: ``match("Engine RPM (rpm)").name`` is ``"engine_speed"``.
    """
    text, unit = _cut_unit(header)
    unit = unit_of(unit_row) or unit
    words, corrected = _words(text)
    if not words:
        return None
    if unit is None:
        unit, words = _trailing_unit(text, words)
    for guess in (False, True):
        found = [n for n in _NEEDS if _fits(n, words, guess) and _measures(n.name, unit)]
        if found:
            best = max(found, key=lambda n: (len(n.words), len(n.words & words)))
            own = "s" if best.name == TIME else signal(best.name).unit
            alone = len(best.words) == 1 and best.words <= {"speed", "voltage", "coolant"} and unit is None
            return Match(best.name, unit or own, unit is not None, guess or corrected or alone)
    return None


def _fits(need: _Need, words: frozenset[str], guess: bool) -> bool:
    if not need.words <= words:
        return False
    over = words - need.words - need.beside - _FILLER
    if not over:
        return True
    return guess and len(over) == 1 and len(need.words) >= 2 and not over & _DECISIVE


def _measures(name: str, unit: str | None) -> bool:
    """Whether ``unit`` can carry this quantity."""
    if unit is None:
        return True
    try:
        convert(1.0, unit, "s" if name == TIME else signal(name).unit)
    except UnitError:
        return False
    return True


def _cut_unit(header: str) -> tuple[str, str | None]:
    found: str | None = None
    for inside in re.findall(r"[(\[]([^)\]]*)[)\]]", header):
        found = unit_of(inside) or found
    bare = re.sub(r"[(\[][^)\]]*[)\]]", " ", header)
    head, comma, tail = bare.rpartition(",")
    if comma and unit_of(tail):
        return head, unit_of(tail)
    return bare, found


def _trailing_unit(text: str, words: frozenset[str]) -> tuple[str | None, frozenset[str]]:
    last = re.split(r"[^A-Za-z0-9/%°]+", text.strip().lower())[-1]
    temperature_letter = last in {"c", "f", "°c", "°f"} and "temperature" in words
    time_letter = last in {"s", "sec"} and "time" in words
    if last in _TRAILING_UNITS or temperature_letter or time_letter:
        return unit_of(last), words - set(_SPELLED.get(last, last).split()) - {last, last.strip("°")}
    return ("r/min" if "rpm" in text.lower() else None), words


def _words(text: str) -> tuple[frozenset[str], bool]:
    """Words of a name, spelled out; and whether one had to be corrected."""
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = re.sub(r"\b[dlDL]['’]", " ", text.replace("ß", "ss"))  # d'air, l'huile
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    text = re.sub(r"(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])", " ", text)
    raw = [w for w in re.split(r"[^a-z0-9]+", text.lower()) if w]
    out: list[str] = []
    corrected = False
    for word in raw:
        if word in _ARTICLES:
            continue
        if word in _SPELLED or word in _FOREIGN:
            out += (_SPELLED.get(word) or _FOREIGN[word]).split()
        elif word in _KNOWN or len(word) < 4 or word.isdigit():
            out.append(word)
        else:
            near = difflib.get_close_matches(word, [k for k in _KNOWN | set(_SPELLED) if len(k) >= 4], n=1, cutoff=0.75)
            corrected |= bool(near)
            out += _SPELLED.get(near[0], near[0]).split() if near else [word]
    return frozenset(_banks(out)), corrected


def _banks(words: list[str]) -> list[str]:
    """Join “bank 1”, “b 1”, “sensor 2” and “s 2” into one word each; a bare number beside a trim is its bank."""
    out: list[str] = []
    for i, word in enumerate(words):
        before = words[i - 1] if i else ""
        if word in {"1", "2", "3", "4"} and before in {"bank", "b", "sensor", "s"}:
            out[-1] = ("bank" if before in {"bank", "b"} else "sensor") + word
        elif word in {"1", "2"} and "trim" in words and "bank" not in words and "b" not in words:
            out.append("bank" + word)
        else:
            out.append(word)
    return out
