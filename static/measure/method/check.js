// A check by eye: passed, or so many faults, and where they are.

import { stripped } from "../entry.js";
import { parsePlaceMarks } from "../place_marks.js";
import { parseCount } from "../quantity.js";
import { has, read, refused } from "./entry.js";
import { outcome } from "./outcome.js";

/** @typedef {import("./entry.js").Entries} Entries */

/** @param {Entries} entries */
export function check(entries) {
  const answer = read(entries, "passed", stripped).toLowerCase();
  if (answer === "yes") return passed(entries);
  if (answer === "no") return failed(entries);
  throw refused("passed", "Answer yes or no. Given: “{given}”.", { given: [...answer].slice(0, 40).join("") });
}

/** @param {Entries} entries */
function passed(entries) {
  if (has(entries, "faults") && stripped(entries.faults) !== "0") {
    throw refused("faults", "“Yes” means no faults. Leave the count empty, or answer no.");
  }
  if (has(entries, "where")) throw refused("where", "“Yes” means no faults. Mark no place, or answer no.");
  return outcome(0n);
}

/** The count typed, or that of the places marked. A place may hold one fault or more. @param {Entries} entries */
function failed(entries) {
  const marked = has(entries, "where") ? read(entries, "where", parsePlaceMarks).length : 0;
  if (marked && !has(entries, "faults")) return outcome(BigInt(marked));
  const faults = read(entries, "faults", parseCount);
  if (faults === 0n) throw refused("faults", "“No” needs the count of faults, 1 or more.");
  if (faults >= marked) return outcome(faults);
  throw refused("faults", "There are {marked} places marked, but only {faults} counted.", {
    marked, faults: Number(faults),
  });
}
