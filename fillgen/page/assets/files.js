// Ideas as Standard MIDI Files of format 1 and as MusicXML 4.0, as the command line writes them.
import { rounded, take } from "./music.js";

/** @import { Idea, Look, OwnLook, Seat, Stroke, Whole, WrittenBar } from "./types.js" */
/** @typedef {[number, number, number[]]} Message tick, rank among those of the same tick, bytes */
/** @typedef {{parts: string[], tempo: number, countIn?: boolean, shift?: number, sounds?: Record<string, {program: number}>}} FileWishes */
/** @typedef {{at: number, idea: Idea, made: ReturnType<typeof take>}} Take */

const TICKS = 480;
const VOLUME = 7;
const PAN = 10;
const FIRST = { metre: 2, tempo: 5, marker: 8, chord: 9, slow: 10 };

// MIDI

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

// MusicXML

/** @type {Record<string, string>} */
const TYPES = { w: "whole", h: "half", q: "quarter", e: "eighth", s: "16th" };
/** @type {Record<string, string>} */
const SIGNS = { b: "flat", bb: "flat-flat", n: "natural", "#": "sharp", "##": "double-sharp" };

/** @param {string} words */
function escaped(words) {
  return String(words).replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
}

/**
 * @param {string} name
 * @param {string|number} inside
 * @param {string} attributes
 */
function element(name, inside, attributes = "") {
  const head = attributes ? `${name} ${attributes}` : name;
  return inside === "" ? `<${head}/>` : `<${head}>${inside}</${name}>`;
}

