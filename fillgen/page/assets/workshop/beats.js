// Bars and beats of a metre, in quarter notes.

/** @param {string} metre such as 6/8 */
function parts(metre) {
  const [above, below] = metre.split("/").map(Number);
  return { above, below };
}

/**
 * A beat of a metre: a dotted quarter note in 6/8, 9/8 and 12/8.
 * @param {string} metre
 */
export function beatQuarters(metre) {
  const { above, below } = parts(metre);
  return below === 8 && above > 3 && above % 3 === 0 ? 1.5 : 4 / below;
}

/** @param {string} metre */
export function barQuarters(metre) {
  const { above, below } = parts(metre);
  return (above * 4) / below;
}

/**
 * Where something stands in its bar, in beats counted from 1.
 * @param {number} quarters quarter notes from the start of the bar
 * @param {string} metre
 */
export function beatOf(quarters, metre) {
  return 1 + quarters / beatQuarters(metre);
}
