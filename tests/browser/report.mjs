// A reader at the report, in Chromium: `node report.mjs PAGE.html WORK.json FOLDER`.
import { opened, place, usual, walked } from "./chromium.mjs";

const one = await opened({});
const { browser, page, told } = one;

const shown = () =>
    page.evaluate(() => {
        const inside = (element) => {
            const { left, right } = element.getBoundingClientRect();
            return left >= 0 && right <= document.documentElement.clientWidth;
        };
        const rows = Array.from(document.querySelectorAll(".every tbody tr"));
        return {
            rows: rows.filter((row) => row.checkVisibility()).map((row) => row.cells[0].textContent.trim()),
            margins: rows.filter((row) => row.checkVisibility()).map((row) => row.cells[6].textContent),
            sorted: Array.from(document.querySelectorAll("[aria-sort]"), (head) => [head.textContent, head.getAttribute("aria-sort")]),
            told: document.querySelector(".bar [role=status]")?.textContent,
            buttons: document.querySelectorAll("button, input, select").length,
            plots: Array.from(document.querySelectorAll(".case svg"), inside),
            verdict: inside(document.querySelector(".verdict")),
            wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
            paper: getComputedStyle(document.body).backgroundColor,
            box: getComputedStyle(document.querySelector(".verdict")).backgroundColor,
            plot: getComputedStyle(document.querySelector(".case svg")).filter,
        };
    });

const actions = {
    ...usual(page),
    open: () => page.locator(".every > summary").click(),
    // Key by key, as a hand does it: Tab from the fold of the table to the field to find by, and on to the outcomes.
    find: async (text) => {
        await page.locator(".every > summary").focus();
        await page.keyboard.press("Tab");
        told.fields = [await page.evaluate(() => document.activeElement.id)];
        await page.keyboard.press("Control+A");
        await page.keyboard.press("Delete");
        await page.keyboard.type(text);
    },
    keep: async (outcome) => {
        await page.locator("#find").focus();
        await page.keyboard.press("Tab");
        told.fields.push(await page.evaluate(() => document.activeElement.id));
        await page.keyboard.type(outcome);
    },
    click: (name) => page.locator(".every thead button", { hasText: name }).first().click(),
    press: async (name, key) => {
        await page.locator(".every thead button", { hasText: name }).first().focus();
        await page.keyboard.press(key);
    },
    // The same page where scripts are forbidden.
    plain: async () => {
        const context = await browser.newContext({ javaScriptEnabled: false });
        const other = await context.newPage();
        await other.goto(place);
        told.forbidden = { controls: await other.locator("button, input, select").count(), rows: await other.locator(".every tbody tr").count() };
        await context.close();
    },
};

await page.goto(place);
await walked(one, actions, shown);
