// What a reader keeps: in the browser's own storage where it allows that, else as long as the page is open.

export class Store {
  /** @param {string} name before all keys */
  constructor(name) {
    this.name = name;
    /** @type {Map<string, any>} */
    this.memory = new Map();
    this.lasts = true;
  }

  /**
   * @param {string} key
   * @param {any} fallback
   * @returns {any}
   */
  get(key, fallback) {
    if (this.memory.has(key)) return this.memory.get(key);
    try {
      const text = window.localStorage.getItem(`${this.name}:${key}`);
      return text === null ? fallback : JSON.parse(text);
    } catch {
      this.lasts = false;
      return fallback;
    }
  }

  /**
   * @param {string} key
   * @param {any} value
   */
  set(key, value) {
    this.memory.set(key, value);
    try {
      window.localStorage.setItem(`${this.name}:${key}`, JSON.stringify(value));
    } catch {
      this.lasts = false;
    }
  }

  /**
   * Looks the next time into the browser's storage again, which another tab may have changed.
   * @param {string} key
   */
  forget(key) {
    if (this.lasts) this.memory.delete(key);
  }

  /** @param {string} key */
  remove(key) {
    this.memory.delete(key);
    try {
      window.localStorage.removeItem(`${this.name}:${key}`);
    } catch {
      this.lasts = false;
    }
  }
}
