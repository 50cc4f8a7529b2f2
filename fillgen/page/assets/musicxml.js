// Ideas as MusicXML 4.0, as the command line writes them.
import { rounded } from "./music.js";

/** @import { Idea, Look, OwnLook, Whole, WrittenBar } from "./types.js" */

const TICKS = 480;

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
