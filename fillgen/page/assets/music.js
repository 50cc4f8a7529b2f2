// When notes sound: strokes swung and cut as the MIDI writer does it, and ticks as seconds.
// A stroke is [tick, ticks of length, MIDI pitch, velocity, ...]; 480 ticks are a quarter note.

/** @import { Idea, Stroke, Whole } from "./types.js" */

const TICKS = 480;

/**
 * Rounds as the program does: halves to the even number.
 * @param {number} number
 */
export function rounded(number) {
  const low = Math.floor(number);
  const rest = number - low;
  if (rest !== 0.5) return Math.round(number);
  return low % 2 === 0 ? low : low + 1;
}

/**
 * How much longer the first of two swung eighths lasts.
 * @param {Pick<Whole, "swing">} whole
 * @param {number} tempo quarter notes a minute
 */
export function swingRatio(whole, tempo) {
  const { fixed, short, largest, smallest } = whole.swing;
  if (fixed !== null) return fixed;
  const ratio = Math.min(largest, Math.max(smallest, 60 / tempo / short - 1));
  return rounded(ratio * 1000) / 1000;
}

/**
 * Where a tick falls when eighths swing. Triplets are where they are already.
 * @param {number} tick
 * @param {number} ratio
 */
export function swung(tick, ratio) {
  const inside = tick % TICKS;
  const half = TICKS / 2;
  if (inside % (TICKS / 8)) return tick;
  const quarter = tick - inside;
  const turn = (TICKS * ratio) / (1 + ratio);
  if (inside <= half) return quarter + rounded((inside * turn) / half);
  return quarter + rounded(turn + ((inside - half) * (TICKS - turn)) / half);
}

/**
 * Strokes when eighths swing.
 * @param {Stroke[]} strokes
 * @param {number} ratio
 * @returns {Stroke[]}
 */
export function timed(strokes, ratio) {
  return strokes.map(([tick, length, ...rest]) => {
    const start = swung(tick, ratio);
    return [start, Math.max(1, swung(tick + length, ratio) - start), ...rest];
  });
}

/**
 * Strokes up to a tick.
 * @param {Stroke[]} strokes
 * @param {number} end
 * @returns {Stroke[]}
 */
function within(strokes, end) {
  return strokes
    .filter(([tick]) => tick < end)
    .map(([tick, length, ...rest]) => [tick, Math.min(length, end - tick), ...rest]);
}

/**
 * Strokes in time order, each ended before its pitch is struck again.
 * @param {Stroke[]} strokes
 * @returns {Stroke[]}
 */
function apart(strokes) {
  const ordered = [...strokes].sort((a, b) => a[0] - b[0] || a[2] - b[2]);
  /** @type {Map<number, number>} */
  const next = new Map();
  /** @type {Stroke[]} */
  const cut = [];
  for (const [tick, length, midi, ...rest] of ordered.reverse()) {
    const most = Math.min(length, (next.get(midi) ?? Infinity) - tick);
    next.set(midi, tick);
    if (most > 0) cut.push([tick, most, midi, ...rest]);
  }
  return cut.reverse();
}

const PARTS = ["right", "left", "bass", "drums"];

/**
 * The strokes of a part before swing. The left hand leaves the roots to a bass that plays as well.
 * @param {Pick<Whole, "backing">} whole
 * @param {Pick<Idea, "strokes"|"left"|"stop">} idea
 * @param {string} part
 * @param {readonly string[]} heard
 * @returns {Stroke[]}
 */
function straight(whole, idea, part, heard) {
  if (part === "right") return idea.strokes;
  if (part === "bass" || part === "drums") return whole.backing[part][idea.stop] ?? [];
  return whole.backing.left[idea.left]?.[heard.includes("bass") ? "with_bass" : "alone"] ?? [];
}

/**
 * What sounds of an idea: strokes of every part asked for at a tempo, some semitones away, and the ticks it lasts. `heard` are
 * the parts that are not silent.
 * @param {Pick<Whole, "backing"|"length"|"swing">} whole
 * @param {Pick<Idea, "strokes"|"left"|"stop">} idea
 * @param {{parts?: readonly string[], heard?: readonly string[], tempo: number, shift?: number}} wishes
 * @returns {{strokes: Record<string, Stroke[]>, length: number}}
 */
export function take(whole, idea, { parts = PARTS, heard = parts, tempo, shift = 0 }) {
  const ratio = swingRatio(whole, tempo);
  /** @type {Record<string, Stroke[]>} */
  const strokes = {};
  for (const part of PARTS.filter((each) => parts.includes(each))) {
    const swungOnes = apart(within(timed(straight(whole, idea, part, heard), ratio), whole.length));
    strokes[part] = part === "drums" ? swungOnes : moved(swungOnes, shift);
  }
  return { strokes, length: whole.length };
}

/**
 * Strokes some semitones away; those that would leave what MIDI has are left out.
 * @param {Stroke[]} strokes
 * @param {number} shift
 * @returns {Stroke[]}
 */
function moved(strokes, shift) {
  return strokes
    .filter(([, , midi]) => midi + shift >= 0 && midi + shift <= 127)
    .map(([tick, length, midi, ...rest]) => [tick, length, midi + shift, ...rest]);
}

/**
 * Seconds from the start of an idea's take to one of its ticks; where it slows down, each tempo holds from its tick on.
 * @param {Pick<Idea, "slowing">} idea
 * @param {number} tick
 * @param {number} tempo quarter notes a minute
 */
export function seconds({ slowing }, tick, tempo) {
  const quarter = 60 / tempo / TICKS;
  let at = 0;
  let share = 1;
  let found = 0;
  for (const [start, next] of slowing) {
    if (start >= tick) break;
    found += ((start - at) * quarter) / share;
    at = start;
    share = next;
  }
  return found + ((tick - at) * quarter) / share;
}

/**
 * The tick of a take that sounds so many seconds after its start.
 * @param {Pick<Whole, "length">} whole
 * @param {Pick<Idea, "slowing">} idea
 * @param {number} second
 * @param {number} tempo quarter notes a minute
 */
export function tickAt(whole, idea, second, tempo) {
  let low = 0;
  let high = whole.length;
  for (let turn = 0; turn < 40; turn += 1) {
    const middle = (low + high) / 2;
    if (seconds(idea, middle, tempo) < second) low = middle;
    else high = middle;
  }
  return high;
}
