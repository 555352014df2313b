/**
 * Words for people, in the language of the page. The server writes them into the page, translated.
 *
 * @typedef {string | Record<string, string>} Phrase a sentence with `{places}`; `one` and `many` where a number
 *   decides; or a table of words
 */

/** @type {Record<string, Phrase> | null} */
let known = null;

/**
 * Takes words from elsewhere than the page's own block.
 * @param {Record<string, Phrase>} words
 */
export function learn(words) {
  known = { ...fromPage(), ...known, ...words };
}

/**
 * A sentence with its facts filled in. Where a number decides between one and many, it is `facts.count`.
 * A table of words is given as it is.
 * @param {string} key
 * @param {Record<string, string | number>} [facts]
 * @returns {any}
 */
export function word(key, facts = {}) {
  known ??= fromPage();
  const phrase = known[key] ?? key;
  if (typeof phrase === "object" && phrase.many === undefined) {
    return phrase;
  }
  const sentence = typeof phrase === "string" ? phrase : facts.count === 1 ? phrase.one : phrase.many;
  return sentence.replace(/\{(\w+)\}/g, (place, name) => String(facts[name] ?? place));
}

/**
 * The time of day as the shop writes it: 14:05.
 * @param {Date} moment
 */
export function timeOfDay(moment) {
  return moment.toLocaleTimeString(language(), { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
}

/**
 * The time of day, with the date before it where that is not today.
 * @param {Date} moment
 */
export function when(moment) {
  const isToday = moment.toDateString() === new Date().toDateString();
  const date = moment.toLocaleDateString(language(), { day: "numeric", month: "short" });
  return isToday ? timeOfDay(moment) : `${date} ${timeOfDay(moment)}`;
}

/**
 * How long ago, in the largest whole unit.
 * @param {number} milliseconds
 */
export function age(milliseconds) {
  const minutes = Math.max(0, Math.floor(milliseconds / 60_000));
  if (minutes < 60) {
    return word("minutes", { count: minutes });
  }
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? word("hours", { count: hours }) : word("days", { count: Math.floor(hours / 24) });
}

/** The language of the page. */
export function language() {
  return document.documentElement.lang || "en";
}

/** @returns {Record<string, Phrase>} */
function fromPage() {
  const block = document.getElementById("tablet-words");
  return block === null ? {} : JSON.parse(block.textContent ?? "{}");
}
