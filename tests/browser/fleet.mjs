// A reader at the page of a triage, in Chromium: `node fleet.mjs PAGE.html WORK.json FOLDER`.
import { opened, place, usual, walked } from "./chromium.mjs";

const one = await opened({});
const { page } = one;

const shown = () =>
    page.evaluate(() => {
        const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
        const light = (colour) => {
            const [red, green, blue] = numbers(colour).map((part) => (part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4));
            return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
        };
        const behind = (element) => {
            const colour = getComputedStyle(element).backgroundColor;
            return (numbers(colour)[3] ?? 1) > 0 || element === document.documentElement ? colour : behind(element.parentElement);
        };
        const contrast = (element) => {
            const [ink, paper] = [getComputedStyle(element).color, behind(element)].map(light);
            return (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
        };
        const worded = Array.from(document.querySelectorAll("main *:not(svg, svg *)")).filter((element) =>
            Array.from(element.childNodes).some((node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim()),
        );
        const boxes = Array.from(document.querySelectorAll("main > *, section > *, .case > *"), (element) => [element, element.getBoundingClientRect()]);
        const target = document.querySelector(location.hash || "#none");
        const focus = document.activeElement;
        const { outlineStyle, outlineWidth } = getComputedStyle(focus);
        const cut = Array.from(document.querySelectorAll("figure svg text")).filter((words) => {
            const [drawn, all] = [words.getBoundingClientRect(), words.ownerSVGElement.getBoundingClientRect()];
            return drawn.left < all.left - 1 || drawn.right > all.right + 1 || drawn.top < all.top - 1 || drawn.bottom > all.bottom + 1;
        });
        return {
            cut: cut.map((words) => words.textContent),
            at: location.hash,
            top: target && Math.round(target.getBoundingClientRect().top),
            tall: window.innerHeight,
            focus: focus.tagName === "A" ? focus.textContent : focus.getAttribute("aria-label"),
            ring: outlineStyle !== "none" && parseFloat(outlineWidth) >= 2,
            wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
            outside: boxes.filter(([, { left, right }]) => left < 0 || right > document.documentElement.clientWidth + 1).map(([element]) => element.outerHTML.slice(0, 80)),
            paper: getComputedStyle(document.body).backgroundColor,
            verdict: getComputedStyle(document.querySelector(".verdict")).backgroundColor,
            plot: getComputedStyle(document.querySelector("figure svg")).filter,
            spark: getComputedStyle(document.querySelector(".fleet td svg")).filter,
            pale: worded.filter((element) => contrast(element) < 4.5).map((element) => `${contrast(element).toFixed(1)}: ${element.outerHTML.slice(0, 80)}`),
            worded: worded.length,
        };
    });

const actions = {
    ...usual(page),
    click: (name) => page.locator(".fleet a", { hasText: name }).click(),
    // Reload, so that Tab begins at the head of the page.
    reload: () => page.goto(place),
    key: (name) => page.keyboard.press(name),
    media: (media) => page.emulateMedia({ media }),
};

await page.goto(place);
await walked(one, actions, shown);
