// Numbers that look random and are the same each time: a linear congruential generator (Knuth, The Art of Computer
// Programming 2, 3.3.4, constants of line 16 of its table, from memory: 1664525 and 1013904223).
export class Chance {
  /** @param {number} seed */
  constructor(seed) {
    this.state = seed >>> 0;
  }

  /**
   * A whole number between two, both included.
   * @param {number} low
   * @param {number} high
   */
  whole(low, high) {
    this.state = (Math.imul(this.state, 1664525) + 1013904223) >>> 0;
    return low + Math.floor((this.state / 2 ** 32) * (high - low + 1));
  }
}
