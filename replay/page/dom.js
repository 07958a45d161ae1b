// Elements of a page. Texts of a library only ever go in as text.
"use strict";

const byId = (id) => document.getElementById(id);

function element(tag, { text, ...attributes } = {}, ...children) {
    const made = document.createElement(tag);
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    if (text !== undefined) {
        made.textContent = text;
    }
    made.append(...children);
    return made;
}

// Make a page of the data embedded in it and start it, or say on it why it cannot; needed: what its browser has to have.
async function startPage(needed, made) {
    try {
        if (needed.some((name) => globalThis[name] === undefined)) {
            throw new Error(`This page needs a browser of 2023 or later (${needed.join(" and ")}).`);
        }
        globalThis.page = await made(JSON.parse(byId("data").textContent));
        await globalThis.page.start();
    } catch (error) {
        byId("failure").textContent = `The page could not start: ${error.message}`;
        byId("failure").hidden = false;
        throw error;
    }
}
