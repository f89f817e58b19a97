// Looks at record sheets as a browser shows and prints them: node record_sheet.mjs
// NODE_MODULES CHROMIUM FILE.html... prints one JSON line a file.

import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [modules, executablePath, ...files] = process.argv.slice(2);
const { chromium } = await import(pathToFileURL(`${modules}/playwright-core/index.mjs`));
const axe = readFileSync(`${modules}/axe-core/axe.min.js`, "utf8");
const browser = await chromium.launch({ executablePath, args: ["--no-sandbox"] });

// Pages of a PDF as this browser writes it: its page objects stand uncompressed.
const pagesOf = (pdf) => (pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g) ?? []).length;

for (const file of files) {
    const page = await browser.newPage();
    const found = { file, said: [], fetched: [], overflow: {}, violations: [], pages: {} };
    page.on("console", (message) => found.said.push(message.text()));
    page.on("pageerror", (error) => found.said.push(String(error)));
    const address = pathToFileURL(file).href;
    page.on("request", (request) => {
        const url = request.url();
        if (url !== address && !url.startsWith("data:")) found.fetched.push(url);
    });
    for (const width of [360, 1280]) {
        await page.setViewportSize({ width, height: 900 });
        await page.goto(address);
        found.overflow[width] = await page.evaluate(
            () => document.documentElement.scrollWidth - document.documentElement.clientWidth,
        );
        await page.evaluate(axe);
        const { violations } = await page.evaluate(() => globalThis.axe.run());
        found.violations.push(
            ...violations.map((one) => `${width} px: ${one.id}: ${one.nodes[0].html}`),
        );
    }
    for (const [format, width, height] of [["A4", 210, 297], ["Letter", 215.9, 279.4]]) {
        const pdf = await page.pdf({ format, path: file.replace(".html", `-${format}.pdf`) });
        found.pages[format] = pagesOf(pdf);
        // The same paper on the screen, to measure what is printed.
        await page.emulateMedia({ media: "print" });
        const px = (mm) => Math.round((mm * 96) / 25.4);
        await page.setViewportSize({ width: px(width - 16), height: px(height - 16) });
        const measured = await page.evaluate(() => {
            const text = (node) => node.textContent.trim();
            const cells = [...document.querySelectorAll("th, td")];
            const letters = [...document.querySelectorAll("body *")].filter(
                (node) => [...node.childNodes].some((child) => child.nodeType === 3 && text(child)),
            );
            const style = (node) => getComputedStyle(node);
            return {
                clipped: cells.filter((cell) => cell.scrollWidth > cell.clientWidth + 1).map(text),
                colours: [...new Set(letters.map((node) => style(node).color))],
                smallest_pt: Math.min(...letters.map((node) => parseFloat(style(node).fontSize))) * 0.75,
                rows_mm: [...document.querySelectorAll(".cores tbody tr")].map(
                    (row) => (row.getBoundingClientRect().height * 25.4) / 96,
                ),
                ids: [...document.querySelectorAll(".cores tbody th")].map(text),
                columns: [...document.querySelectorAll(".cores thead th")].map(
                    (cell) => cell.firstChild.textContent.trim(),
                ),
                first_page_mm: (document.querySelector(".care").getBoundingClientRect().bottom * 25.4) / 96,
                text: document.body.innerText,
            };
        });
        await page.emulateMedia({ media: null });
        found[format] = measured;
    }
    console.log(JSON.stringify(found));
    await page.close();
}
await browser.close();
