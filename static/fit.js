// Says as soon as six readings are there whether they fit one panel, before anything is saved.
// The server tests them again, and names the likely culprit.

import { NANOMETRES_PER_INCH, parseLength } from "./measure/length.js";
import { Refusal } from "./measure/refusal.js";
import { testSixReadings } from "./measure/six_readings.js";

const LINES = 6;

/** @param {bigint | string} nanometres */
const inches = (nanometres) => Number(nanometres) / Number(NANOMETRES_PER_INCH);

/**
 * A small length in the shop's unit, with its sign.
 *
 * @param {number} length inches
 * @param {string} system
 */
function written(length, system) {
  const text = system === "imperial" ? `${length.toFixed(3)} in` : `${(length * 25.4).toFixed(1)} mm`;
  return length < 0 ? text.replace("-", "−") : `+${text}`;
}

/**
 * The test of what is typed now; null while it is not six lengths.
 *
 * @param {HTMLInputElement[]} inputs
 * @param {DOMStringMap} panel nominal size and uncertainty of a reading, in nanometres
 */
function tested(inputs, panel) {
  try {
    const readings = Object.fromEntries(
      inputs.map((input) => [input.dataset.line, inches(parseLength(input.value).nanometres)]),
    );
    const nominal = { length: inches(panel.length), width: inches(panel.width) };
    return testSixReadings(readings, nominal, inches(panel.uncertainty));
  } catch (refused) {
    if (!(refused instanceof Refusal)) {
      throw refused;
    }
    return null;
  }
}

/** @param {HTMLOutputElement} output @param {HTMLInputElement[]} inputs */
function show(output, inputs) {
  const test = tested(inputs, output.dataset);
  output.className = "fit";
  output.textContent = "";
  if (test !== null) {
    output.classList.add(test.isConsistent ? "within" : "outside");
    output.textContent = test.isConsistent
      ? `✓ ${output.dataset.fits}`
      : `✕ ${output.dataset.misfits.replace("{by}", written(test.misclosure, output.dataset.system))}`;
  }
}

const output = document.querySelector("output.fit");
const inputs = [...document.querySelectorAll("input[data-line]")].filter((input) => input.dataset.line !== "");
if (output !== null && inputs.length === LINES) {
  for (const input of inputs) {
    input.addEventListener("input", () => show(output, inputs));
  }
  show(output, inputs);
}
