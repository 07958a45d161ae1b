// Chromium with one page, driven as `node DRIVER.mjs PAGE.html WORK.json FOLDER`, and what it tells beside what it shows:
// console, errors, requests, dialogs. WORK lists what is done in turn. Pictures and other files go into FOLDER.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [file, workFile, folder] = process.argv.slice(2);
export const place = pathToFileURL(file).href;
export const within = (name) => join(folder, name);

const FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
];

export async function opened(options) {
    const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: FLAGS });
    const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
    const page = await context.newPage();
    const told = { console: [], errors: [], requests: [], dialogs: [] };
    page.on("console", (message) => told.console.push(`${message.type()}: ${message.text()}`));
    page.on("pageerror", (error) => told.errors.push(String(error)));
    page.on("request", (request) => told.requests.push(request.url()));
    page.on("dialog", (dialog) => {
        told.dialogs.push(dialog.message());
        dialog.dismiss();
    });
    return { browser, page, told };
}

// Wait until a page with a script of ours has drawn what it shows.
export async function drawn(page) {
    await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => done())));
    await page.waitForFunction(() => document.body.dataset.ready === "yes", null, { timeout: 20000 });
}

// Open the page and wait for that; where it fails, say what it told, and the words of its own message.
export async function loaded({ page, told }, message) {
    await page.goto(place);
    await drawn(page).catch(async (error) => {
        throw new Error(`${error.message}\n${JSON.stringify(told)}\n${await page.textContent(message)}`);
    });
}

// What all drivers can do.
export const usual = (page) => ({
    scheme: (colorScheme) => page.emulateMedia({ colorScheme }),
    size: (width, height) => page.setViewportSize({ width, height }),
    picture: (name) => page.screenshot({ path: within(name), fullPage: true }),
    paper: async (name) => {
        await page.pdf({ path: within(name), format: "A4" });
    },
});

// Do the work on the page that is open; the answer says what it showed before and after each action, as JSON.
export async function walked({ browser, page, told }, actions, shown, settled = async () => {}) {
    const states = [await shown()];
    for (const [action, ...values] of JSON.parse(readFileSync(workFile, "utf8"))) {
        await actions[action](...values);
        await settled(page);
        states.push(await shown());
    }
    await browser.close();
    process.stdout.write(JSON.stringify({ ...told, states }));
}
