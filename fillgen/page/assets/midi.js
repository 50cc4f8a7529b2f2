// Ideas as Standard MIDI Files of format 1, as the command line writes them.
import { rounded, take } from "./music.js";

/** @import { Idea, Look, Seat, Stroke, Whole } from "./types.js" */
/** @typedef {[number, number, number[]]} Message tick, rank among those of the same tick, bytes */
/** @typedef {{parts: string[], tempo: number, countIn?: boolean, shift?: number, sounds?: Record<string, {program: number}>}} FileWishes */
/** @typedef {{at: number, idea: Idea, made: ReturnType<typeof take>}} Take */

const TICKS = 480;
const VOLUME = 7;
const PAN = 10;
const FIRST = { metre: 2, tempo: 5, marker: 8, chord: 9, slow: 10 };

/**
 * A number as MIDI has those of any length: seven bits a byte, the highest first.
 * @param {number} number
 */
function variable(number) {
  const found = [number & 0x7f];
  for (let rest = number >> 7; rest > 0; rest >>= 7) found.unshift((rest & 0x7f) | 0x80);
  return found;
}

/**
 * A number in so many bytes, the highest first.
 * @param {number} number
 * @param {number} bytes
 */
function big(number, bytes) {
  return Array.from({ length: bytes }, (_, place) => (number >> (8 * (bytes - 1 - place))) & 0xff);
}

/**
 * A text event.
 * @param {number} kind
 * @param {string} words
 */
function text(kind, words) {
  const bytes = [...new TextEncoder().encode(words)];
  return [0xff, kind, ...variable(bytes.length), ...bytes];
}

/** @param {number} quarters a minute */
function tempo(quarters) {
  return [0xff, 0x51, 3, ...big(rounded(60_000_000 / quarters), 3)];
}

/**
 * @param {Whole} whole
 * @param {string} metre
 */
function signature(whole, metre) {
  const [count, unit] = metre.split("/").map(Number);
  return [0xff, 0x58, 4, count, Math.log2(unit), (whole.beat_ticks * 24) / TICKS, 8];
}

/** @param {Look} look */
function keySignature(look) {
  return [0xff, 0x59, 2, look.fifths & 0xff, look.key.endsWith("minor") ? 1 : 0];
}

/**
 * @param {string} name
 * @param {number[]} bytes
 */
function chunk(name, bytes) {
  return [...new TextEncoder().encode(name), ...big(bytes.length, 4), ...bytes];
}

/**
 * Messages [tick, rank, bytes] as a track; a status byte that was just sent is not sent again.
 * @param {Message[]} messages
 * @param {number} length ticks
 */
function track(messages, length) {
  const bytes = [];
  let at = 0;
  let running = 0;
  for (const [tick, , message] of messages) {
    bytes.push(...variable(tick - at));
    at = tick;
    const [status] = message;
    const repeats = status < 0xf0 && status === running;
    bytes.push(...(repeats ? message.slice(1) : message));
    running = status < 0xf0 ? status : 0;
  }
  bytes.push(...variable(Math.max(0, length - at)), 0xff, 0x2f, 0);
  return chunk("MTrk", bytes);
}

/** @param {Message[]} messages */
function sorted(messages) {
  return [...messages].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
}

/**
 * The time signatures of a take from a tick on, where they change; the chart's own is back at the end.
 * @param {Whole} whole
 * @param {number} at the tick where the take begins
 * @param {number} once ticks of the chart
 * @returns {Message[]}
 */
function changesOfMetre(whole, at, once) {
  const { metres } = whole;
  if (!metres) return [];
  /** @type {[number, string][]} */
  const bars = [];
  for (let pass = 0; pass < whole.passes; pass += 1) {
    for (const [tick, metre] of metres) bars.push([at + pass * once + tick, metre]);
  }
  let running = whole.metre;
  /** @type {Message[]} */
  const changes = [];
  for (const [tick, metre] of [...bars, /** @type {[number, string]} */ ([at + whole.passes * once, whole.metre])]) {
    if (metre !== running && tick) changes.push([tick, FIRST.metre, signature(whole, metre)]);
    running = metre;
  }
  return changes;
}

/**
 * The track of what isn't played: title, tempo, metres, key, chords and the names of ideas.
 * @param {Whole} whole
 * @param {Look} look
 * @param {Take[]} takes
 * @param {FileWishes} wishes
 */
