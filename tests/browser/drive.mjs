// A user at the bench page, in Chromium: `node drive.mjs PAGE.html WORK.json FOLDER`.
import { drawn, loaded, opened, usual, walked } from "./chromium.mjs";

const one = await opened({ permissions: ["clipboard-read", "clipboard-write"] });
const { page, told } = one;

// The words that are drawn, since the plot was last wiped.
await page.addInitScript(() => {
    const { clearRect, fillText } = CanvasRenderingContext2D.prototype;
    globalThis.drawn = [];
    CanvasRenderingContext2D.prototype.clearRect = function (...box) {
        globalThis.drawn = [];
        clearRect.apply(this, box);
    };
    CanvasRenderingContext2D.prototype.fillText = function (text, ...place) {
        globalThis.drawn.push(text);
        fillText.call(this, text, ...place);
    };
});
const shown = () =>
    page.evaluate(() => {
        const text = (selector) => document.querySelector(selector).textContent;
        const table = (selector) => Array.from(document.querySelectorAll(`${selector} tr`), (row) => Array.from(row.cells, (cell) => cell.textContent));
        return {
            verdict: text("#verdict"),
            outcome: text("#outcome"),
            title: text("#view-title"),
            readout: text("#readout"),
            said: text("#said"),
            message: document.querySelector("#message").hidden ? null : text("#message"),
            copies: !document.querySelector("#copy").disabled,
            figures: Array.from(document.querySelectorAll("#figures li"), (item) => item.textContent),
            outcomes: Array.from(document.querySelectorAll("#list label"), (entry) => [
                entry.querySelector(".id").textContent, entry.querySelector(".sub").lastChild.textContent, entry.hidden,
            ]),
            families: table("#families tbody"),
            rules: table("#rules tbody"),
            plain: table("#plain tbody"),
            decisions: table("#decisions tbody"),
            toml: document.querySelector("#toml").value,
            digest: document.body.dataset.digest,
            texts: Object.fromEntries(Array.from(document.querySelectorAll("#rows input[type=text]"), (field) => [field.id.slice(5), field.value])),
            sliders: Object.fromEntries(Array.from(document.querySelectorAll("#rows input[type=range]"), (field) => [field.id.slice(7), field.getAttribute("aria-valuetext")])),
            focus: document.activeElement.id || document.activeElement.name || document.activeElement.tagName,
            wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
            tall: document.documentElement.scrollHeight,
            scrolled: globalThis.scrollY,
            paper: getComputedStyle(document.querySelector("#settings")).backgroundColor,
            invalid: Array.from(document.querySelectorAll("[aria-invalid=true]"), (field) => field.id.slice(5)),
            wrong: Object.fromEntries(Array.from(document.querySelectorAll(".wrong:not([hidden])"), (told) => [told.id.slice(6), told.textContent])),
            described: Array.from(document.querySelectorAll("#rows [aria-describedby]"), (field) => field.getAttribute("aria-describedby").slice(6)),
            best: document.querySelector("#best").disabled ? null : text("#best-told"),
            bestTold: text("#best-told"),
            ofFile: document.querySelector("#of-file").hidden ? null : text("#of-file"),
            drawn: globalThis.drawn,
            gauge: Object.fromEntries(globalThis.page.plot.gaugeTicks((pascal) => -pascal / 500, 400, 200000).map(({ value, text }) => [text, value])),
            inverted: getComputedStyle(document.querySelector("#plot")).filter,
            undoes: !document.querySelector("#undo").disabled,
            spentMs: globalThis.page.spentMs,
            images: document.images.length,
            picture: document.querySelector("#plot").toDataURL(),
        };
    });

const actions = {
    ...usual(page),
    type: async (name, text) => {
        await page.fill(`#text-${name}`, text);
        await page.press(`#text-${name}`, "Enter");
    },
    press: async (selector, keys) => {
        await page.focus(selector);
        for (const key of keys) {
            await page.keyboard.press(key);
        }
    },
    tab: () => page.keyboard.press("Tab"),
    click: (selector) => page.click(selector),
    choose: (selector, value) => page.selectOption(selector, value),
    find: (text) => page.fill("#find", text),
    pause: (ms) => page.waitForTimeout(ms),
    paste: async () => {
        told.clipboard = await page.evaluate(() => navigator.clipboard.readText());
    },
    hover: async (share) => {
        const box = await page.locator("#plot").boundingBox();
        await page.mouse.move(box.x + share * box.width, box.y + box.height / 2);
    },
    // Shortest time of some runs over the whole library, without drawing.
    measure: async (times) => {
        told.shortestMs = await page.evaluate((count) => {
            const spent = Array.from({ length: count }, () => {
                const begin = performance.now();
                globalThis.page.traces.forEach((trace) => globalThis.page.judged(trace));
                return performance.now() - begin;
            });
            return Math.min(...spent);
        }, times);
    },
    tabs: async (count) => {
        told.tabs = [];
        for (let at = 0; at < count; at++) {
            await page.keyboard.press("Tab");
            told.tabs.push(await page.evaluate(() => {
                const { outlineStyle, outlineWidth } = getComputedStyle(document.activeElement.closest(".list label") ?? document.activeElement);
                return [document.activeElement.id || document.activeElement.name, outlineStyle !== "none" && parseFloat(outlineWidth) >= 2];
            }));
        }
    },
    // Names that a screen reader says: every field and button needs one.
    unnamed: async () => {
        told.unnamed = await page.evaluate(() =>
            Array.from(document.querySelectorAll("input, select, button, textarea, canvas"))
                .filter((field) => !(field.labels?.length > 0 || field.getAttribute("aria-label") || field.textContent.trim()))
                .map((field) => field.outerHTML),
        );
    },
};

await loaded(one, "#message");
await walked(one, actions, shown, drawn);
