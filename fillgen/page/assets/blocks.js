// What a page carries in itself, or fetches from where it came: its ideas, its keys and its sounds.

/** @import { Bank } from "./types.js" */

/**
 * The document of a block of the page, unpacked; null where there is none.
 * @param {string} id
 * @returns {Promise<any>}
 */
export async function block(id) {
  const text = document.getElementById(id)?.textContent;
  if (!text) return null;
  const letters = atob(text.slice(1, -1)); // a text in JSON, of letters that need no signs before them
  const bytes = new Uint8Array(letters.length);
  for (let place = 0; place < letters.length; place += 1) bytes[place] = letters.charCodeAt(place);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).json();
}

/** @returns {Promise<Bank>} the sounds, which the served page fetches */
export async function bank() {
  const inside = await block("fillgen-bank");
  if (inside) return inside;
  const answer = await fetch("assets/bank.json").catch(() => null);
  if (!answer) throw new Error("the sounds couldn't be fetched, because nothing answers. Start fillgen page again");
  if (!answer.ok) throw new Error(`the sounds couldn't be fetched (answer ${answer.status}). Press Play again in a moment`);
  return answer.json().catch(() => {
    throw new Error("the sounds arrived damaged. Press Play again in a moment");
  });
}

/**
 * A question that is asked once, and again only where it failed.
 * @template T
 * @param {() => Promise<T>} ask
 * @returns {() => Promise<T>}
 */
export function keeping(ask) {
  /** @type {Promise<T>|null} */
  let kept = null;
  return () => {
    kept ??= ask().catch((error) => {
      kept = null;
      throw error;
    });
    return kept;
  };
}
