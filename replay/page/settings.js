// The settings as they are moved: of each the text that a settings file would hold, and the integer it stands for.
"use strict";

// What is not called by its name in the file.
const WORDS = {
    cut_out: "cut-out",
    cut_in: "cut-in",
    floor: "floor pressure",
    floor_weight: "weight below the floor",
    vacuum_weight: "weight in vacuum",
    stopped_recovery: "recovery while stopped",
    oil_least: "oil range, lower end",
    oil_most: "oil range, upper end",
    suction_least: "suction range, lower end",
    suction_most: "suction range, upper end",
    max_gap: "longest gap",
    rest_most: "at standstill, at most",
    rest_settle: "standstill until drained",
    reset_hold: "reset held for",
    resets_most: "resets, at most",
};
const HEADINGS = {
    net_oil_pressure: "Net oil pressure",
    integral: "Time-delay integral",
    suction: "Suction and reload guard",
    sequence: "Starts and stops",
    sensors: "Sensors",
    site: "Site",
};
const WANTED = {
    difference: "a difference of two pressures with its unit, such as 7 psi, 48 kPa or 0.48 bar",
    absolute: "a pressure with its unit and what it counts from, such as 0 psig, 5 inHg vac, 0.2 bar gauge or 84 kPa abs",
    time: "a time with its unit: ms, s, min, h or d",
    weight: "a plain number",
    count: "a whole number",
};

function sameValues(one, other) {
    return one !== undefined && one.every((value, place) => value === other[place]);
}

function wordsFor(name) {
    return WORDS[name] ?? name.replaceAll("_", " ");
}

class BenchSettings {
    constructor(data) {
        takeUnits(data.units);
        this.data = data;
        this.reset();
    }

    // Back to the file: its texts, its altitude, and its pressure unit or the one that was asked for.
    reset() {
        const { altitude, settings } = this.data;
        this.altitude = altitude.metres;
        this.altitudeText = altitude.text;
        this.altitudeError = null;
        this.rows = settings.map((setting) => {
            const given = parse(setting.text, null);
            const same = given !== null && integerOf(setting.kind, given, this.atmosphere) === setting.value;
            const unit = same ? given : unitFor(setting.kind, setting.value, { mark: "abs" }, "kPa", this.atmosphere);
            return { ...setting, unit, error: null, text: textOf(setting.kind, setting.value, unit, this.atmosphere) };
        });
        this.system = this.data.system;
        if (this.data.rewrite) {
            this.useSystem(this.system); // other units were asked for than the file has
        }
    }

    get atmosphere() {
        return atmosphereAt(this.altitude);
    }

    get values() {
        return this.rows.map(({ value }) => value);
    }

    value(wanted) {
        return this.rows.find(({ name }) => name === wanted).value;
    }

    // What keeps the settings from being run at all, before the port is asked; or null.
    get unreadable() {
        return this.altitudeError ?? this.rows.find(({ error }) => error !== null)?.error ?? null;
    }

    stops(place) {
        const row = this.rows[place];
        return stopsOf(row, row.unit, this.system, this.atmosphere);
    }

    // Write a value in the user's unit.
    write(place, value) {
        const written = this.written(this.rows[place], value);
        if (written.text !== null) {
            Object.assign(this.rows[place], { value, error: null, ...written });
        }
    }

    // Unit and text of a value of a row; the text is null where none stands for exactly this value.
    written(row, value) {
        const unit = unitFor(row.kind, value, row.unit, this.system, this.atmosphere);
        return { unit, text: textOf(row.kind, value, unit, this.atmosphere) };
    }

    // Take what was typed. The text is written again in the shortest form of the integer it stands for.
    type(place, typed) {
        const row = this.rows[place];
        const said = parse(typed, row.unit);
        const value = said === null ? null : integerOf(row.kind, said, this.atmosphere);
        const text = value === null || Math.abs(value) >= 2 ** 31 ? null : textOf(row.kind, value, said, this.atmosphere);
        if (text === null) {
            row.text = typed;
            row.error = `${wordsFor(row.name)} = "${typed}" is not understood: write ${WANTED[row.kind]}.${meant(typed, row.kind === "time" ? TIMES : PRESSURES)}`;
        } else {
            Object.assign(row, { value, unit: { unit: said.unit, mark: said.mark }, text, error: null });
        }
    }

