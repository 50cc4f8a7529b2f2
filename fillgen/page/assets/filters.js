// Which ideas are shown, and in which order.

/** @import { Entry, Round } from "./types.js" */

/**
 * In which third of all numbers each one lies, from 0 to 2.
 * @param {number[]} numbers
 * @returns {number[]}
 */
export function thirds(numbers) {
  const ordered = [...numbers].sort((a, b) => a - b);
  return numbers.map((number) => Math.min(2, Math.floor((3 * ordered.indexOf(number)) / ordered.length)));
}

/**
 * For each idea whether it is shown.
 * @param {Entry[]} entries
 * @param {{show: string, shape: string, busy: string, hard: string}} wanted
 * @param {(entry: Entry) => boolean} isStarred
 * @returns {boolean[]}
 */
export function shownAmong(entries, { show, shape, busy, hard }, isStarred) {
  const busyThirds = thirds(entries.map(({ idea }) => idea.density));
  const hardThirds = thirds(entries.map(({ idea }) => idea.hard));
  return entries.map(
    (entry, place) =>
      (show === "all" || isStarred(entry)) &&
      (!shape || entry.idea.shape === shape) &&
      (busy === "" || busyThirds[place] === Number(busy)) &&
      (hard === "" || hardThirds[place] === Number(hard)),
  );
}

/**
 * Ideas in an order; those that are equal in it stay best first.
 * @param {Entry[]} entries
 * @param {string} sort
 * @param {(entry: Entry) => boolean} isStarred
 * @returns {Entry[]}
 */
export function sorted(entries, sort, isStarred) {
  /** @type {Record<string, (entry: Entry) => number|string>} */
  const keys = {
    rank: () => 0,
    hard: ({ idea }) => idea.hard,
    density: ({ idea }) => idea.density,
    shape: ({ idea }) => idea.shape,
    starred: (entry) => (isStarred(entry) ? 0 : 1),
  };
  const key = keys[sort] ?? keys.rank;
  return [...entries].sort((a, b) => {
    const [first, second] = [key(a), key(b)];
    return first < second ? -1 : Number(first > second) || a.idea.rank - b.idea.rank;
  });
}

/**
 * Hides and orders the cards of some rounds as it is asked for; variations stay below their idea.
 * @param {Round[]} rounds
 * @param {import("./settings.js").Settings["filters"]} filters
 * @param {(entry: Entry) => boolean} isStarred
 * @returns {number} how many are shown
 */
export function arrange(rounds, filters, isStarred) {
  const all = rounds.flatMap(({ entries }) => entries);
  const shown = shownAmong(all, filters, isStarred);
  for (const [place, { card }] of all.entries()) card.hidden = !shown[place];
  for (const round of rounds) {
    const wanted = sorted(round.entries, filters.sort, isStarred).map(({ card }) => card);
    const now = [...round.cards.children].filter((each) => each.classList.contains("idea"));
    if (wanted.some((card, place) => now[place] !== card)) round.cards.append(...wanted);
    for (const other of rounds) if (other.of?.round === round) other.of.card.after(other.root);
  }
  return shown.filter(Boolean).length;
}
