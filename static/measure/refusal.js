// How the tablet says no: one plain sentence that names what was given and what is accepted.

/** Input that cannot be taken. `sentence` is the key for translation; `facts` fill its `{places}`. */
export class Refusal extends Error {
  /** @param {string} sentence @param {Record<string, unknown>} [facts] */
  constructor(sentence, facts = {}) {
    super(filled(sentence, facts));
    this.name = new.target.name;
    this.sentence = sentence;
    this.facts = facts;
  }
}

/**
 * A sentence, translated or not, with facts in its `{places}`.
 * @param {string} sentence
 * @param {Record<string, unknown>} facts
 */
export const filled = (sentence, facts) => sentence.replace(/\{(\w+)\}/g, (_, name) => String(facts[name]));

/** What somebody entered, cut to fit into a sentence; characters count, not their halves. @param {string} text */
export function shortened(text, limit = 40) {
  const characters = [...text];
  return characters.length <= limit ? text : `${characters.slice(0, limit - 1).join("")}…`;
}
