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
