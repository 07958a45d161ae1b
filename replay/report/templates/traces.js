// The table of all traces: found by part of an id, kept by outcome, sorted by a column. Without this it stands as it is.
"use strict";

(() => {
    const table = document.querySelector(".every table");
    const rows = Array.from(table.tBodies[0].rows, (row, place) => ({ row, place, cells: Array.from(row.cells, (cell) => cell.textContent.trim()) }));
    const heads = Array.from(table.tHead.rows[0].cells);
    const OUTCOME = heads.findIndex((head) => head.textContent === "outcome");
    const make = (tag, given) => Object.assign(document.createElement(tag), given);

    const find = make("input", { type: "search", id: "find", autocomplete: "off", spellcheck: false });
    const keep = make("select", { id: "keep" });
    const told = make("span", { className: "small" });
    told.setAttribute("role", "status");
    const outcomes = Array.from(new Set(rows.map(({ cells }) => cells[OUTCOME])));
    keep.append(make("option", { value: "", textContent: "all" }), ...outcomes.map((name) => make("option", { value: name, textContent: name })));
    const bar = make("p", { className: "bar" });
    bar.append(make("label", { htmlFor: "find", textContent: "Find " }), find, make("label", { htmlFor: "keep", textContent: " Outcome " }), keep, " ", told);
    document.querySelector(".every > summary").after(bar);

    function filter() {
        const part = find.value.trim().toLowerCase();
        rows.forEach(({ row, cells }) => {
            row.hidden = !(cells[0].toLowerCase().includes(part) || cells[1].toLowerCase().includes(part)) || (keep.value !== "" && cells[OUTCOME] !== keep.value);
        });
        told.textContent = `${rows.filter(({ row }) => !row.hidden).length} of ${rows.length} rows`;
    }

    // Numbers by size, words by letters, what is missing last; once more turns it round, a third time is as it came.
    function sort(column, turn) {
        const number = (cell) => (/^[-+]?\d/.test(cell) ? parseFloat(cell) : NaN);
        const numbers = rows.every(({ cells }) => cells[column] === "-" || !Number.isNaN(number(cells[column])));
        const missing = ({ cells }) => cells[column] === "-";
        const order = (one, other) => {
            if (turn === 0 || missing(one) !== missing(other)) {
                return turn === 0 ? one.place - other.place : missing(one) - missing(other);
            }
            const [a, b] = [one.cells[column], other.cells[column]];
            const least = numbers ? number(a) - number(b) : a.localeCompare(b);
            return (turn * least || one.place - other.place) || 0;
        };
        table.tBodies[0].append(...[...rows].sort(order).map(({ row }) => row));
    }

    heads.slice(0, -1).forEach((head, column) => {
        const button = make("button", { type: "button", textContent: head.textContent });
        head.replaceChildren(button);
        button.addEventListener("click", () => {
            const turn = { ascending: -1, descending: 0 }[head.getAttribute("aria-sort")] ?? 1;
            heads.forEach((other) => other.removeAttribute("aria-sort"));
            if (turn !== 0) {
                head.setAttribute("aria-sort", turn > 0 ? "ascending" : "descending");
            }
            sort(column, turn);
        });
    });
    find.addEventListener("input", filter);
    keep.addEventListener("change", filter);
    document.querySelector("nav a[href='#traces']").addEventListener("click", () => {
        document.querySelector(".every").open = true;
    });
    filter();
})();