function guide(whole, look, takes, wishes) {
  const metres = whole.metres ?? [];
  const first = takes[0]?.at === 0 && metres.length ? metres[0][1] : whole.metre;
  /** @type {Message[]} */
  const messages = [
    [0, 0, text(3, whole.title || "Right-hand ideas")],
    [0, 1, tempo(wishes.tempo)],
    [0, FIRST.metre, signature(whole, first)],
    [0, 3, keySignature(look)],
  ];
  const once = Math.max(...whole.spans.map(([tick, lasts]) => tick + lasts));
  for (const { at, idea, made } of takes) {
    const name = wishes.parts.includes("right") ? `Idea ${idea.rank}: ${idea.shape}, ${idea.score.toFixed(3)}` : "Backing track";
    messages.push([at, FIRST.marker, text(6, name)]);
    for (let start = 0; start < whole.passes * once; start += once) {
      for (const [tick, , symbol] of look.spans) messages.push([at + start + tick, FIRST.chord, text(1, symbol)]);
    }
    messages.push(...changesOfMetre(whole, at, once));
    for (const [tick, share] of idea.slowing) messages.push([at + tick, FIRST.slow, tempo(wishes.tempo * share)]);
    if (idea.slowing.length) messages.push([at + made.length, FIRST.tempo, tempo(wishes.tempo)]);
  }
  return sorted(messages);
}

/**
 * Strokes as messages; notes end before others begin.
 * @param {Stroke[]} strokes
 * @param {number} channel
 * @param {number} at
 * @returns {Message[]}
 */
function strokesAt(strokes, channel, at) {
  const marks = [];
  for (const [tick, length, midi, velocity] of strokes) {
    marks.push([tick, 1, midi, velocity], [tick + length, 0, midi, 64]);
  }
  marks.sort((a, b) => a[0] - b[0] || a[1] - b[1] || a[2] - b[2] || a[3] - b[3]);
  return marks.map(([tick, on, midi, velocity]) => [at + tick, 0, [(on ? 0x90 : 0x80) | channel, midi, velocity]]);
}

/**
 * @param {Whole} whole
 * @param {Seat} seat
 * @param {Take[]} takes
 * @param {FileWishes} wishes
 * @param {number} length
 */
function partTrack(whole, seat, takes, wishes, length) {
  const { program } = wishes.sounds?.[seat.part] ?? seat;
  /** @type {Message[]} */
  const messages = [[0, 0, text(3, seat.name)]];
  if (seat.part !== "drums") messages.push([0, 0, [0xc0 | seat.channel, program]]);
  messages.push([0, 0, [0xb0 | seat.channel, VOLUME, seat.volume]], [0, 0, [0xb0 | seat.channel, PAN, seat.pan]]);
  for (const { at, made } of takes) {
    if (seat.part === "drums" && wishes.countIn) {
      messages.push(...strokesAt(whole.clicks, seat.channel, at - whole.bar_ticks));
    }
    messages.push(...strokesAt(made.strokes[seat.part] ?? [], seat.channel, at));
  }
  return track(messages, length);
}

/**
 * The ideas to be played. Without the right hand there is one backing track for all of them, that of the one that goes lowest.
 * @param {Idea[]} ideas
 * @param {string[]} parts
 */
function inOrder(ideas, parts) {
  if (parts.includes("right")) return ideas;
  const lowest = ideas.map((idea) => parseInt(idea.left, 10));
  return [ideas[lowest.indexOf(Math.min(...lowest))]];
}

/**
 * Ideas one after another with a bar of rest between, a track for each part; `look` is the key they stand in.
 * @param {Whole} whole
 * @param {Idea[]} ideas
 * @param {Look} look
 * @param {FileWishes} wishes
 */
export function midiFile(whole, ideas, look, wishes) {
  const bar = whole.bar_ticks;
  let at = wishes.countIn ? bar : 0;
  const takes = inOrder(ideas, wishes.parts).map((idea) => {
    const made = take(whole, idea, wishes);
    const found = { at, idea, made };
    at += made.length + bar;
    return found;
  });
  const length = Math.max(0, at - bar);
  const sounding = [...wishes.parts, ...(wishes.countIn && !wishes.parts.includes("drums") ? ["drums"] : [])];
  const seats = sounding.flatMap((part) => whole.parts.find((seat) => seat.part === part) ?? []);
  const tracks = [
    track(guide(whole, look, takes, wishes), length),
    ...seats.map((seat) => partTrack(whole, seat, takes, wishes, length)),
  ];
  const head = chunk("MThd", [...big(1, 2), ...big(tracks.length, 2), ...big(TICKS, 2)]);
  return Uint8Array.from([head, ...tracks].flat());
}
