// What the browser keeps for a reader, and what is kept where it keeps nothing.
import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { Store } from "../../fillgen/page/assets/store.js";

class Shelf {
  kept = new Map();

  getItem(key) {
    return this.kept.get(key) ?? null;
  }

  setItem(key, value) {
    this.kept.set(key, String(value));
  }
}

class Locked {
  getItem() {
    throw new DOMException("no", "SecurityError");
  }

  setItem() {
    throw new DOMException("full", "QuotaExceededError");
  }
}

beforeEach(() => {
  globalThis.window = { localStorage: new Shelf() };
});

test("what was set is there for the next page, under its own name", () => {
  new Store("lamps").set("tempo", { quarters: 96 });
  assert.deepEqual(new Store("lamps").get("tempo", null), { quarters: 96 });
  assert.equal(new Store("other").get("tempo", 120), 120);
  assert.ok(new Store("lamps").lasts);
});

test("a browser that keeps nothing: values last as long as the page, and it knows", () => {
  globalThis.window = { localStorage: new Locked() };
  const store = new Store("lamps");
  assert.equal(store.get("tempo", 120), 120);
  store.set("tempo", 96);
  assert.equal(store.get("tempo", 120), 96);
  assert.equal(store.lasts, false);
});

test("what another program left there in a damaged state is passed over", () => {
  window.localStorage.setItem("lamps:tempo", "{");
  assert.equal(new Store("lamps").get("tempo", 120), 120);
});