    get altitudeUnit() {
        return /ft\s*$/.test(this.altitudeText) ? "ft" : "m";
    }

    // The altitude as the slider moves it: whole tens of the unit it is written in.
    slideAltitude(metres) {
        const unit = this.altitudeUnit;
        const number = 10 * Math.trunc(metres / LENGTHS[unit] / 10);
        this.moveTo(number * LENGTHS[unit], `${number} ${unit}`);
    }

    // The altitude as somebody types it, in m or ft; a bare number takes the unit before it.
    typeAltitude(typed) {
        const before = this.altitudeUnit;
        const [, number, unit] = new RegExp(`${NUMBER}(m|ft)?\\s*$`).exec(typed.replace("−", "-")) ?? [null, "NaN", ""];
        const metres = Number(number) * LENGTHS[unit || before];
        this.moveTo(metres, `${Number(number)} ${unit || before}`);
    }

    // Settings in gauge follow the atmosphere of the site, absolute ones stay. text: as the file will hold it.
    moveTo(metres, text) {
        const [least, most] = this.data.altitude.range;
        if (!Number.isFinite(metres) || metres < least || metres > most) {
            this.altitudeError = `The altitude has to be ${least} m to ${most} m.`;
            return;
        }
        this.altitude = metres;
        this.altitudeText = text;
        this.altitudeError = null;
        this.rows.forEach(({ kind, text, unit }, place) => {
            if (kind === "absolute" && unit.mark !== "abs") {
                this.type(place, text);
            }
        });
    }

    // The same values written in other pressure units.
    useSystem(system) {
        this.system = system;
        this.rows.forEach(({ kind, value, error }, place) => {
            if ((kind === "difference" || kind === "absolute") && error === null) {
                this.write(place, value);
            }
        });
    }

    // All that a move changes, to be had again by `restore`.
    snapshot() {
        const { altitude, altitudeText, altitudeError, system, rows } = this;
        return structuredClone({ altitude, altitudeText, altitudeError, system, rows });
    }

    restore(snapshot) {
        Object.assign(this, structuredClone(snapshot));
    }

    // The places that a fault of the port's own check speaks of.
    placesOf(fault) {
        return fault < this.rows.length ? [fault] : this.data.relations[fault - this.rows.length].slice(0, 2);
    }

    // Say in words what the port's own check found.
    wordsOf(fault) {
        const count = this.rows.length;
        if (fault < count) {
            const { name, least, most, text } = this.rows[fault];
            const ends = [least, most].map((end) => this.written(this.rows[fault], end).text ?? String(end));
            return `${wordsFor(name)} (${text}) is outside the admitted range: ${ends.join(" to ")}.`;
        }
        const [lower, higher, gap] = this.data.relations[fault - count];
        const [low, high] = [this.rows[lower], this.rows[higher]];
        const than = gap > 0 ? "less than" : "not more than";
        return `${wordsFor(low.name)} (${low.text}) must be ${than} ${wordsFor(high.name)} (${high.text}).`;
    }

    // The settings file: the very texts that are shown.
    toml() {
        const quoted = ({ kind, text }) => (kind === "weight" || kind === "count" ? text : `"${text}"`);
        const lines = [`# Tried on a bench page, from ${this.data.file.replace(/[^\x20-\x7e]/g, "?")}. Score it before it is used.`];
        new Set(this.rows.map(({ section }) => section)).forEach((section) => {
            lines.push("", `[${section}]`);
            const own = this.rows.filter((row) => row.section === section);
            new Set(own.map(({ key }) => key)).forEach((key) => {
                const texts = own.filter((row) => row.key === key).map(quoted);
                lines.push(`${key} = ${texts.length > 1 ? `[${texts.join(", ")}]` : texts[0]}`);
            });
        });
        lines.push("", "[site]", `altitude = "${this.altitudeText}"`, "", "[acceptance]");
        Object.entries(this.data.acceptance_texts).forEach(([key, text]) => lines.push(`${key} = ${text}`));
        return lines.join("\n") + "\n";
    }

    // What `lubetrip score` calls the digest of the settings; null where the browser computes none.
    async digest() {
        if (!globalThis.crypto?.subtle) {
            return null;
        }
        const lines = this.rows.map(({ name, value }) => `${name}=${value}\n`).join("");
        const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(lines)));
        return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    }
}
