// Points on the drawing of a panel, where a fault was found: what qc_app/plan/place_marks says, said on the
// tablet. Each is thousandths of the length along AB and of the width towards D, from corner A.

import { stripped } from "./entry.js";
import { Refusal, shortened } from "./refusal.js";

/** @typedef {{along: number, across: number}} PlaceMark */

const MOST_MARKS = 20;
const WHOLE = 1000;
const MARK = /^([0-9]{1,4})[\t-\r ]*,[\t-\r ]*([0-9]{1,4})$/;

/**
 * The points that a text such as `250,500; 810,120` names, in its order; none in an empty text.
 * @param {string} text
 * @returns {PlaceMark[]}
 * @throws {Refusal} for what is no point, a point named twice, and too many points
 */
export function parsePlaceMarks(text) {
  if (!stripped(text)) return [];
  const parts = text.split(";");
  if (parts.length > MOST_MARKS) {
    const facts = { most: MOST_MARKS, given: parts.length };
    throw new Refusal("Mark at most {most} places on the drawing. Given: {given}.", facts);
  }
  const marks = parts.map(placeMark);
  const different = new Set(marks.map(({ along, across }) => `${along},${across}`));
  if (different.size === marks.length) return marks;
  throw new Refusal("A place is marked twice in “{given}”.", { given: shortened(stripped(text)) });
}

/** @param {string} part @returns {PlaceMark} */
function placeMark(part) {
  const given = stripped(part);
  const [along, across] = (MARK.exec(given) ?? []).slice(1).map(Number);
  if (along <= WHOLE && across <= WHOLE) return { along, across };
  throw new Refusal(
    "A place on the drawing is two numbers from 0 to 1000, such as 250,500. Given: “{given}”.",
    { given: shortened(given) },
  );
}
