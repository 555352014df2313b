// Says under each length, while it can still be corrected, how it was understood and how it will be judged.
// The server's verdict is the one that counts.

import { formatDeviation, formatLength, LengthRefused, NANOMETRES_PER_INCH, parseLength } from "./measure/length.js";
import { judge } from "./measure/conformity.js";

const MARKS = { within: "✓", outside: "✕" };

/** @param {string | undefined} text a whole number of nanometres, as the page states it */
const amount = (text) => (text === undefined ? undefined : BigInt(text));

/**
 * What a typed length means: in the shop's own writing and as a plain number, and its verdict if it has limits.
 * Where several are typed together there is room for the plain number only.
 *
 * @param {HTMLInputElement} input
 * @param {DOMStringMap} shop the form's data: units, graduation, words for the verdicts
 * @returns {{ text: string, verdict: string }}
 */
function understood(input, shop) {
  const { nanometres } = parseLength(input.value);
  const denominator = graduation(nanometres, Number(shop.denominator));
  const own = formatLength(nanometres, denominator, shop.system);
  const plain = shop.system === "imperial" ? inches(nanometres) : formatLength(nanometres, 16, "imperial");
  const target = amount(input.dataset.target);
  if (target === undefined) {
    return { text: `${own} = ${plain}`, verdict: "" };
  }
  const limits = { lower: amount(input.dataset.lower), upper: amount(input.dataset.upper) };
  const verdict = judge(nanometres, limits);
  const deviation = formatDeviation(nanometres - target, denominator, shop.system);
  const both = shop.together === "" ? plain : `${own} = ${plain}`;
  return { text: `${MARKS[verdict]} ${shop[verdict]}, ${deviation} · ${both}`, verdict };
}

/**
 * The shop's own denominator, or a finer one where rounding could hide the side of a limit, as the server does.
 *
 * @param {bigint} nanometres
 * @param {number} own
 */
const graduation = (nanometres, own) =>
  Math.max(own, [own, 32, 64].find((d) => (nanometres * BigInt(d)) % NANOMETRES_PER_INCH === 0n) ?? own);

/** @param {bigint} nanometres */
const inches = (nanometres) => `${(Number(nanometres) / Number(NANOMETRES_PER_INCH)).toFixed(3)} in`;

/** @param {HTMLInputElement} input */
function echo(input) {
  const output = input.parentElement.querySelector("output");
  output.className = "echo";
  output.textContent = "";
  if (input.value.trim() === "") {
    return;
  }
  try {
    const { text, verdict } = understood(input, input.form.dataset);
    output.textContent = text;
    output.className = `echo ${verdict}`;
  } catch (refused) {
    if (!(refused instanceof LengthRefused)) {
      throw refused;
    }
    // Not a length yet: half of one looks the same as a wrong one, so nothing is said before it is saved.
  }
}

for (const input of document.querySelectorAll("input[data-length]")) {
  input.addEventListener("input", () => echo(input));
  echo(input);
}
