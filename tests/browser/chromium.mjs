// Chromium with one page, and what it tells beside what it shows: console, errors, requests, dialogs.
import { chromium } from "playwright-core";

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
