// The page as one file: its ideas lie in it and are put on the page as soon as it is opened.
import { block } from "./blocks.js";
import { byId, make } from "./elements.js";
import { addGlyphs } from "./pictures.js";
import { signed } from "./words.js";

/** @import { Page } from "./main.js" */

const AT_ONCE = 12; // cards that are made before the browser may draw

/**
 * @param {Page} page
 */
export async function openFile(page) {
  const data = await block("fillgen-data");
  if (!data) return;
  const { whole, ideas, glyphs } = data;
  document.title = whole.title || "Right-hand ideas";
  byId("title").textContent = document.title;
  byId("remarks").replaceChildren(...whole.remarks.map((/** @type {string} */ each) => make("li", {}, each)));
  byId("foot").textContent = `fillgen ${whole.version}, level ${whole.level}, seed ${whole.seed}. Nothing on this page is sent anywhere.`;
  addGlyphs(glyphs);
  page.tray.read(`tray:${whole.id}`);
  const bars = whole.bars.map((/** @type {any} */ { chords }) => chords.map((/** @type {any} */ { symbol }) => signed(symbol)).join(" "));
  const round = page.begin(whole, { heading: `| ${bars.join(" | ")} |` });
  for (const [place, idea] of ideas.entries()) {
    if (place && place % AT_ONCE === 0) await new Promise((done) => setTimeout(done, 0));
    page.add(round, idea);
  }
  page.end(round);
  await page.tray.fill();
  document.body.dataset.ready = "true";
}
