// Writes the files that a page gives, without a browser: a document on standard input, its files in base64 on standard output.
import { midiFile } from "../../fillgen/page/assets/midi.js";
import { musicxml } from "../../fillgen/page/assets/musicxml.js";
import { swingRatio } from "../../fillgen/page/assets/music.js";

let text = "";
for await (const part of process.stdin) text += part;
const { whole, ideas, look, wishes } = JSON.parse(text);
const midi = midiFile(whole, ideas, look, wishes);
const score = musicxml(whole, ideas, look, { tempo: wishes.tempo, ratio: swingRatio(whole, wishes.tempo) });
process.stdout.write(JSON.stringify({ midi: Buffer.from(midi).toString("base64"), score: Buffer.from(score).toString("base64") }));
