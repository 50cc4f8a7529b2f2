// Units of time in the page: ticks, swung ticks, beats and seconds.
import assert from "node:assert/strict";
import { test } from "node:test";
import { rounded, seconds, swingRatio, swung, take, tickAt, timed } from "../../fillgen/page/assets/music.js";
import { barQuarters, beatOf, beatQuarters } from "../../fillgen/page/assets/workshop/beats.js";
import { Chance } from "./chance.js";

const QUARTER = 480;
const PARTS = ["right", "left", "bass", "drums"];

test("halves are rounded to even, as IEEE 754 has it (roundTiesToEven)", () => {
  const table = [[0.5, 0], [1.5, 2], [2.5, 2], [3.5, 4], [-0.5, -0], [-1.5, -2], [2.49, 2], [2.51, 3]];
  for (const [given, wanted] of table) assert.equal(rounded(given) + 0, wanted + 0, String(given));
});

test("eighths of two to one are a triplet's quarter and eighth; triplets and beats stay", () => {
  assert.equal(swung(240, 2), 320);
  assert.equal(swung(QUARTER + 240, 2), QUARTER + 320);
  for (const tick of [0, 160, 320, QUARTER, 960]) assert.equal(swung(tick, 2), tick);
  assert.equal(swung(240, 3), 360);
});

test("even eighths are where they are, and order is kept at any ratio", () => {
  for (let tick = 0; tick <= 2 * QUARTER; tick += 1) assert.equal(swung(tick, 1), tick);
  const grid = Array.from({ length: 33 }, (_, place) => place * 60);
  for (const ratio of [1, 1.2, 1.5, 2, 3]) {
    const moved = grid.map((tick) => swung(tick, ratio));
    for (let place = 1; place < moved.length; place += 1) assert.ok(moved[place] > moved[place - 1], `${ratio} ${place}`);
  }
});

test("swing is bounded, or fixed where it's said", () => {
  const swing = { fixed: null, short: 0.1, largest: 3, smallest: 1 };
  assert.equal(swingRatio({ swing }, 200), 2);
  assert.equal(swingRatio({ swing }, 60), 3);
  assert.equal(swingRatio({ swing }, 300), 1);
  assert.equal(swingRatio({ swing: { ...swing, fixed: 1.5 } }, 60), 1.5);
});

test("no stroke is shorter than a tick", () => {
  assert.deepEqual(timed([[240, 1, 60, 80]], 3), [[360, 1, 60, 80]]);
});

test("a quarter note lasts 60 seconds by the tempo", () => {
  for (const tempo of [30, 60, 116, 120, 240]) {
    assert.ok(Math.abs(seconds({ slowing: [] }, QUARTER, tempo) - 60 / tempo) < 1e-12);
  }
});

test("where it slows down to half, a quarter lasts twice as long", () => {
  const idea = { slowing: [[QUARTER, 0.5]] };
  assert.equal(seconds(idea, QUARTER, 120), 0.5);
  assert.equal(seconds(idea, 2 * QUARTER, 120), 1.5);
  assert.equal(seconds({ slowing: [[0, 0.5], [QUARTER, 0.25]] }, 2 * QUARTER, 60), 6);
});

test("ticks and seconds lead to each other", () => {
  const chance = new Chance(7);
  for (let turn = 0; turn < 300; turn += 1) {
    const length = QUARTER * chance.whole(4, 64);
    const starts = [chance.whole(0, length), chance.whole(0, length)].sort((a, b) => a - b);
    const idea = { slowing: [[starts[0], 0.9], [starts[1], 0.7]] };
    const [tick, tempo] = [chance.whole(0, length), chance.whole(30, 280)];
    assert.ok(Math.abs(tickAt({ length }, idea, seconds(idea, tick, tempo), tempo) - tick) < 1e-3);
  }
});

test("beats of a metre: dotted in compound metres, as handbooks count them", () => {
  const table = { "2/4": 1, "3/4": 1, "4/4": 1, "2/2": 2, "6/8": 1.5, "9/8": 1.5, "12/8": 1.5, "3/8": 0.5, "5/8": 0.5 };
  for (const [metre, quarters] of Object.entries(table)) assert.equal(beatQuarters(metre), quarters, metre);
  assert.equal(barQuarters("12/8"), 6);
  assert.equal(barQuarters("5/4"), 5);
  assert.equal(beatOf(0, "6/8"), 1);
  assert.equal(beatOf(2.25, "6/8"), 2.5);
});

// Facts of two bars in 4/4, with a part that strikes one pitch before it has ended.
function facts() {
  const backing = {
    bass: { 0: [[0, 960, 40, 90], [480, 480, 40, 90]] },
    drums: { 0: [[240, 60, 42, 70]] },
    left: { under: { with_bass: [[0, 480, 55, 60]], alone: [[0, 480, 43, 60]] } },
  };
  return { backing, length: 8 * QUARTER, swing: { fixed: 2, short: 0.1, largest: 3, smallest: 1 } };
}

const IDEA = { strokes: [[0, 240, 72, 80, 0], [240, 240, 74, 80, 1], [7 * QUARTER, 4 * QUARTER, 126, 80, 2]], left: "under", stop: "0" };

test("a take is swung, moved and cut; the bass takes the roots from the left hand", () => {
  const { strokes, length } = take(facts(), IDEA, { tempo: 120, shift: 2 });
  assert.equal(length, 8 * QUARTER);
  assert.deepEqual(Object.keys(strokes), PARTS);
  assert.deepEqual(strokes.right, [[0, 320, 74, 80, 0], [320, 160, 76, 80, 1]], "128 is no MIDI pitch");
  assert.deepEqual(strokes.bass, [[0, 480, 42, 90], [480, 480, 42, 90]]);
  assert.deepEqual(strokes.drums, [[320, 40, 42, 70]], "drums are not moved");
  assert.equal(strokes.left[0][2], 57);
  assert.equal(take(facts(), IDEA, { heard: ["left"], tempo: 120 }).strokes.left[0][2], 43);
  const [, , last] = take(facts(), IDEA, { tempo: 120 }).strokes.right;
  assert.equal(last[0] + last[1], 8 * QUARTER, "nothing sounds after the end");
  assert.deepEqual(Object.keys(take(facts(), IDEA, { parts: ["bass"], tempo: 120 }).strokes), ["bass"]);
});
