// What a reader keeps: in the browser's own storage where it allows that, else as long as the page is open.

export class Store {
  constructor(name) {
    this.name = name;
    this.memory = new Map();
    this.lasts = true;
  }

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

  set(key, value) {
    this.memory.set(key, value);
    try {
      window.localStorage.setItem(`${this.name}:${key}`, JSON.stringify(value));
    } catch {
      this.lasts = false;
    }
  }
}