/** @param {string} name such as Bb4 */
function pitch(name) {
  const read = /^([A-G])(#*|b*)(-?\d+)$/.exec(name);
  if (!read) throw new Error(`${name} is not a note`);
  const [, step, signs, octave] = read;
  const alter = signs.startsWith("b") ? -signs.length : signs.length;
  return element("pitch", element("step", step) + (alter ? element("alter", alter) : "") + element("octave", octave));
}

/** @param {string} sign */
function accidental(sign) {
  if (!sign) return "";
  const bare = sign.replace(/[()]/g, "");
  const courtesy = bare === sign ? "" : 'cautionary="yes" parentheses="yes"';
  return element("accidental", SIGNS[bare], courtesy);
}

/**
 * @param {string} letters
 * @param {string} sign
 */
function lengthOf(letters, sign) {
  if (letters === "bar") return "";
  const dot = letters.endsWith(".") ? "<dot/>" : "";
  const triplet = element("actual-notes", 3) + element("normal-notes", 2);
  return (
    element("type", TYPES[letters[0]]) + dot + accidental(sign) +
    (letters.endsWith("t") ? element("time-modification", triplet) : "")
  );
}

/**
 * @param {string} name
 * @param {number} from
 * @param {number} to
 */
function ties(name, from, to) {
  return (from ? `<${name} type="stop"/>` : "") + (to ? `<${name} type="start"/>` : "");
}

/**
 * The sign of a close: a fermata on a last note that is held, accent and staccato on one that is short.
 * @param {string|undefined} close
 */
function closeSign(close) {
  if (!close) return "";
  return close === "held" ? '<fermata type="upright"/>' : element("articulations", "<accent/><staccato/>");
}

/**
 * A written row of an idea as a note, and as further ones of its chord where others are struck with it; `spelling` has the
 * names, fingers and printed signs of the key.
 * @param {any[]} row
 * @param {string} sign
 * @param {OwnLook} spelling
 * @returns {string}
 */
function noteElements(row, sign, spelling) {
  const note = row[3];
  if (note < 0) return noteElement(row, "", null);
  /** @type {[string, number][]} */
  const keys = [[spelling.names[note], spelling.fingers[note]], ...(spelling.below[note] ?? [])];
  const signs = sign.split(",");
  return keys.map((key, index) => noteElement(row, signs[index], key, index > 0)).join("");
}

/**
 * @param {any[]} row
 * @param {string} sign
 * @param {[string, number]|null} key
 * @param {boolean} below
 * @returns {string}
 */
function noteElement([, length, letters, , from, to, beams, group, close], sign, key, below = false) {
  const marks =
    ties("tied", from, to) + (group && !below ? `<tuplet type="${group}"/>` : "") +
    (key?.[1] && !from ? element("technical", element("fingering", key[1])) : "") +
    (below ? "" : closeSign(close));
  const rest = letters === "bar" ? '<rest measure="yes"/>' : "<rest/>";
  return element(
    "note",
    (below ? "<chord/>" : "") + (key ? pitch(key[0]) : rest) +
      element("duration", length) + ties("tie", from, to) + element("voice", 1) + lengthOf(letters, sign) +
      (below ? [] : beams).map((/** @type {string} */ word, /** @type {number} */ level) => element("beam", word, `number="${level + 1}"`)).join("") +
      (marks ? element("notations", marks) : ""),
  );
}

/** @param {string} metre */
function time(metre) {
  const [count, unit] = metre.split("/");
  return element("time", element("beats", count) + element("beat-type", unit));
}

/**
 * @param {string} metre
 * @param {Look} look
 */
function attributes(metre, look) {
  const mode = look.key.endsWith("minor") ? "minor" : "major";
  return element(
    "attributes",
    element("divisions", TICKS) + element("key", element("fifths", look.fifths) + element("mode", mode)) +
      time(metre) +
      element("clef", element("sign", "G") + element("line", 2)),
  );
}

/**
 * The greatest number that divides both.
 * @param {number} a
 * @param {number} b
 * @returns {number}
 */
function shared(a, b) {
  return b ? shared(b, a % b) : a;
}

// The notes that beats are written as, by their ticks.
/** @type {Record<number, [string, number]>} */
const BEATS = { 240: ["eighth", 0], 480: ["quarter", 0], 720: ["quarter", 1], 960: ["half", 0] };

/**
 * @param {number} quarters a minute
 * @param {number} ratio
 * @param {number} beat ticks
 */
function tempoMark(quarters, ratio, beat) {
  const swings = ratio > 1;
  const first = rounded(10 * ratio);
  const part = shared(first, 10);
  const swing = element(
    "swing",
    element("first", first / part) + element("second", 10 / part) + element("swing-type", "eighth"),
  );
  const [note, dots] = BEATS[beat];
  const count = rounded((quarters * TICKS) / beat);
  const mark = element("metronome", element("beat-unit", note) + "<beat-unit-dot/>".repeat(dots) + element("per-minute", count));
  return element(
    "direction",
    element("direction-type", mark) + (swings ? element("direction-type", element("words", "Swing")) : "") +
      element("sound", swings ? swing : "", `tempo="${quarters}"`),
    'placement="above"',
  );
}

/** @param {string} words */
function heading(words) {
  return element("direction", element("direction-type", element("words", escaped(words))), 'placement="above"');
}

/**
 * The word where music begins to slow down, so many ticks after the note that follows it.
 * @param {number} offset
 */
function slowingMark(offset) {
  const words = element("direction-type", element("words", "rit."));
  return element("direction", words + (offset ? element("offset", offset) : ""), 'placement="above"');
}

/**
 * @param {Look} look
 * @param {number} number
 * @param {number} offset
 */
function chordAt(look, number, offset) {
  const text = look.harmonies[number];
  return offset ? text.replace("</harmony>", `${element("offset", offset)}</harmony>`) : text;
}

/**
 * @param {WrittenBar} bar
 * @param {string} number
 * @param {string} lead
 * @param {OwnLook} spelling
 * @param {Look} look
 * @param {string[]} signs
 */
function measure(bar, number, lead, spelling, look, signs) {
  const waiting = [...bar.chords].sort((a, b) => a[0] - b[0]);
  let inside = lead;
  for (const row of bar.symbols) {
    const [tick, length, , note] = row;
    const under = waiting.filter(([at]) => at < tick + length).length;
    for (const [at, chord] of waiting.splice(0, under)) inside += chordAt(look, chord, at - tick);
    const slows = bar.slows ?? -1;
    if (slows >= tick && slows < tick + length) inside += slowingMark(slows - tick);
    inside += noteElements(row, (note >= 0 && signs.shift()) || "", spelling);
  }
  const short = bar.short ? ' implicit="yes"' : "";
  return { number, short, inside };
}

/**
 * Ideas one after another in one score, each on a new system under its heading.
 * @param {Whole} whole
 * @param {Idea[]} ideas
 * @param {Look} look
 * @param {{tempo: number, ratio: number}} wishes
 */
export function musicxml(whole, ideas, look, { tempo: quarters, ratio }) {
  let shift = 0;
  let measures = "";
  let running = "";
  ideas.forEach((idea, index) => {
    const spelling = look.ideas[idea.id];
    const signs = [...spelling.signs];
    idea.written.forEach((bar, place) => {
      const metre = bar.metre ?? whole.metre;
      let lead = "";
      if (place === 0) {
        lead = index ? '<print new-system="yes"/>' : "";
        if (metre !== running) lead += attributes(metre, look);
        if (!index) lead += tempoMark(quarters, ratio, whole.beat_ticks);
        if (ideas.length > 1) lead += heading(`${idea.rank} · ${idea.shape}`);
      } else if (metre !== running) {
        lead = element("attributes", time(metre));
      }
      running = metre;
      let number = String(shift + bar.number);
      if (!bar.number) number = shift ? `X${shift}` : "0";
      const made = measure(bar, number, lead, spelling, look, signs);
      const last = place === idea.written.length - 1;
      const end = last ? element("barline", element("bar-style", "light-light"), 'location="right"') : "";
      measures += `<measure number="${made.number}"${made.short}>${made.inside}${end}</measure>\n`;
    });
    shift += idea.written.at(-1)?.number ?? 0;
  });
  const work = whole.title ? element("work", element("work-title", escaped(whole.title))) : "";
  const list = element("part-list", element("score-part", element("part-name", "Keyboard"), 'id="P1"'));
  return (
    '<?xml version="1.0" encoding="UTF-8"?>\n' +
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" ' +
    '"http://www.musicxml.org/dtds/partwise.dtd">\n' +
    `<score-partwise version="4.0">${work}${list}<part id="P1">\n${measures}</part></score-partwise>\n`
  );
}

/**
 * Gives the reader a file to keep.
 * @param {string} name
 * @param {BlobPart} content
 * @param {string} type
 */
export function offer(name, content, type) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
