// The fields of the settings: a slider and a text each, both of the same value.
"use strict";

function markField({ text, wrong }, words) {
    text.setAttribute("aria-invalid", words !== null);
    wrong.hidden = words === null;
    wrong.textContent = words ?? "";
    if (words === null) {
        text.removeAttribute("aria-describedby");
    } else {
        text.setAttribute("aria-describedby", wrong.id);
    }
}

class Fields {
    // settings: BenchSettings; changed: what to call after a move.
    constructor(settings, changed) {
        Object.assign(this, { settings, changed, fields: [] });
        this.makeRows();
    }

    makeRows() {
        const sections = [...new Set(this.settings.rows.map(({ section }) => section))];
        const boxes = sections.map((section) => {
            const rows = this.settings.rows.flatMap((row, place) => (row.section === section ? [this.makeRow(row.name, place)] : []));
            return element("fieldset", {}, element("legend", { text: HEADINGS[section] }), ...rows);
        });
        this.altitude = this.makeField("altitude");
        const [least, most] = this.settings.data.altitude.range;
        Object.assign(this.altitude.slider, { min: least, max: most, step: 10 });
        this.altitude.slider.addEventListener("input", () => this.slideSite(Number(this.altitude.slider.value)));
        this.altitude.text.addEventListener("change", () => {
            this.settings.typeAltitude(this.altitude.text.value);
            this.changed();
        });
        boxes.push(element("fieldset", {}, element("legend", { text: HEADINGS.site }), this.altitude.box));
        byId("rows").append(...boxes);
    }

    makeField(name) {
        const text = element("input", { type: "text", id: `text-${name}`, autocomplete: "off", spellcheck: "false" });
        const slider = element("input", { type: "range", id: `slider-${name}`, "aria-label": `${wordsFor(name)}, slider` });
        const label = element("label", { for: text.id, text: wordsFor(name) });
        const wrong = element("p", { class: "wrong", id: `wrong-${name}`, hidden: "" });
        return { text, slider, wrong, box: element("div", { class: "setting" }, label, text, wrong, slider) };
    }

    makeRow(name, place) {
        const field = this.makeField(name);
        field.slider.min = 0;
        field.slider.addEventListener("input", () => {
            this.settings.write(place, field.stops[Number(field.slider.value)]);
            this.changed();
        });
        field.text.addEventListener("change", () => {
            this.settings.type(place, field.text.value);
            this.changed();
        });
        field.text.addEventListener("keydown", (event) => {
            const step = { ArrowUp: 1, ArrowDown: -1 }[event.key];
            if (step !== undefined) {
                event.preventDefault();
                this.step(place, step);
            }
        });
        this.fields[place] = field;
        return field.box;
    }

    // One stop of the slider up or down from wherever the value is.
    step(place, step) {
        const { stops } = this.fields[place];
        const { value } = this.settings.rows[place];
        const next = step > 0 ? stops.find((stop) => stop > value) : stops.findLast((stop) => stop < value);
        if (next !== undefined) {
            this.settings.write(place, next);
            this.changed();
        }
    }

    slideSite(metres) {
        this.settings.slideAltitude(metres);
        this.changed();
    }

    // Mark the fields that a refusal speaks of, beside those that are not understood, and say there what is wrong.
    mark(places, words) {
        const errors = this.settings.rows.map(({ error }, place) => error ?? (places.includes(place) ? words : null));
        this.fields.forEach((field, place) => markField(field, errors[place]));
        markField(this.altitude, this.settings.altitudeError);
    }

    show() {
        const { settings } = this;
        document.querySelectorAll("[name=system]").forEach((radio) => {
            radio.checked = radio.value === settings.system;
        });
        settings.rows.forEach((row, place) => this.showRow(row, place));
        const { text, slider, box } = this.altitude;
        if (settings.altitudeError === null) {
            text.value = settings.altitudeText;
            slider.value = settings.altitude;
        }
        slider.setAttribute("aria-valuetext", text.value);
        box.classList.toggle("moved", settings.altitude !== settings.data.altitude.metres);
    }

    showRow(row, place) {
        const field = this.fields[place];
        const { text, slider, box } = field;
        const key = [this.settings.system, row.unit.mark, this.settings.altitude].join();
        if (field.key !== key) {
            field.key = key;
            field.stops = this.settings.stops(place);
            slider.max = field.stops.length - 1;
        }
        text.value = row.text;
        const near = field.stops.reduce((best, stop, at) => (Math.abs(stop - row.value) < Math.abs(field.stops[best] - row.value) ? at : best), 0);
        if (field.stops[Number(slider.value)] !== row.value) {
            slider.value = near;
        }
        slider.setAttribute("aria-valuetext", row.text);
        box.classList.toggle("moved", row.value !== this.settings.data.settings[place].value);
    }
}
