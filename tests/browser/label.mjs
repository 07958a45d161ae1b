// A reviewer at the label page, in Chromium: `node label.mjs PAGE.html WORK.json FOLDER`.
import { drawn, loaded, opened, usual, walked, within } from "./chromium.mjs";

const one = await opened({ acceptDownloads: true, timezoneId: "UTC" });
const { page, told } = one;
told.saved = [];

const shown = () =>
    page.evaluate(() => {
        const text = (selector) => document.querySelector(selector).textContent;
        const paperOf = (canvas) => { // colour of a corner; read from a copy, since reading from a canvas makes it slow
            const pen = new OffscreenCanvas(1, 1).getContext("2d");
            pen.drawImage(canvas, 0, 0);
            return Array.from(pen.getImageData(0, 0, 1, 1).data.slice(0, 3));
        };
        const { plot, view, windows, ready: trace, cursor } = globalThis.page;
        return {
            title: text("#view-title"),
            about: text("#about"),
            given: text("#given"),
            said: document.querySelector("#said").hidden ? "" : text("#said"),
            message: text("#message"),
            readout: text("#readout"),
            film: text("#film"),
            progress: text("#progress"),
            kept: text("#kept"),
            decisions: document.querySelector("#decisions").hidden ? null : document.querySelector("#decisions").innerText,
            body: document.body.innerText,
            list: Array.from(document.querySelectorAll("#list label"), (entry) => [entry.querySelector(".id").textContent, entry.querySelector(".sub").textContent]),
            fields: Object.fromEntries(Array.from(document.querySelectorAll("#windows input"), (field) => [field.id, field.value])),
            clock: document.querySelector(".window .clock")?.textContent ?? "",
            windows, view, cursor,
            spells: trace.spells,
            lanes: Object.keys(plot.panels),
            focus: document.activeElement.id || document.activeElement.tagName,
            wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
            images: document.images.length,
            picture: document.querySelector("#plot").toDataURL(),
            paper: paperOf(document.querySelector("#plot")),
        };
    });

const placeOf = async (second) => {
    const box = await page.locator("#plot").boundingBox();
    const x = await page.evaluate((at) => globalThis.page.plot.x(at), second);
    return [box.x + x, box.y + 60];
};
const actions = {
    ...usual(page),
    key: async (...keys) => {
        for (const key of keys) {
            await page.keyboard.press(key);
        }
    },
    press: async (selector, ...keys) => {
        await page.focus(selector);
        await actions.key(...keys);
    },
    type: async (selector, text) => {
        await page.fill(selector, text);
        await page.locator(selector).dispatchEvent("change");
        await page.evaluate(() => document.activeElement.blur());
    },
    click: (selector) => page.click(selector),
    dark: (scheme) => page.emulateMedia({ colorScheme: scheme }),
    drag: async (from, to, key) => {
        await page.locator("#plot").scrollIntoViewIfNeeded();
        await page.mouse.move(...(await placeOf(from)));
        if (key) {
            await page.keyboard.down(key);
        }
        await page.mouse.down();
        const [x, y] = await placeOf(to);
        await page.mouse.move(x - 3, y + 4);
        await page.mouse.move(x, y);
        await page.mouse.up();
        if (key) {
            await page.keyboard.up(key);
        }
    },
    hover: async (second) => page.mouse.move(...(await placeOf(second))),
    wheel: async (second, by) => {
        await page.mouse.move(...(await placeOf(second)));
        await page.mouse.wheel(0, by);
        await page.waitForTimeout(60);
    },
    save: async (selector) => {
        const [download] = await Promise.all([page.waitForEvent("download"), selector ? page.click(selector) : page.keyboard.press("s")]);
        const place = within(`${told.saved.length}-${download.suggestedFilename()}`);
        await download.saveAs(place);
        told.saved.push(place);
    },
    reload: async () => {
        await page.reload();
    },
    // ms from a key to the next trace drawn, over some traces
    paced: async (count) => {
        told.paces = [];
        for (let at = 0; at < count; at++) {
            const begin = performance.now();
            await page.keyboard.press("n");
            await drawn(page);
            told.paces.push(performance.now() - begin);
        }
    },
    tabs: async (count) => {
        told.tabs = [];
        for (let at = 0; at < count; at++) {
            await page.keyboard.press("Tab");
            told.tabs.push(await page.evaluate(() => {
                const focused = document.activeElement.closest(".list label") ?? document.activeElement;
                const { outlineStyle, outlineWidth } = getComputedStyle(focused);
                return [document.activeElement.id || document.activeElement.name, outlineStyle !== "none" && parseFloat(outlineWidth) >= 2];
            }));
        }
    },
    unnamed: async () => {
        told.unnamed = await page.evaluate(() =>
            Array.from(document.querySelectorAll("input, button, textarea, canvas"))
                .filter((field) => !(field.labels?.length > 0 || field.getAttribute("aria-label") || field.textContent.trim()))
                .map((field) => field.outerHTML),
        );
    },
};

const began = performance.now();
await loaded(one, "#failure");
told.openedMs = performance.now() - began;
await walked(one, actions, shown, drawn);
