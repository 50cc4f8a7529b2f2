// What the page asks of the server that it came from. Addresses are relative, so that they hold the page's own token.

import { sentence } from "../words.js";

// The server has answered that it cannot be done, in the words of the command line.
export class Refusal extends Error {
  /** @param {{message?: string, place?: string, hint?: string, start?: number|null, end?: number|null}} [error] */
  constructor({ message = "that can't be done", place = "", hint = "", start = -1, end = -1 } = {}) {
    super(message);
    this.place = place;
    this.hint = hint;
    this.start = start ?? -1; // where in the chart it begins, -1 where it isn't about a place
    this.end = end ?? -1;
  }

  /** Whether it is about a place in the chart. */
  get isPlaced() {
    return this.start >= 0;
  }

  get said() {
    return `${sentence(this.place ? `${this.place}: ${this.message}` : this.message)} ${this.hint}`.trim();
  }
}

// The server does not answer any more.
export class Gone extends Error {
  constructor() {
    super("the server doesn't answer");
    this.unanswered = true;
  }
}

/** @param {unknown} error */
function isDropped(error) {
  return error instanceof DOMException && error.name === "AbortError";
}

/** @param {string} name */
function tell(name) {
  document.dispatchEvent(new CustomEvent(`workshop:${name}`));
}

/** The server has answered again. */
export function answered() {
  return new Promise((done) => document.addEventListener("workshop:there", done, { once: true }));
}

/**
 * @template T
 * @param {Promise<T>} asked
 * @returns {Promise<T>}
 */
async function reached(asked) {
  try {
    const answer = await asked;
    tell("there");
    return answer;
  } catch (error) {
    if (isDropped(error)) throw error;
    tell("gone");
    throw new Gone();
  }
}

/**
 * @param {string} path
 * @param {unknown} [document]
 * @param {{signal?: AbortSignal}} [options]
 */
async function request(path, document, { signal } = {}) {
  /** @type {RequestInit} */
  const asked = { cache: "no-store", credentials: "same-origin", signal };
  if (document !== undefined) {
    Object.assign(asked, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(document) });
  }
  const answer = await reached(ours(fetch(`api/${path}`, asked)));
  if (answer.ok) return answer;
  throw new Refusal(await toldBy(answer));
}

/**
 * An answer from the server of this page; whatever else may have its port by now doesn't know the address.
 * @param {Promise<Response>} asked
 */
async function ours(asked) {
  const answer = await asked;
  if (answer.status === 404) throw new TypeError("this address isn't known");
  return answer;
}

/** @param {Response} answer */
async function toldBy(answer) {
  try {
    return (await answer.json()).error;
  } catch {
    return { message: `the server answered with ${answer.status}`, hint: "Reload the page." };
  }
}

/**
 * The JSON document that answers a question; without a document to send it is only read.
 * @param {string} path
 * @param {unknown} [document]
 * @param {{signal?: AbortSignal}} [options]
 * @returns {Promise<any>}
 */
export async function ask(path, document, options) {
  const answer = await request(path, document, options);
  return reached(answer.json());
}

/**
 * The bytes that answer a question, and the name they go by.
 * @param {string} path
 * @param {unknown} [document]
 * @param {{signal?: AbortSignal}} [options]
 */
export async function fetched(path, document, options) {
  const answer = await request(path, document, options);
  const named = /filename="([^"]*)"/.exec(answer.headers.get("Content-Disposition") ?? "");
  const bytes = new Uint8Array(await reached(answer.arrayBuffer()));
  return { bytes, name: named ? named[1] : "", type: answer.headers.get("Content-Type") ?? "" };
}

/**
 * The documents of an answer that comes a line at a time, each as soon as it is there.
 * @param {string} path
 * @param {unknown} [document]
 * @param {{signal?: AbortSignal}} [options]
 */
export async function* lines(path, document, options) {
  const answer = await request(path, document, options);
  const reader = /** @type {ReadableStream<Uint8Array<ArrayBuffer>>} */ (answer.body).pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reached(reader.read());
    rest += value ?? "";
    const parts = rest.split("\n");
    rest = done ? "" : (parts.pop() ?? "");
    for (const part of parts) if (part.trim()) yield read(part);
    if (done) return;
  }
}

/** @param {string} line */
function read(line) {
  const message = JSON.parse(line);
  if (message.error) throw new Refusal(message.error);
  return message;
}

/**
 * A file's bytes as base64, as JSON can hold them.
 * @param {Uint8Array} bytes
 */
export function base64(bytes) {
  let text = "";
  for (let start = 0; start < bytes.length; start += 32768) {
    text += String.fromCharCode(...bytes.subarray(start, start + 32768));
  }
  return btoa(text);
}

/**
 * What is said of something that went wrong; nothing where it was only dropped, or where the banner says it.
 * @param {unknown} error
 */
export function saidOf(error) {
  if (isDropped(error) || error instanceof Gone) return "";
  if (error instanceof Refusal) return error.said;
  return `Something went wrong in the page: ${error instanceof Error ? error.message : error}. Reload the page.`;
}
