// Opens a report in Chromium and tells what is wrong with it, a line each; nothing if
// all is well: node page.mjs NODE_MODULES CHROMIUM PAGE.html FOLDER
// The page as PDF lies in FOLDER afterwards, A4.pdf and Letter.pdf.

import fs from "node:fs";
import path from "node:path";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";

const [modules, chromium, file, folder] = process.argv.slice(2);
const require = createRequire(path.join(modules, "here.js"));
const playwright = require("playwright-core");
const axe = fs.readFileSync(path.join(modules, "axe-core/axe.min.js"), "utf8");
const address = pathToFileURL(file).href;

const wrong = [];
let where = "";
const expect = (holds, what) => {
  if (!holds) wrong.push(`${where}: ${what}`);
};

const browser = await playwright.chromium.launch({
  executablePath: chromium,
  args: ["--no-sandbox"],
});

async function open(width, script) {
  where = `${width} px, script ${script ? "on" : "off"}`;
  const context = await browser.newContext({
    viewport: { width, height: 900 },
    javaScriptEnabled: script,
    offline: true,
  });
  const page = await context.newPage();
  page.on("console", (message) => expect(false, `console: ${message.text()}`));
  page.on("pageerror", (error) => expect(false, `error: ${error.message}`));
  page.on("request", (request) => {
    const url = request.url();
    expect(url === address || url.startsWith("data:"), `asks for ${url}`);
  });
  await page.goto(address);
  return page;
}

const shown = (page, selector) =>
  page.evaluate(
    (selector) =>
      [...document.querySelectorAll(selector)].filter((one) => one.checkVisibility()).length,
    selector,
  );
const text = (page, selector) => page.locator(selector).first().innerText();
const number = (words) => Number(words.replace("\u2212", "-").match(/-?[\d.]+/)?.[0]);

async function units(page) {
  const water = ".points .point .meaning";
  const cubic = await text(page, water);
  expect(/^0\.\d{3}\s*m³\/m³$/.test(cubic), `water content reads "${cubic}"`);
  for (const [unit, factor, name] of [
    ["percent", 100, "vol %"],
    ["millimetre", 100, "mm per 10 cm"],
    ["inch", 12, "in/ft"],
  ]) {
    await page.check(`#water-${unit}`);
    const words = await text(page, water);
    const off = Math.abs(number(words) - factor * number(cubic));
    expect(words.endsWith(name) && off <= 0.0006 * factor + 0.005, `${cubic} became "${words}"`);
    expect((await shown(page, ".w > .cubic")) === 0, `m3/m3 beside ${unit}`);
  }
  await page.check("#water-cubic");
  expect((await text(page, water)) === cubic, "m3/m3 did not come back");

  const volume = ".facts dd b";
  const litres = await text(page, volume);
  await page.check("#measures-us");
  const gallons = await text(page, volume);
  expect(litres.endsWith("L") && gallons.endsWith("gal"), `"${litres}" became "${gallons}"`);
  expect(Math.abs(number(litres) / number(gallons) - 3.785) < 0.02, `${litres} is not ${gallons}`);
  await page.check("#measures-metric");
}

async function soils(page) {
  const all = await page.locator("article.probe").count();
  expect((await shown(page, "article.probe")) === all, "not every soil is shown at first");
  await page.check("#soil-1");
  expect((await shown(page, "article.probe")) === 1, "one soil was chosen, others stand there too");
  expect((await shown(page, "article.soil-1")) === 1, "another soil than the one chosen");
  await page.locator(".card").first().click();
  expect((await shown(page, "article.soil-0")) === 1, "a link leads to a soil that is hidden");
  await page.check("#soil-all");
  expect((await shown(page, "article.probe")) === all, "not every soil came back");
}

async function points(page) {
  const first = page.locator(".chart .point[tabindex='0']").first();
  const core = await first.getAttribute("data-name");
  await first.scrollIntoViewIfNeeded();
  await first.focus();
  const tip = page.locator("#tip");
  expect(await tip.isVisible(), "no tip at the core that has the focus");
  expect((await tip.innerText()).includes(core), `the tip does not name ${core}`);
  const met = await page.locator("tr.met").first().getAttribute("data-name").catch(() => "none");
  expect(met === core, `the row of ${core} is not marked, but that of ${met}`);
  await page.keyboard.press("ArrowRight");
  const next = await page.evaluate(() => document.activeElement.dataset.name);
  expect(next && next !== core, "the arrow key led to no other core");
  expect((await tip.innerText()).includes(next), `the tip does not follow to ${next}`);
  await page.keyboard.press("Escape");
  expect(!(await tip.isVisible()), "Escape leaves the tip there");
  await first.hover({ force: true });
  // Cores of one wetness may lie on one another: the tip is that of the uppermost.
  expect(/^Core \S+: /.test(await tip.innerText()), "no tip under the mouse");
  await page.mouse.move(1, 1);
}

async function fits(page) {
  const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  expect(over <= 0, `${over} px too wide`);
}

for (const width of [360, 1280]) {
  const page = await open(width, true);
  await fits(page);
  for (const unit of ["cubic", "inch"]) {
    await page.check(`#water-${unit}`);
    await fits(page);
    await page.evaluate(axe);
    const found = await page.evaluate(async () => (await axe.run()).violations);
    for (const one of found) expect(false, `${one.id}: ${one.help}: ${one.nodes[0].html}`);
  }
  await page.check("#water-cubic");
  await units(page);
  await soils(page);
  await points(page);
  await page.context().close();

  const still = await open(width, false);
  await fits(still);
  expect((await still.locator("h2.verdict").innerText()).length > 10, "no verdict");
  expect((await shown(still, "#tip")) === 0, "an empty tip");
  const titles = await still.locator(".chart .point > title").count();
  const all = await still.locator(".chart .point").count();
  expect(all > 20 && titles === all, `${titles} of ${all} points say what they are`);
  await units(still);
  await soils(still);
  await still.context().close();
}

const page = await open(1280, true);
for (const format of ["A4", "Letter"]) {
  await page.pdf({ path: path.join(folder, `${format}.pdf`), format, printBackground: true });
}
await page.emulateMedia({ media: "print" });
await page.setViewportSize({ width: 680, height: 995 });
const tall = await page.evaluate(() =>
  [...document.querySelectorAll("figure")].filter((one) => one.offsetHeight > 880).length,
);
expect(tall === 0, `${tall} charts are taller than a page`);
// The soil chosen on the screen is the soil on paper, which says so.
const choose = async (soil) => {
  await page.emulateMedia({ media: "screen" });
  await page.check(soil);
  await page.emulateMedia({ media: "print" });
};
await choose("#soil-1");
where = "print, one soil chosen";
expect((await shown(page, "article.probe")) === 1, "other soils than the one chosen");
expect((await shown(page, ".only")) === 1, "paper does not say which soil was chosen");
await choose("#soil-all");
expect((await shown(page, "article.probe")) > 1, "not every soil came back");
expect((await shown(page, ".only")) === 0, "paper speaks of a choice that was not made");
await browser.close();
for (const line of wrong) console.log(line);
